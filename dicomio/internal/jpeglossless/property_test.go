package jpeglossless

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/codec/codectest"
)

// Symmetry: what is encoded by annex H decodes to itself, for every precision, predictor, point transform, restart interval,
// size, and assignment of codes.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		e := encoder{columns: rapid.IntRange(1, 40).Draw(t, "columns"), rows: rapid.IntRange(1, 20).Draw(t, "rows"),
			precision: rapid.IntRange(2, 16).Draw(t, "precision"), selection: rapid.IntRange(1, 7).Draw(t, "selection"),
			lengths: rapid.SampledFrom([][17]int{evenTable, stairTable}).Draw(t, "lengths")}
		e.pt = rapid.IntRange(0, e.precision-1).Draw(t, "point transform")
		e.restart = rapid.IntRange(0, e.rows).Draw(t, "restart")
		copy(e.order[:], rapid.Permutation(identityOrder).Draw(t, "codes"))
		value := rapid.OneOf(rapid.Uint16Range(0, 1<<e.precision-1), rapid.SampledFrom([]uint16{0, 1<<e.precision - 1}))
		pixels := rapid.SliceOfN(value, e.columns*e.rows, e.columns*e.rows).Draw(t, "pixels")
		for i := range pixels {
			pixels[i] = pixels[i] >> e.pt << e.pt
		}
		got := make([]uint16, len(pixels))
		if err := Decode(got, e.encode(pixels), e.shape()); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got, pixels) {
			t.Fatalf("got %v\nwant %v", got, pixels)
		}
	})
}

// Outside program: dcmdjpeg reads the streams of the test's encoder as we do, restart markers and point transform included.
func TestAnotherDecoderReadsTheSame(t *testing.T) {
	for _, e := range []encoder{
		{columns: 61, rows: 47, precision: 12, selection: 1, restart: 1, lengths: evenTable, order: identity()},
		{columns: 61, rows: 47, precision: 16, selection: 7, restart: 3, lengths: stairTable, order: order12},
		{columns: 61, rows: 47, precision: 8, selection: 4, restart: 5, lengths: evenTable, order: identity()},
		{columns: 61, rows: 47, precision: 12, selection: 5, restart: 9, pt: 2, lengths: evenTable, order: identity()},
	} {
		pixels := codectest.Slice(e.shape(), 3)
		for i := range pixels {
			pixels[i] = pixels[i] >> e.pt << e.pt
		}
		frame := e.encode(pixels)
		got := make([]uint16, len(pixels))
		if err := Decode(got, frame, e.shape()); err != nil {
			t.Fatal(err)
		}
		if other := codectest.Outside(t, "57", frame, e.shape()); !slices.Equal(got, other) || !slices.Equal(got, pixels) {
			t.Errorf("%d bits, predictor %d, restart after %d rows: dcmdjpeg gives other samples", e.precision, e.selection, e.restart)
		}
	}
}

var identityOrder = func() []byte { o := identity(); return o[:] }()

func (e encoder) shape() codec.Shape {
	s := codec.Shape{Columns: e.columns, Rows: e.rows, Allocated: 16, Stored: e.precision}
	if e.precision <= 8 {
		s.Allocated = 8
	}
	return s
}

// Pixel megabytes a second of one core: a 512 × 512 slice of 12 bits in 16, with the predictors most met.
func BenchmarkDecode(b *testing.B) {
	for _, selection := range []int{1, 4, 6, 7} {
		b.Run("predictor"+string(rune('0'+selection)), func(b *testing.B) {
			e := encoder{columns: 512, rows: 512, precision: 12, selection: selection, order: order12,
				lengths: [17]int{2, 3, 3, 3, 3, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14}}
			frame := e.encode(codectest.Slice(e.shape(), 1))
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

// order12 lists categories by how often they come in a 12-bit CT with noise of about 25.
var order12 = [17]byte{5, 4, 6, 3, 0, 2, 1, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16}
