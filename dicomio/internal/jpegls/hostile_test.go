package jpegls

import (
	"bytes"
	"errors"
	"testing"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// header is a stream of 4 × 2 samples of 12 bits with presets and restart markers; tests change bytes in it.
func header() []byte {
	e := encoder{columns: 4, rows: 2, precision: 12, maxval: 4095, t1: 18, t2: 67, t3: 276, reset: 64, presets: true, restart: 1}
	frame, _ := e.encode([]uint16{1, 2000, 3, 4, 5, 6, 7000 & 4095, 8})
	return frame
}

// What a stream may claim, and what is said to it. Offsets count from the start of image:
// frame header at 2, presets at 15, restart interval at 30, scan at 37.
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
		"another process":     {set(3, 0xC3), codec.ErrUnsupported},
		"17 bits":             {set(6, 17), codec.ErrCorrupt},
		"65535 rows":          {set(7, 0xFF, 0xFF), codec.ErrShape},
		"65535 columns":       {set(9, 0xFF, 0xFF), codec.ErrShape},
		"no rows, so DNL":     {set(7, 0, 0), codec.ErrShape},
		"mapping table":       {set(19, 2), codec.ErrUnsupported},
		"large size":          {set(19, 4), codec.ErrUnsupported},
		"maxval over 12 bits": {set(20, 0x10, 0), codec.ErrCorrupt},
		"thresholds fall":     {set(22, 0, 68), codec.ErrCorrupt},
		"reset 2":             {set(28, 0, 2), codec.ErrCorrupt},
		"other component":     {set(42, 8), codec.ErrCorrupt},
		"table in the scan":   {set(43, 1), codec.ErrUnsupported},
		"error over T1":       {set(44, 18), codec.ErrCorrupt},
		"point transform":     {set(46, 1), codec.ErrUnsupported},
		"length past the end": {set(17, 0xFF, 0xFF), codec.ErrCorrupt},
		"length 1":            {set(17, 0, 1), codec.ErrCorrupt},
		"wrong restart": {func(f []byte) []byte { return bytes.Replace(f, []byte{0xFF, 0xD0}, []byte{0xFF, 0xD1}, 1) },
			codec.ErrCorrupt},
		"no end of image": {func(f []byte) []byte { return f[:len(f)-2] }, codec.ErrCorrupt},
		"samples left":    {func(f []byte) []byte { return append(f[:len(f)-2], 0x55, 0x55, 0xFF, 0xD9) }, codec.ErrCorrupt},
	} {
		err := Decode(make([]uint16, 8), c.change(header()), want)
		if !errors.Is(err, c.kind) {
			t.Errorf("%s: %v, want an error that is %q", name, err, c.kind)
		}
	}
}

// Beyond a row of zeros and the gradients' table, a frame takes no memory.
func TestDecodeTakesLittleMemory(t *testing.T) {
	e := encoder{columns: 512, rows: 512, precision: 12, maxval: 4095, t1: 18, t2: 67, t3: 276, reset: 64}
	frame, _ := e.encode(make([]uint16, 512*512))
	if taken := codectest.Allocated(Decode, frame, e.shape()); taken[1] > 64<<10 {
		t.Errorf("took %d bytes, then %d", taken[0], taken[1])
	}
}
