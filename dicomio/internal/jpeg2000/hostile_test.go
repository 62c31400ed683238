package jpeg2000

import (
	"bytes"
	"encoding/binary"
	"errors"
	"testing"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// plain gives a committed frame of one tile and one layer, whose main header tests change, and its shape.
// Offsets: size at 2 (its parameters from 6), coding style found by its marker.
func plain(t *testing.T) ([]byte, codec.Shape) {
	for _, v := range codectest.Committed(t, "jpeg2000") {
		if v.Name == "jpeg2000-ct-s12-shallow" {
			return v.Frame, v.Shape
		}
	}
	t.Fatal("no such vector")
	return nil, codec.Shape{}
}

// What a codestream may claim, and what is said to it, in little memory.
func TestClaimsAreRefused(t *testing.T) {
	frame, want := plain(t)
	coding := bytes.Index(frame, []byte{0xFF, cod}) + 4
	quantization := bytes.Index(frame, []byte{0xFF, qcd}) + 4
	part := bytes.Index(frame, []byte{0xFF, sot})
	set := func(at int, b ...byte) func([]byte) []byte {
		return func(f []byte) []byte { copy(f[at:], b); return f }
	}
	word := func(v uint32) []byte { return binary.BigEndian.AppendUint32(nil, v) }
	insert := func(at int, b ...byte) func([]byte) []byte {
		return func(f []byte) []byte { return append(append(append([]byte{}, f[:at]...), b...), f[at:]...) }
	}
	for name, c := range map[string]struct {
		change func([]byte) []byte
		kind   error
	}{
		"empty":                        {func([]byte) []byte { return nil }, codec.ErrCorrupt},
		"width of 4294967295":          {set(8, word(1<<32-1)...), codec.ErrShape},
		"offset beyond the width":      {set(16, word(1<<32-1)...), codec.ErrShape},
		"tiles of one sample":          {set(24, append(word(1), word(1)...)...), codec.ErrCorrupt},
		"tiles of none":                {set(24, word(0)...), codec.ErrCorrupt},
		"first tile after the image":   {set(32, word(5)...), codec.ErrCorrupt},
		"three components":             {set(40, 0, 3), codec.ErrCorrupt},
		"38 bits":                      {set(42, 37), codec.ErrShape},
		"every second column":          {set(43, 2), codec.ErrUnsupported},
		"high throughput":              {set(6, 0x40), codec.ErrUnsupported},
		"65535 layers":                 {set(coding+2, 0xFF, 0xFF), codec.ErrCorrupt},
		"no layer":                     {set(coding+2, 0, 0), codec.ErrCorrupt},
		"progression 5":                {set(coding+1, 5), codec.ErrCorrupt},
		"33 levels":                    {set(coding+5, 33), codec.ErrCorrupt},
		"blocks of 2^11":               {set(coding+6, 9), codec.ErrCorrupt},
		"blocks of 2^20 coefficients":  {set(coding+6, 8, 8), codec.ErrCorrupt},
		"wavelet 2":                    {set(coding+9, 2), codec.ErrCorrupt},
		"wavelet without its steps":    {set(coding+9, 0), codec.ErrCorrupt},
		"precincts without sizes":      {set(coding, 1), codec.ErrCorrupt},
		"quantization 3":               {set(quantization, 0x43), codec.ErrCorrupt},
		"tile 1 of 1":                  {set(part+4, 0, 1), codec.ErrCorrupt},
		"part 1 first":                 {set(part+10, 1), codec.ErrCorrupt},
		"part 1 of 2 only":             {set(part+11, 2), codec.ErrCorrupt},
		"part of 4294967295 bytes":     {set(part+6, word(1<<32-1)...), codec.ErrCorrupt},
		"part of 13 bytes":             {set(part+6, word(13)...), codec.ErrCorrupt},
		"part without its last byte":   {set(part+6, word(uint32(len(frame)-part-3))...), codec.ErrCorrupt},
		"region of interest":           {insert(part, 0xFF, rgn, 0, 5, 0, 0, 7), codec.ErrUnsupported},
		"progression change":           {insert(part, 0xFF, poc, 0, 9, 0, 0, 0, 1, 1, 1, 0), codec.ErrUnsupported},
		"packed headers":               {insert(part, 0xFF, ppm, 0, 3, 0), codec.ErrUnsupported},
		"capabilities":                 {insert(part, 0xFF, ext, 0, 8, 0, 2, 0, 0, 0, 0), codec.ErrUnsupported},
		"a second size":                {insert(part, frame[2:45]...), codec.ErrCorrupt},
		"a packet more than there are": {insert(len(frame)-2, 0x80), codec.ErrCorrupt},
		"no end of codestream":         {func(f []byte) []byte { return f[:len(f)-2] }, codec.ErrCorrupt},
	} {
		changed := c.change(bytes.Clone(frame))
		if err := Decode(make([]uint16, want.Columns*want.Rows), changed, want); !errors.Is(err, c.kind) {
			t.Errorf("%s: %v, want an error that is %q", name, err, c.kind)
		}
		if taken := codectest.Allocated(Decode, changed, want); taken[1] > 1<<20 {
			t.Errorf("%s: took %d bytes, then %d", name, taken[0], taken[1])
		}
	}
}

// Precincts of one sample cost a byte each: a header that claims a million of them, in a frame that could hold them, is
// refused before they are laid out.
func TestPrecinctsArePaidFor(t *testing.T) {
	const side = 1024
	frame := []byte{0xFF, soc, 0xFF, siz, 0, 41, 0, 0}
	for _, v := range []uint32{side, side, 0, 0, side, side, 0, 0} {
		frame = binary.BigEndian.AppendUint32(frame, v)
	}
	frame = append(frame, 0, 1, 7, 1, 1)
	frame = append(frame, 0xFF, cod, 0, 13, 1, 0, 0, 1, 0, 0, 4, 4, 0, 1, 0) // no decomposition, precincts of 1 × 1
	frame = append(frame, 0xFF, qcd, 0, 4, 0x40, 0x40)
	frame = append(frame, 0xFF, sot, 0, 10, 0, 0, 0, 0, 0, 0, 0, 1, 0xFF, sod)
	frame = append(frame, make([]byte, side*side/2)...)
	frame = append(frame, 0xFF, eoc)
	want := codec.Shape{Columns: side, Rows: side, Allocated: 8, Stored: 8}
	if err := Decode(make([]uint16, side*side), frame, want); !errors.Is(err, codec.ErrCorrupt) {
		t.Errorf("%v, want %v", err, codec.ErrCorrupt)
	}
	if taken := codectest.Allocated(Decode, frame, want); taken[1] > 1<<20 {
		t.Errorf("took %d bytes, then %d", taken[0], taken[1])
	}
}

// A frame inside a JP2 file's boxes reads as the bare one.
func TestBoxesAreSteppedOver(t *testing.T) {
	frame, want := plain(t)
	file := append([]byte("\x00\x00\x00\x0cjP  \r\n\x87\n\x00\x00\x00\x14ftypjp2 \x00\x00\x00\x00jp2 \x00\x00\x00\x00jp2c"), frame...)
	bare, boxed := make([]uint16, want.Columns*want.Rows), make([]uint16, want.Columns*want.Rows)
	if err := Decode(bare, frame, want); err != nil {
		t.Fatal(err)
	}
	if err := Decode(boxed, file, want); err != nil {
		t.Fatal(err)
	}
	for i := range bare {
		if bare[i] != boxed[i] {
			t.Fatalf("sample %d is %d bare, %d in its boxes", i, bare[i], boxed[i])
		}
	}
}

// The codestream says what is signed: values below 0 come sign-extended, and where the header knows none they are refused.
func TestSignIsTheCodestreams(t *testing.T) {
	frame, want := plain(t)
	dst := make([]uint16, want.Columns*want.Rows)
	for _, c := range []struct {
		stored int
		signed bool
		kind   error
	}{{12, true, nil}, {16, true, nil}, {12, false, codec.ErrShape}, {16, false, codec.ErrShape}} {
		s := want
		s.Stored, s.Signed = c.stored, c.signed
		if err := Decode(dst, frame, s); !errors.Is(err, c.kind) {
			t.Errorf("%d stored, signed %v: %v, want %v", c.stored, c.signed, err, c.kind)
		}
		if int16(dst[0]) >= 0 || int16(dst[0]) < -2048 {
			t.Errorf("%d stored: the corner is %d, want air, below 0 and of 12 bits", c.stored, int16(dst[0]))
		}
	}
}
