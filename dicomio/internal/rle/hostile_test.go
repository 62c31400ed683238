package rle

import (
	"errors"
	"testing"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// What a frame may claim, and what is said to it.
func TestClaimsAreRefused(t *testing.T) {
	want := codec.Shape{Columns: 4, Rows: 2, Allocated: 16, Stored: 12}
	good := func() []byte { return encode([]uint16{1, 2, 3, 4, 5, 6, 7, 8}, want) }
	if err := Decode(make([]uint16, 8), good(), want); err != nil {
		t.Fatal(err)
	}
	set := func(at int, b ...byte) func([]byte) []byte {
		return func(f []byte) []byte { copy(f[at:], b); return f }
	}
	for name, c := range map[string]struct {
		change func([]byte) []byte
		kind   error
	}{
		"empty":                {func([]byte) []byte { return nil }, codec.ErrCorrupt},
		"header cut":           {func(f []byte) []byte { return f[:63] }, codec.ErrCorrupt},
		"one segment":          {set(0, 1), codec.ErrShape},
		"4294967295 segments":  {set(0, 255, 255, 255, 255), codec.ErrShape},
		"offset in the header": {set(4, 60), codec.ErrCorrupt},
		"offset past the end":  {set(8, 255, 255, 255, 255), codec.ErrCorrupt},
		"offsets fall":         {set(4, 80, 0, 0, 0, 70), codec.ErrCorrupt},
		"run too long":         {set(64, 0x81), codec.ErrCorrupt},
		"literal too long":     {set(64, 127), codec.ErrCorrupt},
		"nothing but no-ops":   {set(64, 0x80, 0x80, 0x80, 0x80), codec.ErrCorrupt},
		"cut":                  {func(f []byte) []byte { return f[:len(f)-2] }, codec.ErrCorrupt},
		"more than padding":    {func(f []byte) []byte { return append(f, 1) }, codec.ErrCorrupt},
	} {
		err := Decode(make([]uint16, 8), c.change(good()), want)
		if !errors.Is(err, c.kind) {
			t.Errorf("%s: %v, want an error that is %q", name, err, c.kind)
		}
	}
}

// A frame takes no memory at all.
func TestDecodeTakesNoMemory(t *testing.T) {
	s := codec.Shape{Columns: 512, Rows: 512, Allocated: 16, Stored: 16}
	if taken := codectest.Allocated(Decode, encode(make([]uint16, 512*512), s), s); taken[1] > 4<<10 {
		t.Errorf("took %d bytes, then %d", taken[0], taken[1])
	}
}
