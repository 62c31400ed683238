package codectest

import (
	"math"
	"math/rand/v2"

	"ridgerule/dicomio/internal/codec"
)

// Slice is a synthetic slice for benchmarks, as patterns of the given shape: a disc of soft tissue in air, a dense arch in it,
// noise of 0.6 % of the range, and a flat border outside the circular field.
func Slice(s codec.Shape, seed uint64) []uint16 {
	noise := rand.New(rand.NewPCG(seed, 1))
	low, span := 0.0, float64(int(1)<<s.Stored-1)
	if s.Signed {
		low = -float64(int(1) << (s.Stored - 1))
	}
	pixels := make([]uint16, s.Columns*s.Rows)
	for i := range pixels {
		u := float64(i%s.Columns)/float64(s.Columns)*2 - 1
		v := float64(i/s.Columns)/float64(s.Rows)*2 - 1
		r, grey := math.Hypot(u, v), 0.02
		if r < 0.9 {
			grey = 0.25
		}
		if v < 0.3 {
			grey += 0.35 * math.Exp(-math.Pow((math.Hypot(u, v-0.2)-0.5)/0.08, 2))
		}
		if r < 0.97 {
			grey += noise.NormFloat64() * 0.006
		}
		pixels[i] = uint16(int(low + span*min(max(grey, 0), 1)))
	}
	return pixels
}
