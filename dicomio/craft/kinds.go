package craft

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
)

// Frames returns one multi-frame file of an enhanced class: frame f shows frames[f]. Positions are per frame; orientation,
// spacing and rescale, the same in all frames, stand in the shared groups when shared is true, else per frame too. An
// [XRay3DCraniofacial] has no rescale.
//
// Source: DICOM PS3.3 C.7.6.16.2.
func Frames(class string, frames []*File, shared bool) *File {
	first := frames[0]
	c := Slice(0)
	c.Elements = maps.Clone(first.Elements)
	common := func(item map[uint32]Element) map[uint32]Element {
		put(item, 0x00209116, Group(0x00200037, "DS", first.Text(0x00200037)))
		put(item, 0x00289110, Group(0x00280030, "DS", first.Text(0x00280030)))
		if class != XRay3DCraniofacial {
			put(item, 0x00289145, Group(0x00281052, "DS", first.Text(0x00281052), 0x00281053, "DS", first.Text(0x00281053), 0x00281054, "LO", "US"))
		}
		return item
	}
	if shared {
		c.Sequence(0x52009229, common(map[uint32]Element{}))
	}
	var items []map[uint32]Element
	c.Pixels = nil
	for _, f := range frames {
		item := map[uint32]Element{}
		put(item, 0x00209113, Group(0x00200032, "DS", f.Text(0x00200032)))
		if !shared {
			common(item)
		}
		items = append(items, item)
		c.Pixels = append(c.Pixels, f.Pixels...)
	}
	c.Drop(0x00200032, 0x00200037, 0x00280030, 0x00281052, 0x00281053)
	c.Set(0x00080016, "UI", class).Set(0x00080008, "CS", `ORIGINAL\PRIMARY\VOLUME\NONE`)
	return c.Set(0x00280008, "IS", fmt.Sprint(len(frames))).Sequence(0x52009230, items...)
}

// put sets a sequence of one item within an item.
func put(into map[uint32]Element, tag uint32, item map[uint32]Element) {
	(&File{Elements: into}).Sequence(tag, item)
}

// RLEFrame encodes 16-bit cells by literal runs. Source: DICOM PS3.5 G.
func RLEFrame(pixels []uint16) []byte {
	var segments [2][]byte
	for half := range 2 {
		var plane []byte
		for _, v := range pixels {
			plane = append(plane, byte(v>>(8-8*half)))
		}
		for run := range slices.Chunk(plane, 128) {
			segments[half] = append(append(segments[half], byte(len(run)-1)), run...)
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

// Directory returns a DICOMDIR that lists files by their File ID, such as `IMG\IM1`.
func Directory(ids ...string) []byte {
	c := &File{Syntax: Explicit, Elements: map[uint32]Element{}, NoPixels: true}
	records := []map[uint32]Element{Group(0x00041430, "CS", "PATIENT")}
	for _, id := range ids {
		records = append(records, Group(0x00041430, "CS", "IMAGE", 0x00041500, "CS", id))
	}
	c.Set(0x00041130, "CS", "TEST").Sequence(0x00041220, records...)
	whole := c.Bytes()
	class := "1.2.840.10008.1.3.10"
	el := append(AppendHead(nil, Explicit, 0x00020002, "UI", uint32(len(class))), class...)
	at := 132 + 12 + 14 // after preamble, group length and version
	out := slices.Concat(whole[:at], el, whole[at:])
	binary.LittleEndian.PutUint32(out[140:], binary.LittleEndian.Uint32(out[140:])+uint32(len(el)))
	return out
}

// Zip returns an archive of files, named dir with their number behind it, and of whatever more adds when it is not nil.
func Zip(method uint16, dir string, files []*File, more func(w *zip.Writer) error) ([]byte, error) {
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for k, c := range files {
		f, err := w.CreateHeader(&zip.FileHeader{Name: fmt.Sprintf("%s%d", dir, k), Method: method})
		if err != nil {
			return nil, err
		}
		if _, err := f.Write(c.Bytes()); err != nil {
			return nil, err
		}
	}
	if more != nil {
		if err := more(w); err != nil {
			return nil, err
		}
	}
	err := w.Close()
	return b.Bytes(), err
}
