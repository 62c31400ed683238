package fit

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Finite reports whether no coordinate is NaN or infinite.
func Finite(points ...r3.Vec) bool {
	for _, p := range points {
		if s := p.X + p.Y + p.Z; math.IsNaN(s) || math.IsInf(s, 0) {
			return false
		}
	}
	return true
}
