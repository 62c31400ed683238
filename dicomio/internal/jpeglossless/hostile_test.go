package jpeglossless

import (
	"bytes"
	"errors"
	"testing"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// header is a stream of 4 × 2 samples of 12 bits, up to its scan; tests change bytes in it.
func header() []byte {
	e := encoder{columns: 4, rows: 2, precision: 12, selection: 1, lengths: evenTable, order: identity(), restart: 1}
	return e.encode([]uint16{1, 2, 3, 4, 5, 6, 7, 8})
}

// What a stream may claim, and what is said to it. Offsets count from the start of image:
// frame header at 2, table at 15, restart interval at 53, scan at 59.
func TestClaimsAreRefused(t *testing.T) {
	want := codec.Shape{Columns: 4, Rows: 2, Allocated: 16, Stored: 12}
	if err := Decode(make([]uint16, 8), header(), want); err != nil {
		t.Fatal(err)
	}
	set := func(at int, b ...byte) func([]byte) []byte {
		return func(f []byte) []byte { copy(f[at:], b); return f }
	}
	for name, c := range map[string]struct {
		change func([]byte) []byte
		kind   error
	}{
		"empty":               {func([]byte) []byte { return nil }, codec.ErrCorrupt},
		"another process":     {set(3, 0xC1), codec.ErrUnsupported},
		"arithmetic coding":   {set(3, 0xCB), codec.ErrUnsupported},
		"hierarchical":        {set(3, 0xC7), codec.ErrUnsupported},
		"17 bits":             {set(6, 17), codec.ErrCorrupt},
		"65535 rows":          {set(7, 0xFF, 0xFF), codec.ErrShape},
		"65535 columns":       {set(9, 0xFF, 0xFF), codec.ErrShape},
		"no rows, so DNL":     {set(7, 0, 0), codec.ErrShape},
		"other component":     {set(64, 8), codec.ErrCorrupt},
		"predictor 0":         {set(66, 0), codec.ErrCorrupt},
		"predictor 8":         {set(66, 8), codec.ErrCorrupt},
		"point transform 12":  {set(68, 12), codec.ErrCorrupt},
		"table not defined":   {set(65, 0x10), codec.ErrCorrupt},
		"category 17":         {set(36, 17), codec.ErrCorrupt},
		"too many codes":      {set(20, 3, 0, 0, 0, 14), codec.ErrCorrupt},
		"table past its end":  {set(20, 255), codec.ErrCorrupt},
		"interval, part rows": {set(57, 0, 3), codec.ErrUnsupported},
		"length past the end": {set(17, 0xFF, 0xFF), codec.ErrCorrupt},
		"length 1":            {set(17, 0, 1), codec.ErrCorrupt},
		"wrong restart": {func(f []byte) []byte { return bytes.Replace(f, []byte{0xFF, 0xD0}, []byte{0xFF, 0xD1}, 1) },
			codec.ErrCorrupt},
		"no end of image":  {func(f []byte) []byte { return f[:len(f)-2] }, codec.ErrCorrupt},
		"samples left":     {func(f []byte) []byte { return append(f[:len(f)-2], 0x55, 0x55, 0xFF, 0xD9) }, codec.ErrCorrupt},
		"three components": {set(4, 0, 17, 12, 0, 2, 0, 4, 3, 1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0), codec.ErrUnsupported},
	} {
		err := Decode(make([]uint16, 8), c.change(header()), want)
		if !errors.Is(err, c.kind) {
			t.Errorf("%s: %v, want an error that is %q", name, err, c.kind)
		}
	}
}

// The header of DICOM decides the shape, and a stream that differs is refused before any work.
func TestShapeIsTheHeaders(t *testing.T) {
	for _, want := range []codec.Shape{{Columns: 2, Rows: 4, Allocated: 16, Stored: 12}, {Columns: 4, Rows: 2, Allocated: 8, Stored: 8},
		{Columns: 4, Rows: 2, Allocated: 16, Stored: 17}, {}, {Columns: -1, Rows: -8, Allocated: 16, Stored: 12}} {
		if err := Decode(make([]uint16, 8), header(), want); !errors.Is(err, codec.ErrShape) {
			t.Errorf("%+v: %v, want %v", want, err, codec.ErrShape)
		}
	}
}

// After the first frame has filled the pool, a frame takes no memory that grows with its size.
func TestDecodeTakesNoMemory(t *testing.T) {
	e := encoder{columns: 512, rows: 512, precision: 12, selection: 1, lengths: evenTable, order: identity()}
	frame := e.encode(make([]uint16, 512*512))
	if taken := codectest.Allocated(Decode, frame, e.shape()); taken[1] > 64<<10 {
		t.Errorf("took %d bytes, then %d", taken[0], taken[1])
	}
}

// A 12-bit stream may hold sign-extended words when the header says signed; samples that leave 12 bits otherwise are damage;
// and a sign that fewer bits than stored may or may not be is not guessed.
func TestSamplesKeepToThePrecision(t *testing.T) {
	e := encoder{columns: 2, rows: 1, precision: 12, selection: 1, lengths: evenTable, order: identity()}
	for _, c := range []struct {
		pixels []uint16
		stored int
		signed bool
		kind   error
	}{
		{[]uint16{0xF800, 2047}, 12, true, nil},
		{[]uint16{0xF800, 2047}, 16, true, nil},
		{[]uint16{0x0800, 2047}, 12, true, nil},
		{[]uint16{0x0800, 2047}, 16, true, codec.ErrUnsupported},
		{[]uint16{0xF7FF, 2047}, 12, true, codec.ErrCorrupt},
		{[]uint16{0xF800, 2047}, 12, false, codec.ErrCorrupt},
		{[]uint16{4096, 2047}, 16, false, codec.ErrCorrupt},
	} {
		err := Decode(make([]uint16, 2), e.encode(c.pixels), codec.Shape{Columns: 2, Rows: 1, Allocated: 16, Stored: c.stored, Signed: c.signed})
		if !errors.Is(err, c.kind) {
			t.Errorf("%v, %d stored, signed %v: %v, want %v", c.pixels, c.stored, c.signed, err, c.kind)
		}
	}
}
