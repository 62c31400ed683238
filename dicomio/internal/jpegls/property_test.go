package jpegls

import (
	"bytes"
	"encoding/hex"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// Outside truth: the example of the recommendation itself, image and bits. Source: T.87 H.3 (bits from memory: they would not
// decode to the image, nor end with it, if they were remembered wrong).
func TestExampleOfTheRecommendation(t *testing.T) {
	frame, err := hex.DecodeString(strings.ReplaceAll("FFD8 FFF7000B08 0004 0004 01 011100 FFDA0008 01 0100 00 00 00"+
		"C000006C80208E01C000005740 00006EE6000001BC18000005D8000091 60 FFD9", " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	want := []uint16{0, 0, 90, 74, 68, 50, 43, 205, 64, 145, 145, 145, 100, 145, 145, 145}
	got := make([]uint16, 16)
	if err := Decode(got, frame, codec.Shape{Columns: 4, Rows: 4, Allocated: 8, Stored: 8}); err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	e := encoder{columns: 4, rows: 4, precision: 8, maxval: 255, t1: 3, t2: 7, t3: 21, reset: 64}
	if coded, _ := e.encode(want); !bytes.Equal(coded[len(coded)-32:], frame[len(frame)-32:]) {
		t.Errorf("the test's encoder gives %x, the recommendation %x", coded, frame)
	}
}

// Symmetry: what annex A encodes, it decodes: to itself when lossless, else to the encoder's own reconstruction, which is within
// NEAR of the original.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := drawEncoder(t)
		runs := rapid.IntRange(1, 8).Draw(t, "runs") // equal neighbours, for the run mode
		pixels := make([]uint16, e.columns*e.rows)
		value := rapid.OneOf(rapid.IntRange(0, e.maxval), rapid.SampledFrom([]int{0, e.maxval}), rapid.IntRange(0, min(4, e.maxval)))
		for i := range pixels {
			if i > 0 && i%runs != 0 {
				pixels[i] = pixels[i-1]
			} else {
				pixels[i] = uint16(value.Draw(t, "value"))
			}
		}
		frame, rebuilt := e.encode(pixels)
		got := make([]uint16, len(pixels))
		if err := Decode(got, frame, e.shape()); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, rebuilt) {
			t.Fatalf("got %v\nwant %v", got, rebuilt)
		}
		for i, v := range got {
			if abs(int(v)-int(pixels[i])) > e.near {
				t.Fatalf("sample %d is %d, more than %d from %d", i, v, e.near, pixels[i])
			}
		}
	})
}

func drawEncoder(t *rapid.T) *encoder {
	e := &encoder{columns: rapid.IntRange(1, 40).Draw(t, "columns"), rows: rapid.IntRange(1, 20).Draw(t, "rows"),
		precision: rapid.IntRange(2, 16).Draw(t, "precision"), presets: true}
	e.restart = rapid.IntRange(0, e.rows).Draw(t, "restart")
	e.maxval = rapid.OneOf(rapid.Just(1<<e.precision-1), rapid.IntRange(3, 1<<e.precision-1)).Draw(t, "maxval")
	e.near = rapid.OneOf(rapid.Just(0), rapid.IntRange(0, min(255, e.maxval/2))).Draw(t, "near")
	e.t1 = rapid.IntRange(min(e.near+1, e.maxval), e.maxval).Draw(t, "t1")
	e.t2 = rapid.IntRange(e.t1, e.maxval).Draw(t, "t2")
	e.t3 = rapid.IntRange(e.t2, e.maxval).Draw(t, "t3")
	e.reset = rapid.IntRange(3, max(255, e.maxval)).Draw(t, "reset")
	return e
}

func (e *encoder) shape() codec.Shape {
	s := codec.Shape{Columns: e.columns, Rows: e.rows, Allocated: 16, Stored: e.precision}
	if e.precision <= 8 {
		s.Allocated = 8
	}
	return s
}

// Outside program: libcharls reads the streams of the test's encoder as we do, restart markers, presets and errors included.
func TestAnotherDecoderReadsTheSame(t *testing.T) {
	for _, e := range []encoder{
		{columns: 61, rows: 47, precision: 12, maxval: 4095, t1: 18, t2: 67, t3: 276, reset: 64, restart: 1},
		{columns: 61, rows: 47, precision: 16, maxval: 65535, t1: 18, t2: 67, t3: 276, reset: 64, restart: 5},
		{columns: 61, rows: 47, precision: 8, maxval: 255, t1: 9, t2: 20, t3: 90, reset: 31, restart: 9, presets: true, near: 3},
		{columns: 61, rows: 47, precision: 12, maxval: 4095, t1: 30, t2: 67, t3: 400, reset: 100, presets: true, near: 1},
		{columns: 61, rows: 47, precision: 5, maxval: 31, t1: 2, t2: 3, t3: 4, reset: 64},           // the defaults
		{columns: 61, rows: 47, precision: 6, maxval: 63, t1: 3, t2: 6, t3: 12, reset: 64, near: 1}, // of few bits
	} {
		frame, rebuilt := e.encode(codectest.Slice(e.shape(), 3))
		got := make([]uint16, len(rebuilt))
		if err := Decode(got, frame, e.shape()); err != nil {
			t.Fatal(err)
		}
		if other := codectest.Outside(t, "80", frame, e.shape()); !slices.Equal(got, other) || !slices.Equal(got, rebuilt) {
			t.Errorf("%d bits, error %d, restart after %d lines: libcharls gives other samples", e.precision, e.near, e.restart)
		}
	}
}

// The defaults of T1, T2 and T3. Source: T.87 tables C.3 (8 bits: 3, 7, 21) and C.2.4.1.1.1 for 12 bits: 18, 67, 276.
func TestDefaultThresholds(t *testing.T) {
	for _, c := range []struct {
		maxval, near int
		want         [3]int
	}{
		{255, 0, [3]int{3, 7, 21}}, {255, 2, [3]int{9, 17, 35}},
		{4095, 0, [3]int{18, 67, 276}}, {65535, 0, [3]int{18, 67, 276}},
		{3, 0, [3]int{2, 3, 3}}, // T3 would be 4, more than the largest sample: clamped to T2
	} {
		if got := thresholds(c.maxval, c.near); got != c.want {
			t.Errorf("thresholds(%d, %d) = %v, want %v", c.maxval, c.near, got, c.want)
		}
	}
}

// Pixel megabytes a second of one core: a 512 × 512 slice of 12 bits in 16, lossless and with an error of 2.
func BenchmarkDecode(b *testing.B) {
	for _, near := range []int{0, 2} {
		b.Run("near"+string(rune('0'+near)), func(b *testing.B) {
			e := encoder{columns: 512, rows: 512, precision: 12, near: near, maxval: 4095, reset: 64}
			def := thresholds(4095, near)
			e.t1, e.t2, e.t3 = def[0], def[1], def[2]
			frame, _ := e.encode(codectest.Slice(e.shape(), 1))
			dst := make([]uint16, 512*512)
			b.SetBytes(int64(2 * len(dst)))
			for b.Loop() {
				if err := Decode(dst, frame, e.shape()); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(2*len(dst))/float64(len(frame)), "ratio")
		})
	}
}
