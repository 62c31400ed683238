package dicomio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"testing"

	"ridgerule/dicomio/internal/walk"
)

// The rows of the table of tricky series that concern multi-frame files and fragments.

// frames returns one multi-frame file of class holding the plain stack of n slices, frame f showing slice order[f].
// Position is per frame; the other groups are shared when sharing is true, else per frame.
func frames(class string, order []int, sharing bool) *crafted {
	c := slice(0)
	c.drop(0x00200032, 0x00200037, 0x00280030, 0x00281052, 0x00281053)
	c.set(0x00080016, "UI", class).set(0x00280008, "IS", fmt.Sprint(len(order)))
	c.set(0x00080008, "CS", `ORIGINAL\PRIMARY\VOLUME\NONE`)
	rest := func(m map[uint32]craftedElement) map[uint32]craftedElement {
		nested := func(tag uint32, item map[uint32]craftedElement) {
			x := (&crafted{elements: map[uint32]craftedElement{}}).sequence(tag, item)
			m[tag] = x.elements[tag]
		}
		nested(0x00209116, group(0x00200037, "DS", `1\0\0\0\1\0`))
		nested(0x00289110, group(0x00280030, "DS", `0.3\0.4`, 0x00180050, "DS", "0.5"))
		if class != xray3DCranio {
			nested(0x00289145, group(0x00281052, "DS", "-1000", 0x00281053, "DS", "1", 0x00281054, "LO", "US"))
		}
		return m
	}
	if sharing {
		c.sequence(0x52009229, rest(map[uint32]craftedElement{}))
	}
	var items []map[uint32]craftedElement
	c.pixels = nil
	for _, k := range order {
		item := map[uint32]craftedElement{}
		x := (&crafted{elements: item}).sequence(0x00209113, group(0x00200032, "DS", fmt.Sprintf(`-10\-20\%g`, 30+0.5*float64(k))))
		if !sharing {
			rest(x.elements)
		}
		items = append(items, x.elements)
		c.pixels = append(c.pixels, slice(k).pixels...)
	}
	return c.sequence(0x52009230, items...)
}

func TestRow26MultiFrameClasses(t *testing.T) {
	for _, class := range []string{enhancedCT, legacyEnhancedCT, xray3DCranio} {
		for _, sharing := range []bool{true, false} {
			for _, syntax := range []string{walk.Explicit, walk.Deflated} {
				c := frames(class, []int{3, 0, 4, 1, 2}, sharing)
				c.syntax = syntax
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
	refused(t, folder(frames(enhancedCT, []int{0, 1, 2, 4}, true)), "missing_slice", `\31.500 mm`)
	refused(t, folder(frames(enhancedCT, []int{0, 1, 2, 2, 3}, true).tamper(70)), "two_acquisitions", "frame")
	c := frames(enhancedCT, []int{0, 1, 2, 3}, true)
	c.set(0x00280008, "IS", "3")
	refused(t, folder(c), "bad_attribute", "NumberOfFrames", "4 per-frame functional groups")
	c = frames(enhancedCT, []int{0, 1, 2, 3}, true).set(0x00080008, "CS", `DERIVED\PRIMARY\VOLUME\MAX_IP`)
	refused(t, folder(c), "derived")
	c = frames(enhancedCT, []int{0, 1, 2, 3}, true)
	c.sequence(0x52009229, group(0x00080060, "CS", "CT")) // no orientation, no spacing
	refused(t, folder(c), "missing_attribute", "ImageOrientationPatient", "PixelSpacing")
}

// tamper changes one pixel.
func (c *crafted) tamper(i int) *crafted { c.pixels[i] ^= 1; return c }

func TestRow27PlainMultiFrame(t *testing.T) {
	plain := func() *crafted {
		c := slice(0).set(0x00280008, "IS", "5").set(0x00180088, "DS", "0.5").set(0x00180050, "DS", "0.5")
		c.pixels = nil
		for k := range 5 {
			c.pixels = append(c.pixels, slice(k).pixels...)
		}
		return c
	}
	s, v := readOnly(t, folder(plain()))
	sameStack(t, v, 5)
	cautioned(t, s, "frame_direction")
	near(t, "slice step", v.Step[2].Z, 0.5, 1e-12)
	refused(t, folder(plain().drop(0x00180088)), "missing_attribute", "SpacingBetweenSlices", "SliceThickness is no substitute")
	refused(t, folder(plain().set(0x00180088, "DS", "-0.5")), "bad_attribute", "SpacingBetweenSlices")
	refused(t, folder(plain().drop(0x00200032)), "missing_attribute", "ImagePositionPatient")
	refused(t, folder(plain().drop(0x00200037)), "missing_attribute", "ImageOrientationPatient")
}

// rleFrame encodes 16-bit cells by literal runs. Source: DICOM PS3.5 G.
func rleFrame(pixels []uint16) []byte {
	var segments [2][]byte
	for half := range 2 {
		var plane []byte
		for _, v := range pixels {
			plane = append(plane, byte(v>>(8-8*half)))
		}
		for len(plane) > 0 {
			n := min(128, len(plane))
			segments[half] = append(append(segments[half], byte(n-1)), plane[:n]...)
			plane = plane[n:]
		}
		if len(segments[half])%2 == 1 {
			segments[half] = append(segments[half], 0)
		}
	}
	head := make([]byte, 64)
	binary.LittleEndian.PutUint32(head, 2)
	binary.LittleEndian.PutUint32(head[4:], 64)
	binary.LittleEndian.PutUint32(head[8:], uint32(64+len(segments[0])))
	return slices.Concat(head, segments[0], segments[1])
}

func TestRow28FragmentsAndOffsetTables(t *testing.T) {
	order := []int{2, 0, 1, 3}
	var whole [][]byte
	for _, k := range order {
		whole = append(whole, rleFrame(slice(k).pixels))
	}
	encapsulated := func(pieces [][]byte, offsets []uint32) *crafted {
		c := frames(enhancedCT, order, true)
		c.syntax, c.pixels, c.fragments, c.offsets = walk.RLE, nil, pieces, offsets
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
	for name, c := range map[string]*crafted{
		"one each, no table":           encapsulated(whole, nil),
		"one each, wrong table":        encapsulated(whole, wrong),
		"split, basic table":           encapsulated(split, right),
		"split, extended table":        encapsulated(split, nil).raw(0x7FE00001, "OV", extended),
		"split, extended, wrong basic": encapsulated(split, wrong).raw(0x7FE00001, "OV", extended),
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
	single := stackOf(4) // one frame a file, in several fragments
	for k, c := range single {
		f := rleFrame(c.pixels)
		c.syntax, c.fragments, c.offsets = walk.RLE, [][]byte{f[:10], f[10:70], f[70:]}, []uint32{uint32(k)}
	}
	_, v := readOnly(t, folder(single...))
	sameStack(t, v, 4)
}

func TestRow28CutFragmentsAreRefused(t *testing.T) {
	c := frames(enhancedCT, []int{0, 1, 2}, true)
	c.syntax, c.pixels = walk.RLE, nil
	for k := range 3 {
		c.fragments = append(c.fragments, rleFrame(slice(k).pixels))
	}
	whole := c.bytes()
	for _, cut := range []int{1, 8, 9, 100, 400} {
		fsys := folder()
		add(fsys, "IM9001.dcm", whole[:len(whole)-cut])
		_, err := scanned(t, fsys)
		if e, ours := err.(*SeriesError); !ours || e.Code != "truncated" {
			t.Errorf("cut by %d: %v", cut, err)
		}
	}
	c.fragments = c.fragments[:2]
	refused(t, folder(c), "truncated", "3 frame(s) in 2 fragments")
}
