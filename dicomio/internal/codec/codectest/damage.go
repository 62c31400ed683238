package codectest

import (
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"ridgerule/dicomio/internal/codec"
)

// Truncate cuts v at every length and wants an error each time; only a cut that takes nothing but padding, and leaves every
// sample as it was, may pass.
func Truncate(t *testing.T, decode Decoder, v Vector) {
	t.Helper()
	dst := make([]uint16, len(v.Truth))
	for n := range v.Frame {
		clear(dst)
		if err := decode(dst, v.Frame[:n:n], v.Shape); err == nil && !slices.Equal(dst, v.Truth) {
			t.Fatalf("cut to %d of %d bytes: other samples, and no error", n, len(v.Frame))
		} else if err == nil && n < len(v.Frame)-2 {
			t.Fatalf("cut to %d of %d bytes: no error", n, len(v.Frame))
		}
	}
}

// Damage changes bits and bytes of v, seeded by name and place, and holds every result against the contract. It returns how
// many of n damaged frames were refused, and how many gave other samples without an error.
func Damage(t *testing.T, decode Decoder, v Vector, n int) (refused, silent int) {
	t.Helper()
	rng := rand.New(rand.NewPCG(uint64(len(v.Frame)), uint64(n)))
	for range n {
		data := slices.Clone(v.Frame)
		for range 1 + rng.IntN(3) {
			i := rng.IntN(len(data))
			data[i] ^= 1 << rng.IntN(8)
		}
		if !Contract(t, decode, data, v.Shape) {
			refused++
			continue
		}
		dst := make([]uint16, len(v.Truth))
		if decode(dst, data, v.Shape) == nil && !slices.Equal(dst, v.Truth) {
			silent++
		}
	}
	return refused, silent
}

// Allocated returns how many bytes one decoding takes from the heap, the first time and the second.
func Allocated(decode Decoder, data []byte, s codec.Shape) [2]uint64 {
	dst := make([]uint16, s.Columns*s.Rows)
	var taken [2]uint64
	for i := range taken {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_ = decode(dst, data, s)
		runtime.ReadMemStats(&after)
		taken[i] = after.TotalAlloc - before.TotalAlloc
	}
	return taken
}
