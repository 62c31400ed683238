package ridge

import (
	"math"
	"testing"

	"ridgerule/measure/reformat"
)

// BenchmarkTrace outlines an oval ridge with a cortex in noise: the coarse pass and the sharpening.
func BenchmarkTrace(b *testing.B) {
	s := scene{voxel: 0.2, min: reformat.UV{U: -17, V: -40}, max: reformat.UV{U: 17, V: 15}, depth: 2, noise: 40, seed: 1}
	f := s.field(b, func(p reformat.UV) float64 {
		switch r := math.Hypot(p.U/6, (p.V+14)/14); {
		case r > 1:
			return 0
		case r > 0.8:
			return 1500
		}
		return 300
	})
	for b.Loop() {
		if _, err := Trace(f, ImageModel{}); err != nil {
			b.Fatal(err)
		}
	}
}
