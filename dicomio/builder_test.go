package dicomio

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"io/fs"
	"math"
	"sort"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"ridgerule/dicomio/internal/walk"
	"ridgerule/dicomio/volume"
)

// crafted builds one DICOM file, right or wrong, element by element. It is written apart from the code under test: it
// shares no table with the walk and no function with the writer.
type crafted struct {
	syntax    string
	elements  map[uint32]craftedElement
	pixels    []uint16 // cells of a native Pixel Data
	fragments [][]byte // of an encapsulated one: items after the offset table
	offsets   []uint32 // Basic Offset Table
	cells     int      // bytes a cell, 2 by default
	noPixels  bool

	noPreamble, noMeta, noGroupLength, noSyntax bool
	groupLength                                 uint32 // 0: right
	tail                                        []byte // after everything
}

type craftedElement struct {
	vr    string
	value []byte
	items [][]byte // of a sequence: encoded items, when not nil
}

var longVR = map[string]bool{"OB": true, "OW": true, "SQ": true, "UN": true, "UT": true, "OF": true, "OD": true, "OV": true, "UC": true, "UR": true, "SV": true, "UV": true, "OL": true}

// slice returns slice k of a small plain CT series: 6 × 5 pixels, 0.4 × 0.3 mm, 0.5 mm apart, signed 16 bit.
func slice(k int) *crafted {
	c := &crafted{syntax: walk.Explicit, elements: map[uint32]craftedElement{}, cells: 2}
	c.set(0x00080008, "CS", `ORIGINAL\PRIMARY\AXIAL`)
	c.set(0x00080016, "UI", ctImage)
	c.set(0x00080018, "UI", fmt.Sprintf("1.2.3.4.%d", k+1))
	c.set(0x00080060, "CS", "CT")
	c.set(0x00100010, "PN", "Secret^Name")
	c.set(0x00100020, "LO", "SECRET-ID")
	c.set(0x00100030, "DA", "19010203")
	c.set(0x0020000E, "UI", "1.2.3.9")
	c.set(0x00200013, "IS", fmt.Sprint(k+1))
	c.set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%g`, 30+0.5*float64(k)))
	c.set(0x00200037, "DS", `1\0\0\0\1\0`)
	c.set(0x00200052, "UI", "1.2.3.8")
	c.set(0x00280004, "CS", "MONOCHROME2")
	c.set(0x00280030, "DS", `0.3\0.4`)
	c.set(0x00281052, "DS", "-1000")
	c.set(0x00281053, "DS", "1")
	for tag, v := range map[uint32]uint16{0x00280002: 1, 0x00280010: 5, 0x00280011: 6, 0x00280100: 16, 0x00280101: 16, 0x00280102: 15, 0x00280103: 1} {
		c.us(tag, v)
	}
	c.pixels = make([]uint16, 30)
	for i := range c.pixels {
		c.pixels[i] = uint16(int16(100*k + i - 15))
	}
	return c
}

// stackOf returns n slices.
func stackOf(n int) []*crafted {
	out := make([]*crafted, n)
	for k := range out {
		out[k] = slice(k)
	}
	return out
}

func (c *crafted) set(tag uint32, vr, value string) *crafted {
	if len(value)%2 == 1 {
		value += map[bool]string{true: "\x00", false: " "}[vr == "UI"]
	}
	c.elements[tag] = craftedElement{vr: vr, value: []byte(value)}
	return c
}

func (c *crafted) us(tag uint32, v uint16) *crafted {
	c.elements[tag] = craftedElement{vr: "US", value: binary.LittleEndian.AppendUint16(nil, v)}
	return c
}

func (c *crafted) raw(tag uint32, vr string, value []byte) *crafted {
	c.elements[tag] = craftedElement{vr: vr, value: value}
	return c
}

// sequence sets a sequence of items, each the elements of another crafted file.
func (c *crafted) sequence(tag uint32, items ...map[uint32]craftedElement) *crafted {
	el := craftedElement{vr: "SQ", items: [][]byte{}}
	for _, item := range items {
		el.items = append(el.items, encodeElements(item, walk.Explicit))
	}
	c.elements[tag] = el
	return c
}

// group returns the elements of one item: DS attributes by tag.
func group(pairs ...any) map[uint32]craftedElement {
	c := &crafted{elements: map[uint32]craftedElement{}}
	for i := 0; i < len(pairs); i += 3 {
		c.set(uint32(pairs[i].(int)), pairs[i+1].(string), pairs[i+2].(string))
	}
	return c.elements
}

func (c *crafted) drop(tags ...uint32) *crafted {
	for _, t := range tags {
		delete(c.elements, t)
	}
	return c
}

func order16(syntax string) binary.AppendByteOrder {
	if syntax == walk.BigEndian {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

func appendHead(b []byte, syntax string, tag uint32, vr string, length uint32) []byte {
	o := order16(syntax)
	b = o.AppendUint16(b, uint16(tag>>16))
	b = o.AppendUint16(b, uint16(tag))
	switch {
	case syntax == walk.Implicit:
		return o.AppendUint32(b, length)
	case longVR[vr]:
		return o.AppendUint32(append(append(b, vr...), 0, 0), length)
	}
	return o.AppendUint16(append(b, vr...), uint16(length))
}

func encodeElements(elements map[uint32]craftedElement, syntax string) []byte {
	var tags []uint32
	for t := range elements {
		tags = append(tags, t)
	}
	sort.Slice(tags, func(i, j int) bool { return tags[i] < tags[j] })
	var b []byte
	for _, t := range tags {
		el := elements[t]
		if el.items != nil {
			var body []byte
			for _, item := range el.items {
				body = append(appendHead(body, walk.Implicit, 0xFFFEE000, "", uint32(len(item))), item...)
			}
			b = append(appendHead(b, syntax, t, "SQ", uint32(len(body))), body...)
			continue
		}
		value := el.value
		if syntax == walk.BigEndian && (el.vr == "US" || el.vr == "SS") {
			value = append([]byte(nil), value...)
			for i := 0; i+1 < len(value); i += 2 {
				value[i], value[i+1] = value[i+1], value[i]
			}
		}
		b = append(appendHead(b, syntax, t, el.vr, uint32(len(value))), value...)
	}
	return b
}

// encoding returns the syntax the data set is encoded in.
func (c *crafted) encoding() string {
	if c.syntax == walk.Implicit || c.syntax == walk.BigEndian {
		return c.syntax
	}
	return walk.Explicit
}

// bytes returns the whole file.
func (c *crafted) bytes() []byte {
	var meta []byte
	if !c.noMeta {
		var rest []byte
		rest = append(appendHead(rest, walk.Explicit, 0x00020001, "OB", 2), 0, 1)
		if !c.noSyntax {
			ts := c.syntax
			if len(ts)%2 == 1 {
				ts += "\x00"
			}
			rest = append(appendHead(rest, walk.Explicit, 0x00020010, "UI", uint32(len(ts))), ts...)
		}
		if !c.noGroupLength {
			n := uint32(len(rest))
			if c.groupLength != 0 {
				n = c.groupLength
			}
			meta = binary.LittleEndian.AppendUint32(appendHead(meta, walk.Explicit, 0x00020000, "UL", 4), n)
		}
		meta = append(meta, rest...)
	}
	var out []byte
	if !c.noPreamble {
		out = append(make([]byte, 128), "DICM"...)
	}
	out = append(out, meta...)
	set := append(encodeElements(c.elements, c.encoding()), c.pixelData()...)
	if c.syntax == walk.Deflated {
		var z bytes.Buffer
		w, _ := flate.NewWriter(&z, 6)
		w.Write(set)
		w.Close()
		set = z.Bytes()
	}
	return append(append(out, set...), c.tail...)
}

func (c *crafted) pixelData() []byte {
	if c.noPixels {
		return nil
	}
	if c.fragments != nil {
		b := appendHead(nil, walk.Explicit, 0x7FE00010, "OB", 0xFFFFFFFF)
		b = appendHead(b, walk.Implicit, 0xFFFEE000, "", uint32(4*len(c.offsets)))
		for _, o := range c.offsets {
			b = binary.LittleEndian.AppendUint32(b, o)
		}
		for _, f := range c.fragments {
			b = append(appendHead(b, walk.Implicit, 0xFFFEE000, "", uint32(len(f))), f...)
		}
		return appendHead(b, walk.Implicit, 0xFFFEE0DD, "", 0)
	}
	var cells []byte
	for _, v := range c.pixels {
		if c.cells == 1 {
			cells = append(cells, byte(v))
		} else {
			cells = order16(c.syntax).AppendUint16(cells, v)
		}
	}
	if len(cells)%2 == 1 {
		cells = append(cells, 0)
	}
	return append(appendHead(nil, c.encoding(), 0x7FE00010, "OW", uint32(len(cells))), cells...)
}

// folder returns a file system of the slices, named so that neither order nor name says anything.
func folder(files ...*crafted) fstest.MapFS {
	fsys := fstest.MapFS{}
	for i, f := range files {
		add(fsys, fmt.Sprintf("%02d", (i*7+3)%1009), f.bytes())
	}
	return fsys
}

func add(fsys fstest.MapFS, name string, data []byte) {
	fsys[name] = &fstest.MapFile{Data: data, ModTime: time.Unix(1, 0)}
}

// scanned opens and scans a file system.
func scanned(t testing.TB, fsys fs.FS) (*Catalogue, error) {
	t.Helper()
	door, err := NewDoor(fsys, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return Scan(t.Context(), door, Limits{})
}

// only scans and picks without a selector.
func only(t testing.TB, fsys fs.FS) *Series {
	t.Helper()
	cat, err := scanned(t, fsys)
	if err != nil {
		t.Fatal(err)
	}
	s, err := cat.Pick("")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// readOnly scans, picks and reads.
func readOnly(t testing.TB, fsys fs.FS) (*Series, *volume.Volume) {
	t.Helper()
	s := only(t, fsys)
	v, err := s.Read(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return s, v
}

// refused checks that the picked series is unfit with code, that Read says so with our type, that the message holds
// every word, and that it holds no identity.
func refused(t testing.TB, fsys fs.FS, code string, words ...string) *SeriesError {
	t.Helper()
	s := only(t, fsys)
	if s.Verdict() != Unfit {
		t.Fatalf("verdict %v, want unfit with %s", s.Verdict(), code)
	}
	v, err := s.Read(t.Context(), nil)
	e, ours := err.(*SeriesError)
	if v != nil || !ours {
		t.Fatalf("Read gave %v, %v, want a *SeriesError", v, err)
	}
	found := false
	for _, p := range s.Problems {
		found = found || p.Code == code
	}
	if !found {
		t.Errorf("problems %v, want code %s", s.Problems, code)
	}
	text := ""
	for _, p := range s.Problems {
		text += p.Error() + "\n"
	}
	says(t, text, words...)
	return e
}

func says(t testing.TB, text string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(text, w) {
			t.Errorf("message lacks %q:\n%s", w, text)
		}
	}
	for _, secret := range []string{"Secret", "SECRET-ID", "19010203"} {
		if strings.Contains(text, secret) {
			t.Errorf("message holds identity %q:\n%s", secret, text)
		}
	}
}

// cautioned checks that the series is fit with exactly these cautions.
func cautioned(t testing.TB, s *Series, codes ...string) {
	t.Helper()
	var got []string
	for _, c := range s.Cautions {
		got = append(got, c.Code)
		says(t, c.Text)
	}
	sort.Strings(got)
	sort.Strings(codes)
	if fmt.Sprint(got) != fmt.Sprint(codes) {
		t.Errorf("cautions %v, want %v: %v", got, codes, s.Cautions)
	}
	want := Fit
	if len(codes) > 0 {
		want = FitWithCautions
	}
	if s.Verdict() != want {
		t.Errorf("verdict %v, want %v: %v", s.Verdict(), want, s.Problems)
	}
}

// greyWant is the grey value of pixel i of slice k as slice makes it.
func greyWant(k, i int) float64 { return float64(100*k+i-15) - 1000 }

// sameStack checks that v is the plain stack of n slices, voxel for voxel.
func sameStack(t testing.TB, v *volume.Volume, n int) {
	t.Helper()
	if v.Size != [3]int{6, 5, n} {
		t.Fatalf("size %v, want 6 × 5 × %d", v.Size, n)
	}
	for k := range n {
		for i := range 30 {
			if got := v.Grey(i%6, i/6, k); got != greyWant(k, i) {
				t.Fatalf("grey value of (%d, %d, %d) = %v, want %v", i%6, i/6, k, got, greyWant(k, i))
			}
		}
	}
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %.9g, want %.9g within %g", what, got, want, tolerance)
	}
}

// directoryFile returns a DICOMDIR that lists files.
func directoryFile(ids ...string) []byte {
	c := &crafted{syntax: walk.Explicit, elements: map[uint32]craftedElement{}, noPixels: true}
	var records []map[uint32]craftedElement
	records = append(records, group(0x00041430, "CS", "PATIENT"))
	for _, id := range ids {
		records = append(records, group(0x00041430, "CS", "IMAGE", 0x00041500, "CS", id))
	}
	c.set(0x00041130, "CS", "TEST").sequence(0x00041220, records...)
	whole := c.bytes()
	class := "1.2.840.10008.1.3.10"
	el := append(appendHead(nil, walk.Explicit, 0x00020002, "UI", uint32(len(class))), class...)
	at := 132 + 12 + 14 // after preamble, group length and version
	out := append(append(append([]byte(nil), whole[:at]...), el...), whole[at:]...)
	binary.LittleEndian.PutUint32(out[140:], binary.LittleEndian.Uint32(out[140:])+uint32(len(el)))
	return out
}
