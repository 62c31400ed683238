package codectest

import (
	"bytes"
	"errors"
	"slices"
	"testing"
	"time"

	"ridgerule/dicomio/internal/codec"
)

// Fuzz holds a decoder against its contract on any data: no panic, an error of the right type with an offset inside the data,
// nothing written beyond dst or into data, the same result whatever dst held before, and an end in good time. Seeds are the
// committed vectors.
func Fuzz(f *testing.F, decode Decoder, of string) {
	for _, v := range Committed(f, of) {
		if v.Shape.Columns < 256 && v.Shape.Rows < 256 && len(v.Frame) < 3000 {
			kind := uint8(v.Shape.Stored)
			if v.Shape.Signed {
				kind |= 128
			}
			f.Add(v.Frame, uint8(v.Shape.Columns), uint8(v.Shape.Rows), kind)
		}
	}
	f.Fuzz(func(t *testing.T, data []byte, columns, rows, kind uint8) {
		s := codec.Shape{Columns: int(columns), Rows: int(rows), Allocated: 16, Stored: int(kind & 31), Signed: kind > 127}
		if s.Stored <= 8 {
			s.Allocated = 8
		}
		Contract(t, decode, data, s)
	})
}

// Contract is what Fuzz checks of one frame; it returns whether the frame was decoded.
func Contract(t testing.TB, decode Decoder, data []byte, s codec.Shape) bool {
	t.Helper()
	before := bytes.Clone(data)
	first, err := once(t, decode, data, s, 0)
	second, again := once(t, decode, data, s, 0xFFFF)
	if !bytes.Equal(data, before) {
		t.Fatal("the data were written to")
	}
	if (err == nil) != (again == nil) || err != nil && err.Error() != again.Error() {
		t.Fatalf("twice the same frame: %v, then %v", err, again)
	}
	if err == nil && !slices.Equal(first, second) {
		t.Fatal("what dst held before shows in the samples")
	}
	return err == nil
}

// once decodes into a dst filled with old, before a guard of the same.
func once(t testing.TB, decode Decoder, data []byte, s codec.Shape, old uint16) ([]uint16, error) {
	const guard = 64
	n := s.Columns * s.Rows
	dst := slices.Repeat([]uint16{old}, n+guard)
	start := time.Now()
	err := decode(dst[:n], data, s)
	if d := time.Since(start); d > 5*time.Second { // a frame here has at most 65025 samples, and takes milliseconds
		t.Fatalf("took %v", d)
	}
	if slices.ContainsFunc(dst[n:], func(v uint16) bool { return v != old }) {
		t.Fatal("dst was written beyond its length")
	}
	var e *codec.Error
	if err != nil {
		typed := errors.As(err, &e) && (e.Kind == codec.ErrCorrupt || e.Kind == codec.ErrUnsupported || e.Kind == codec.ErrShape)
		if !typed || e.Offset < 0 || e.Offset > len(data) || e.Codec == "" || e.What == "" {
			t.Fatalf("error %#v of type %T", err, err)
		}
	}
	return dst[:n], err
}
