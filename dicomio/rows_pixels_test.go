package dicomio

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"ridgerule/dicomio/internal/walk"
)

// The rows of the table of tricky series that concern what is in the pixels and how they are encoded.

func TestRow11NotOriginalSlices(t *testing.T) {
	for code, change := range map[string]func(*crafted){
		"derived":           func(c *crafted) { c.set(0x00080008, "CS", `DERIVED\PRIMARY\MPR`) },
		"secondary_capture": func(c *crafted) { c.set(0x00080016, "UI", secondaryCapture) },
		"colour":            func(c *crafted) { c.us(0x00280002, 3).set(0x00280004, "CS", "RGB") },
		"burned_in":         func(c *crafted) { c.set(0x00280301, "CS", "YES") },
		"not_ct":            func(c *crafted) { c.set(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.4") },
	} {
		files := stackOf(4)
		for _, c := range files {
			change(c)
		}
		refused(t, folder(files...), code)
		fsys := folder(append(stackOf(5), func() *crafted { c := slice(2); change(c); return c }())...)
		s, v := readOnly(t, fsys) // beside a stack it is listed, and does no harm
		sameStack(t, v, 5)
		cautioned(t, s)
		if cat, _ := scanned(t, fsys); len(cat.Series) != 2 {
			t.Errorf("%s: %d series listed, want 2", code, len(cat.Series))
		}
	}
}

// stored is one way cells hold values: the cell for a value, and the least and greatest value.
type stored struct {
	allocated, bits, high int
	signed                bool
	garbage               uint16 // set in every cell, outside the value
}

func (s stored) limits() (low, high int) {
	if s.signed {
		return -(1 << (s.bits - 1)), 1<<(s.bits-1) - 1
	}
	return 0, 1<<s.bits - 1
}

func (s stored) cell(v int) uint16 {
	shift := s.high + 1 - s.bits
	return uint16(v)&uint16(1<<s.bits-1)<<shift | s.garbage
}

// Closed form: grey = slope·value + intercept for every value written, whatever the cell looks like.
func TestRow19EveryWayToStoreAValue(t *testing.T) {
	for _, s := range []stored{
		{16, 16, 15, true, 0}, {16, 16, 15, false, 0}, {16, 12, 11, false, 0}, {16, 12, 11, true, 0}, {16, 15, 14, false, 0},
		{16, 12, 11, false, 0xF000}, {16, 12, 11, true, 0xA000}, {16, 12, 15, false, 0}, {16, 12, 15, true, 0x000F},
		{16, 10, 12, false, 0xE007}, {16, 1, 0, false, 0}, {8, 8, 7, false, 0}, {8, 8, 7, true, 0}, {8, 6, 5, false, 0xC0},
	} {
		for _, syntax := range []string{walk.Explicit, walk.BigEndian, walk.Implicit} {
			if s.allocated == 8 && syntax == walk.BigEndian {
				continue // OW of 8-bit cells in Big Endian swaps bytes in pairs; retired and not met
			}
			low, high := s.limits()
			files := stackOf(3)
			want := make([][]float64, 3)
			for k, c := range files {
				c.syntax, c.cells = syntax, s.allocated/8
				c.us(0x00280100, uint16(s.allocated)).us(0x00280101, uint16(s.bits)).us(0x00280102, uint16(s.high))
				c.us(0x00280103, map[bool]uint16{true: 1}[s.signed]).set(0x00281053, "DS", "0.5").set(0x00281052, "DS", "-3")
				for i := range c.pixels {
					v := low + (high-low)*(k*30+i)/89
					c.pixels[i] = s.cell(v)
					want[k] = append(want[k], 0.5*float64(v)-3)
				}
			}
			series, v := readOnly(t, folder(files...))
			cautioned(t, series)
			for k := range 3 {
				for i := range 30 {
					if got := v.Grey(i%6, i/6, k); got != want[k][i] {
						t.Fatalf("%+v %s: grey value %d of slice %d = %v, want %v", s, syntax, i, k, got, want[k][i])
					}
				}
			}
		}
	}
}

func TestRow19ImpossibleCellsAreRefused(t *testing.T) {
	for _, s := range []stored{{32, 32, 31, false, 0}, {16, 17, 16, false, 0}, {16, 12, 10, false, 0}, {16, 12, 16, false, 0}, {1, 1, 0, false, 0}, {16, 0, 0, false, 0}} {
		files := stackOf(3)
		for _, c := range files {
			c.us(0x00280100, uint16(s.allocated)).us(0x00280101, uint16(s.bits)).us(0x00280102, uint16(s.high))
		}
		refused(t, folder(files...), "pixel_format", "Bits")
	}
	files := stackOf(3)
	for _, c := range files {
		c.noPixels = true
		c.raw(0x7FE00008, "OF", make([]byte, 120))
	}
	refused(t, folder(files...), "pixel_format", "floating-point")
}

func TestRow20RescaleMissingOrVarying(t *testing.T) {
	files := stackOf(4)
	for _, c := range files {
		c.drop(0x00281052, 0x00281053)
	}
	s, v := readOnly(t, folder(files...))
	cautioned(t, s)
	near(t, "grey value as stored", v.Grey(3, 1, 2), greyWant(2, 9)+1000, 0)
	for k, c := range files {
		c.set(0x00281053, "DS", fmt.Sprint(1+2*k)).set(0x00281052, "DS", fmt.Sprint(-k))
	}
	s, v = readOnly(t, folder(files...))
	cautioned(t, s, "rescale_varies")
	says(t, s.Cautions[0].Text, "more than 16 bit")
	for k := range 4 {
		near(t, "grey value", v.Grey(3, 1, k), float64(1+2*k)*(greyWant(k, 9)+1000)-float64(k), 0)
	}
	for _, slope := range []string{"0", "x", ""} {
		files[2].set(0x00281053, "DS", slope)
		code := map[string]string{"": "missing_attribute"}[slope]
		if code == "" {
			code = "bad_attribute"
		}
		refused(t, folder(files...), code, "RescaleSlope")
	}
}

func TestRow21PaddingHasNoValue(t *testing.T) {
	files := stackOf(4)
	for _, c := range files { // -2000, in a signed image and written as VR US, as many do
		c.us(0x00280120, 0xF830)
		c.pixels[7], c.pixels[29] = 0xF830, 0xF830
	}
	s, v := readOnly(t, folder(files...))
	cautioned(t, s)
	for k := range 4 {
		for i := range 30 {
			got := v.Grey(i%6, i/6, k)
			if outside := i == 7 || i == 29; outside != math.IsNaN(got) || !outside && got != greyWant(k, i) {
				t.Fatalf("grey value %d of slice %d = %v", i, k, got)
			}
		}
	}
}

func TestRow21PaddingRangeAndDifferingPadding(t *testing.T) {
	files := stackOf(4)
	for k, c := range files {
		c.us(0x00280103, 0).us(0x00280101, 12).us(0x00280102, 11).us(0x00280120, 4095).us(0x00280121, uint16(4000+k))
		for i := range c.pixels {
			c.pixels[i] = uint16(3990 + i) // 3990 … 4019: padded from 4000 + k on
		}
	}
	_, v := readOnly(t, folder(files...))
	for k := range 4 {
		for i := range 30 {
			got, outside := v.Grey(i%6, i/6, k), 3990+i >= 4000+k
			if outside != math.IsNaN(got) || !outside && got != float64(2990+i) {
				t.Fatalf("grey value %d of slice %d = %v", i, k, got)
			}
		}
	}
	files = stackOf(4) // 16 bits used: no value is free for a common mark
	for k, c := range files {
		c.us(0x00280120, uint16(k))
	}
	refused(t, folder(files...), "mixed", "PixelPaddingValue")
	files = stackOf(4) // a padding value that the bits stored cannot hold marks nothing
	for _, c := range files {
		c.us(0x00280103, 0).us(0x00280101, 12).us(0x00280102, 11).us(0x00280120, 0xF830)
		c.pixels[3] = 0x0830
	}
	s, v := readOnly(t, folder(files...))
	cautioned(t, s, "padding_unused")
	near(t, "a value that looks like the cut padding", v.Grey(3, 0, 0), 0x830-1000, 0)
}

func TestRow22Monochrome1IsInvertedForDisplayOnly(t *testing.T) {
	files := stackOf(4)
	for _, c := range files {
		c.set(0x00280004, "CS", "MONOCHROME1")
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	if cautioned(t, s); !s.Facts.Invert {
		t.Error("Facts.Invert is false")
	}
}

func TestRow23NativeSyntaxes(t *testing.T) {
	var hash string
	for _, syntax := range []string{walk.Implicit, walk.Explicit, walk.BigEndian, walk.Deflated} {
		files := stackOf(5)
		for _, c := range files {
			c.syntax = syntax
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 5)
		cautioned(t, s)
		if s.Facts.Encoding != walk.Name(syntax) {
			t.Errorf("encoding %q, want %q", s.Facts.Encoding, walk.Name(syntax))
		}
		if h := s.Hash(v); hash == "" {
			hash = h
		} else if h != hash {
			t.Errorf("%s: the hash moved with the encoding", s.Facts.Encoding)
		}
	}
}

func TestRow25LossyIsCautioned(t *testing.T) {
	files := stackOf(4)
	for _, c := range files {
		c.set(0x00282110, "CS", "01")
	}
	s, _ := readOnly(t, folder(files...))
	cautioned(t, s, "lossy")
	for _, c := range files { // compressing alone makes a slice DERIVED; computing one does too, and is refused
		c.set(0x00080008, "CS", `DERIVED\PRIMARY\AXIAL`)
	}
	s, _ = readOnly(t, folder(files...))
	cautioned(t, s, "lossy")
	for _, types := range []string{`DERIVED\SECONDARY\AXIAL`, `DERIVED\PRIMARY\MPR`, `DERIVED\PRIMARY\AXIAL\MIP`} {
		for _, c := range files {
			c.set(0x00080008, "CS", types)
		}
		refused(t, folder(files...), "derived")
	}
	for _, c := range files {
		c.set(0x00080008, "CS", `ORIGINAL\PRIMARY\AXIAL`)
		c.syntax = walk.JPEGExtended
		c.fragments = [][]byte{{0xFF, 0xD8, 0xFF, 0xD9}}
	}
	refused(t, folder(files...), "syntax", "lossy 12-bit JPEG is not read")
}

func TestRow29PixelDataTooShort(t *testing.T) {
	whole := slice(4).bytes()
	for _, cut := range []int{1, 2, 30, 59, 60} {
		fsys := folder(stackOf(4)...)
		add(fsys, "cut.dcm", whole[:len(whole)-cut])
		refused(t, fsys, "truncated", "cut.dcm", fmt.Sprintf("%d bytes are missing", cut))
	}
	short := slice(4)
	short.pixels = short.pixels[:20]
	fsys := folder(stackOf(4)...)
	add(fsys, "short.dcm", short.bytes())
	refused(t, fsys, "truncated", "short.dcm", "20 bytes are missing", "need 60 bytes")
}

// A file cut anywhere, the last slice of a stack so that no gap gives it away, is never read as whole.
func TestRow29CutAtEveryByte(t *testing.T) {
	for _, syntax := range []string{walk.Explicit, walk.Implicit, walk.BigEndian, walk.Deflated} {
		last := slice(4)
		last.syntax = syntax
		whole := last.bytes()
		fsys := folder(stackOf(4)...)
		for cut := 132; cut < len(whole); cut++ {
			add(fsys, "cut.dcm", whole[:cut])
			cat, err := scanned(t, fsys)
			if err != nil {
				t.Fatal(err)
			}
			s, err := cat.Pick("")
			if err != nil {
				t.Fatal(err)
			}
			v, err := s.Read(t.Context(), nil)
			if err == nil {
				t.Fatalf("%s cut at %d of %d: read %v", walk.Name(syntax), cut, len(whole), v.Size)
			}
			says(t, err.Error(), "cut.dcm")
		}
	}
}

func TestRow30TrailingPaddingAndGarbage(t *testing.T) {
	for _, tail := range [][]byte{
		append([]byte{0xFC, 0xFF, 0xFC, 0xFF, 'O', 'B', 0, 0, 8, 0, 0, 0}, make([]byte, 8)...), make([]byte, 700), []byte("garbage \xFF\xFE\x00"), {0},
	} {
		files := stackOf(4)
		for _, c := range files {
			c.tail = tail
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 4)
		cautioned(t, s)
	}
	files := stackOf(4) // longer Pixel Data
	for _, c := range files {
		c.pixels = append(c.pixels, 1, 2, 3)
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s, "extra_pixels")
}

func TestRow31NoPreambleNoMeta(t *testing.T) {
	for _, syntax := range []string{walk.Explicit, walk.Implicit, walk.BigEndian} {
		for _, preamble := range []bool{true, false} {
			files := stackOf(4)
			for _, c := range files {
				c.syntax, c.noMeta, c.noPreamble = syntax, true, preamble
			}
			s, v := readOnly(t, folder(files...))
			sameStack(t, v, 4)
			cautioned(t, s, "syntax_inferred")
		}
	}
	files := stackOf(4)
	for _, c := range files {
		c.noPreamble = true // the meta group is there
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s)
}

func TestRow32MetaGroupWrong(t *testing.T) {
	for _, length := range []uint32{1, 7, 1000, 0xFFFFFFFF} {
		files := stackOf(4)
		for _, c := range files {
			c.groupLength = length
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 4)
		cautioned(t, s)
	}
	files := stackOf(4)
	for _, c := range files {
		c.noGroupLength = true
	}
	_, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	for _, c := range files {
		c.noSyntax = true
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s, "syntax_inferred")
	for _, uid := range []string{"1.2.3.4", "1.2.840.10008.1.2.4.201", "1.2.840.113619.5.2"} {
		files := stackOf(4)
		for _, c := range files {
			c.syntax = uid
		}
		refused(t, folder(files...), "syntax", uid, "TransferSyntaxUID", "dcmconv")
	}
	files = stackOf(4) // declared explicit, encoded implicit
	fsys := folder(files...)
	for name := range fsys {
		b := slice(1)
		b.syntax = walk.Implicit
		wrong := bytes.Replace(b.bytes(), []byte("1.2.840.10008.1.2\x00"), []byte("1.2.840.10008.1.2\x00"), 1)
		i := bytes.Index(wrong, []byte("1.2.840.10008.1.2\x00"))
		meta := append([]byte(nil), wrong[:i-2]...)
		meta = append(binary.LittleEndian.AppendUint16(meta, 20), "1.2.840.10008.1.2.1\x00"...)
		add(fsys, name, append(meta, wrong[i+18:]...))
	}
	_, err := scanned(t, fsys)
	if e, ok := err.(*SeriesError); !ok {
		t.Errorf("contradicting encoding gave %v", err)
	} else {
		says(t, e.Error(), "Implicit", "declares")
	}
}

func TestRow37CharacterSetsNeverFail(t *testing.T) {
	for _, set := range []string{`ISO_IR 100`, `\ISO 2022 IR 87`, "GB18030", "ISO_IR 192", "NONSENSE", `ISO 2022 IR 999\x`, ""} {
		files := stackOf(4)
		for _, c := range files {
			c.set(0x00080005, "CS", set).raw(0x00100010, "PN", []byte("\x1b$B\xFF\xFE\x80^\xC3\x28\x1b(B=")).raw(0x00081030, "LO", []byte("\xff\xfe\xfd\x81"))
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 4)
		cautioned(t, s)
	}
}

func TestRow38PrivateUnknownAndWrongVR(t *testing.T) {
	files := stackOf(4)
	for _, c := range files {
		c.set(0x00091001, "LO", "private").raw(0x00091002, "UN", []byte{1, 2, 3, 4, 5, 6})
		c.raw(0x00091003, "OB", make([]byte, 9000)).raw(0x00091004, "OV", make([]byte, 16)).raw(0x00091005, "ZZ", make([]byte, 4))
		c.elements[0x00091006] = craftedElement{vr: "SQ", items: [][]byte{encodeElements(group(0x00100010, "PN", "Secret^Name"), walk.Explicit)}}
		c.raw(0x00280030, "UN", []byte(`0.3\0.4 `)) // dictionary VR: DS
		c.raw(0x00281053, "LO", []byte("1 "))
		c.raw(0x00400275, "UN", nil)
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s)
}

// UN of undefined length holds Implicit VR Little Endian items, in an explicit file too. Source: DICOM PS3.5 6.2.2.
func TestRow38UnknownOfUndefinedLength(t *testing.T) {
	inner := encodeElements(group(0x00100010, "PN", "Secret^Name"), walk.Implicit)
	var sq []byte
	sq = appendHead(sq, walk.Implicit, 0xFFFEE000, "", 0xFFFFFFFF)
	sq = append(sq, inner...)
	sq = appendHead(sq, walk.Implicit, 0xFFFEE00D, "", 0)
	sq = appendHead(sq, walk.Implicit, 0xFFFEE0DD, "", 0)
	for _, vr := range []string{"UN", "SQ"} {
		fsys := folder()
		for k, c := range stackOf(4) {
			whole := c.bytes()
			body := sq
			if vr == "SQ" {
				body = bytes.Replace(sq, inner, encodeElements(group(0x00100010, "PN", "Secret^Name"), walk.Explicit), 1)
			}
			el := append(appendHead(nil, walk.Explicit, 0x00091010, vr, 0xFFFFFFFF), body...)
			at := bytes.Index(whole, []byte{0x10, 0, 0x10, 0, 'P', 'N'})
			add(fsys, fmt.Sprint(k), slices.Concat(whole[:at], el, whole[at:]))
		}
		s, v := readOnly(t, fsys)
		sameStack(t, v, 4)
		cautioned(t, s)
	}
}

func TestRow33LengthsThatLie(t *testing.T) {
	base := slice(0)
	whole := base.bytes()
	at := bytes.Index(whole, []byte{0x10, 0, 0x10, 0, 'P', 'N'})
	with := func(b []byte) []byte { return slices.Concat(whole[:at], b, whole[at:]) }
	nest := func(depth int) []byte {
		var b []byte
		for range depth {
			b = appendHead(b, walk.Explicit, 0x00091010, "SQ", 0xFFFFFFFF)
			b = appendHead(b, walk.Implicit, 0xFFFEE000, "", 0xFFFFFFFF)
		}
		return b
	}
	for name, data := range map[string][]byte{
		"OB of 4 GiB":         with(appendHead(nil, walk.Explicit, 0x00091010, "OB", 0xFFFFFFFE)),
		"UN of 4 GiB":         with(appendHead(nil, walk.Explicit, 0x00091010, "UN", 0xFFFFFFFE)),
		"UT of 4 GiB":         with(appendHead(nil, walk.Explicit, 0x00091010, "UT", 0xFFFFFFF0)),
		"UT undefined":        with(appendHead(nil, walk.Explicit, 0x00091010, "UT", 0xFFFFFFFF)),
		"nest of 33":          with(nest(33)),
		"nest of 500,000":     with(nest(500_000)),
		"item without end":    with(nest(1)),
		"no item":             with(append(appendHead(nil, walk.Explicit, 0x00091010, "SQ", 0xFFFFFFFF), whole[at:]...)),
		"delimiter of length": with(appendHead(appendHead(nil, walk.Explicit, 0x00091010, "SQ", 0xFFFFFFFF), walk.Implicit, 0xFFFEE0DD, "", 8)),
		"stray delimiter":     with(appendHead(nil, walk.Implicit, 0xFFFEE00D, "", 0)),
	} {
		fsys := folder()
		add(fsys, "bad.dcm", data)
		frugal(t, name, len(data), func() {
			_, err := scanned(t, fsys)
			e, ours := err.(*SeriesError)
			if !ours {
				t.Fatalf("%s: %v, want a *SeriesError", name, err)
			}
			says(t, e.Error(), "bad.dcm")
		})
	}
}

// Every panic and memory bomb found in the parser, by its trigger: each is refused by us, or harmless.
func TestRow33ParserTraps(t *testing.T) {
	for name, change := range map[string]func(*crafted){
		"Rows of length 0":            func(c *crafted) { c.raw(0x00280010, "US", nil) },
		"Rows as LO":                  func(c *crafted) { c.set(0x00280010, "LO", "5") },
		"Rows 0":                      func(c *crafted) { c.us(0x00280010, 0) },
		"Rows and Columns 65535":      func(c *crafted) { c.us(0x00280010, 65535).us(0x00280011, 65535) },
		"frames -1":                   func(c *crafted) { c.set(0x00280008, "IS", "-1") },
		"frames as US":                func(c *crafted) { c.us(0x00280008, 9) },
		"frames 4e18":                 func(c *crafted) { c.set(0x00280008, "IS", "4000000000000000000") },
		"frames 2147483649":           func(c *crafted) { c.set(0x00280008, "IS", "2147483649") },
		"frames 1e9, rows 0":          func(c *crafted) { c.set(0x00280008, "IS", "1000000000").us(0x00280010, 0) },
		"frames 60000":                func(c *crafted) { c.set(0x00280008, "IS", "60000") },
		"charset as US":               func(c *crafted) { c.us(0x00080005, 7).us(0x00280010, 0) },
		"empty transfer syntax":       func(c *crafted) { c.syntax = ""; c.us(0x00280010, 0) },
		"BitsAllocated of two values": func(c *crafted) { c.raw(0x00280100, "US", []byte{16, 0, 16, 0}) },
		"fragments end in the file":   func(c *crafted) { c.syntax = walk.RLE; c.fragments = [][]byte{make([]byte, 64)}; c.tail = nil },
		"PixelRepresentation 9":       func(c *crafted) { c.us(0x00280103, 9) },
		"shared groups no sequence":   func(c *crafted) { c.set(0x52009229, "LO", "x").us(0x00280010, 0) },
		"position as sequence":        func(c *crafted) { c.sequence(0x00200032, group(0x00080060, "CS", "CT")) },
	} {
		files := stackOf(4)
		for _, c := range files {
			change(c)
		}
		frugal(t, name, 4*1000, func() {
			cat, err := scanned(t, folder(files...))
			if err == nil {
				var s *Series
				if s, err = cat.Pick(""); err == nil {
					_, err = s.Read(t.Context(), nil)
				}
			}
			if _, ours := err.(*SeriesError); !ours {
				t.Errorf("%s: %v, want a *SeriesError", name, err)
			}
		})
	}
}

// A deflated data set of 4 MB that inflates to 4 GB is refused without being inflated to its end.
func TestRow33DeflateBomb(t *testing.T) {
	c := slice(0)
	c.syntax = walk.Deflated
	head := c.bytes()
	head = head[:bytes.Index(head, []byte(walk.Deflated))+len(walk.Deflated)]
	var z bytes.Buffer
	w, _ := flate.NewWriter(&z, flate.BestSpeed)
	w.Write(appendHead(nil, walk.Explicit, 0x00091010, "OB", 0xF0000000))
	chunk := make([]byte, 1<<20)
	for range 80 {
		w.Write(chunk)
	}
	w.Close()
	fsys := folder()
	add(fsys, "bomb.dcm", append(head, z.Bytes()...))
	frugal(t, "bomb", z.Len(), func() {
		_, err := scanned(t, fsys)
		if e, ours := err.(*SeriesError); !ours || !strings.Contains(e.Error(), "bomb.dcm") {
			t.Errorf("got %v", err)
		}
	})
}

// Compressed frames that claim 8 GB of pixels from a few bytes are refused before any memory is taken.
func TestRow33CompressedFramesThatLie(t *testing.T) {
	for _, syntax := range []string{walk.RLE, walk.JPEGSV1, walk.JPEGLS, walk.JPEG2000, walk.JPEGBaseline} {
		files := stackOf(3)
		for _, c := range files {
			c.syntax, c.fragments = syntax, [][]byte{rleFrame(c.pixels)}
			c.us(0x00280010, 65535).us(0x00280011, 65535)
		}
		frugal(t, syntax, 3000, func() { refused(t, folder(files...), "limit", "claim to decode to") })
		for _, c := range files { // within the limit, and still a lie
			c.us(0x00280010, 5000).us(0x00280011, 5000)
		}
		s := only(t, folder(files...))
		if _, err := s.Read(t.Context(), nil); err == nil {
			t.Errorf("%s: a lying frame was read", walk.Name(syntax))
		}
	}
}

func TestRow43MemoryIsAskedForFirst(t *testing.T) {
	s := only(t, folder(stackOf(4)...))
	s.Grid.Size = [3]int{1 << 16, 1 << 16, 1 << 16}
	_, err := s.Read(t.Context(), nil)
	e, ours := err.(*SeriesError)
	if freeMemory() == 0 {
		t.Skip("free memory is not known on this system")
	}
	if !ours || e.Code != "memory" {
		t.Fatalf("got %v", err)
	}
	says(t, e.Error(), "MiB of memory", "MiB are free")
	door, _ := NewDoor(folder(stackOf(4)...), Limits{})
	cat, err := Scan(t.Context(), door, Limits{Volume: 100})
	if err != nil {
		t.Fatal(err)
	}
	says(t, cat.Series[0].Err().Error(), "allowed")
}
