package dicomio

import (
	"bytes"
	"encoding/binary"
	"testing"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
)

// The rows of the table of tricky series that concern multi-frame files and fragments.

// frames returns one multi-frame file of class holding the plain stack, frame f showing slice order[f].
func frames(class string, order []int, shared bool) *craft.File {
	var files []*craft.File
	for _, k := range order {
		files = append(files, craft.Slice(k))
	}
	return craft.Frames(class, files, shared)
}

func TestRow26MultiFrameClasses(t *testing.T) {
	for _, class := range []string{enhancedCT, legacyEnhancedCT, xray3DCranio} {
		for _, sharing := range []bool{true, false} {
			for _, syntax := range []string{walk.Explicit, walk.Deflated} {
				c := frames(class, []int{3, 0, 4, 1, 2}, sharing)
				c.Syntax = syntax
				s, v := readOnly(t, folder(c))
				cautioned(t, s)
				if class == xray3DCranio { // no rescale: values as stored
					v.Rescale[0].Intercept -= 1000
				}
				sameStack(t, v, 5)
				for k, image := range s.Images {
					if want := []int{1, 3, 4, 0, 2}[k]; image.Frame != want {
						t.Errorf("slice %d is frame %d, want %d", k, image.Frame, want)
					}
				}
			}
		}
	}
}

func TestRow26FaultsOfMultiFrame(t *testing.T) {
	refused(t, folder(frames(enhancedCT, []int{0, 1, 2, 4}, true)), "missing_slice", `\31.200 mm`)
	refused(t, folder(tampered(frames(enhancedCT, []int{0, 1, 2, 2, 3}, true), 70)), "two_acquisitions", "frame")
	c := frames(enhancedCT, []int{0, 1, 2, 3}, true)
	c.Set(0x00280008, "IS", "3")
	refused(t, folder(c), "bad_attribute", "NumberOfFrames", "4 per-frame functional groups")
	c = frames(enhancedCT, []int{0, 1, 2, 3}, true).Set(0x00080008, "CS", `DERIVED\PRIMARY\VOLUME\MAX_IP`)
	refused(t, folder(c), "derived")
	c = frames(enhancedCT, []int{0, 1, 2, 3}, true)
	c.Sequence(0x52009229, craft.Group(0x00080060, "CS", "CT")) // no orientation, no spacing
	refused(t, folder(c), "missing_attribute", "ImageOrientationPatient", "PixelSpacing")
}

// tampered changes one pixel.
func tampered(c *craft.File, i int) *craft.File { c.Pixels[i] ^= 1; return c }

func TestRow27PlainMultiFrame(t *testing.T) {
	plain := func() *craft.File {
		c := craft.Slice(0).Set(0x00280008, "IS", "5").Set(0x00180088, "DS", "0.4").Set(0x00180050, "DS", "0.4")
		c.Pixels = nil
		for k := range 5 {
			c.Pixels = append(c.Pixels, craft.Slice(k).Pixels...)
		}
		return c
	}
	s, v := readOnly(t, folder(plain()))
	sameStack(t, v, 5)
	cautioned(t, s, "frame_direction")
	near(t, "slice step", v.Step[2].Z, 0.4, 1e-12)
	refused(t, folder(plain().Drop(0x00180088)), "missing_attribute", "SpacingBetweenSlices", "SliceThickness is no substitute")
	refused(t, folder(plain().Set(0x00180088, "DS", "-0.5")), "bad_attribute", "SpacingBetweenSlices")
	refused(t, folder(plain().Drop(0x00200032)), "missing_attribute", "ImagePositionPatient")
	refused(t, folder(plain().Drop(0x00200037)), "missing_attribute", "ImageOrientationPatient")
}

func TestRow28FragmentsAndOffsetTables(t *testing.T) {
	order := []int{2, 0, 1, 3}
	var whole [][]byte
	for _, k := range order {
		whole = append(whole, craft.RLEFrame(craft.Slice(k).Pixels))
	}
	encapsulated := func(pieces [][]byte, offsets []uint32) *craft.File {
		c := frames(enhancedCT, order, true)
		c.Syntax, c.Pixels, c.Fragments, c.Offsets = walk.RLE, nil, pieces, offsets
		return c
	}
	var split [][]byte // each frame in three fragments, one of odd length
	var right []uint32
	var extended []byte
	at := uint32(0)
	for _, f := range whole {
		right = append(right, at)
		extended = binary.LittleEndian.AppendUint64(extended, uint64(at))
		for _, piece := range [][]byte{f[:31], f[31:40], f[40:]} {
			split = append(split, piece)
			at += 8 + uint32(len(piece))
		}
	}
	wrong := []uint32{0, 5, 9, 1 << 30}
	for name, c := range map[string]*craft.File{
		"one each, no table":           encapsulated(whole, nil),
		"one each, wrong table":        encapsulated(whole, wrong),
		"split, basic table":           encapsulated(split, right),
		"split, extended table":        encapsulated(split, nil).Raw(0x7FE00001, "OV", extended),
		"split, extended, wrong basic": encapsulated(split, wrong).Raw(0x7FE00001, "OV", extended),
		"one each, odd padding":        encapsulated([][]byte{append(bytes.Clone(whole[0]), 0), whole[1], whole[2], append(bytes.Clone(whole[3]), 0, 0, 0)}, nil),
	} {
		t.Run(name, func(t *testing.T) {
			s, v := readOnly(t, folder(c))
			sameStack(t, v, 4)
			cautioned(t, s)
		})
	}
	s := only(t, folder(encapsulated(split, wrong))) // RLE has no marker to find the frames by
	_, err := s.Read(t.Context(), nil)
	if e, ours := err.(*SeriesError); !ours || e.Code != "corrupt_pixels" {
		t.Fatalf("got %v", err)
	}
	says(t, err.Error(), "12 fragments cannot be told apart into 4 frames")
	single := craft.Stack(4) // one frame a file, in several fragments
	for k, c := range single {
		f := craft.RLEFrame(c.Pixels)
		c.Syntax, c.Fragments, c.Offsets = walk.RLE, [][]byte{f[:10], f[10:70], f[70:]}, []uint32{uint32(k)}
	}
	_, v := readOnly(t, folder(single...))
	sameStack(t, v, 4)
}

func TestRow28CutFragmentsAreRefused(t *testing.T) {
	c := frames(enhancedCT, []int{0, 1, 2}, true)
	c.Syntax, c.Pixels = walk.RLE, nil
	for k := range 3 {
		c.Fragments = append(c.Fragments, craft.RLEFrame(craft.Slice(k).Pixels))
	}
	whole := c.Bytes()
	for _, cut := range []int{1, 8, 9, 100, 400} {
		fsys := folder()
		add(fsys, "IM9001.dcm", whole[:len(whole)-cut])
		_, err := scanned(t, fsys)
		if e, ours := err.(*SeriesError); !ours || e.Code != "truncated" {
			t.Errorf("cut by %d: %v", cut, err)
		}
	}
	c.Fragments = c.Fragments[:2]
	refused(t, folder(c), "truncated", "3 frame(s) in 2 fragments")
}
