package rle

import (
	"encoding/binary"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// encode packs each byte plane row by row, runs of two and more as repeats. It shares no code with the decoder.
func encode(pixels []uint16, s codec.Shape) []byte {
	planes := s.Allocated / 8
	out := make([]byte, 64)
	binary.LittleEndian.PutUint32(out, uint32(planes))
	for p := range planes {
		binary.LittleEndian.PutUint32(out[4+4*p:], uint32(len(out)))
		for y := range s.Rows {
			row := make([]byte, s.Columns)
			for x := range row {
				row[x] = byte(pixels[y*s.Columns+x] >> (8 * (planes - 1 - p)))
			}
			out = packBits(out, row)
		}
		if len(out)%2 == 1 {
			out = append(out, 0)
		}
	}
	return out
}

func packBits(out, row []byte) []byte {
	for len(row) > 0 {
		n := 1
		for n < len(row) && n < 128 && row[n] == row[0] {
			n++
		}
		if n > 1 {
			out = append(out, byte(1-n), row[0])
			row = row[n:]
			continue
		}
		for n < len(row) && n < 128 && (n+1 == len(row) || row[n] != row[n+1]) {
			n++
		}
		out = append(append(out, byte(n-1)), row[:n]...)
		row = row[n:]
	}
	return out
}

// Symmetry: what is packed unpacks to itself.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := codec.Shape{Columns: rapid.IntRange(1, 300).Draw(t, "columns"), Rows: rapid.IntRange(1, 10).Draw(t, "rows"),
			Allocated: rapid.SampledFrom([]int{8, 16}).Draw(t, "allocated"), Stored: 8}
		pixels := make([]uint16, s.Columns*s.Rows)
		runs := rapid.IntRange(1, 200).Draw(t, "runs")
		value := rapid.Uint16Range(0, 1<<s.Allocated-1)
		for i := range pixels {
			if i > 0 && i%runs != 0 {
				pixels[i] = pixels[i-1]
			} else {
				pixels[i] = value.Draw(t, "value")
			}
		}
		got := make([]uint16, len(pixels))
		if err := Decode(got, encode(pixels, s), s); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, pixels) {
			t.Fatalf("got %v\nwant %v", got, pixels)
		}
	})
}

// Outside truth: the bytes that unpack in the description of the algorithm, by hand. Source: PS3.5 G.3.1, G.3.2.
func TestControlBytes(t *testing.T) {
	frame := make([]byte, 64)
	frame[0], frame[4] = 1, 64
	frame = append(frame, 2, 0xAA, 0x80, 0x00, 0x80 /* does nothing */, 0xFE, 0xAA, 0x00, 0x2A, 0xFF, 0x07)
	got := make([]uint16, 9)
	if err := Decode(got, frame, codec.Shape{Columns: 9, Rows: 1, Allocated: 8, Stored: 8}); err != nil {
		t.Fatal(err)
	}
	if want := []uint16{0xAA, 0x80, 0x00, 0xAA, 0xAA, 0xAA, 0x2A, 0x07, 0x07}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Pixel megabytes a second of one core: a 512 × 512 slice of 12 bits in 16, and a flat one.
func BenchmarkDecode(b *testing.B) {
	s := codec.Shape{Columns: 512, Rows: 512, Allocated: 16, Stored: 12}
	for name, pixels := range map[string][]uint16{"slice": codectest.Slice(s, 1), "flat": make([]uint16, 512*512)} {
		b.Run(name, func(b *testing.B) {
			frame := encode(pixels, s)
			dst := make([]uint16, len(pixels))
			b.SetBytes(int64(2 * len(dst)))
			for b.Loop() {
				if err := Decode(dst, frame, s); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(2*len(dst))/float64(len(frame)), "ratio")
		})
	}
}
