package align

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
)

// What of a jaw is used, seen from the plan of the first scan; our choice, after the finding that the body of the jaw without
// teeth, alveolar bone and rami is the reliable reference (docs/alignment.md). Where the numbers move, which bone counts moves
// with them, and the uncertainty tells.
const (
	basalTop     = 4.0  // mm below the arch curve toward the base: above it bone comes and goes
	basalBottom  = 40.0 // mm
	basalBeside  = 14.0 // mm to either side of the curve
	aroundPlaced = 6.0  // mm about the axis of a planned implant: metal, and the bone that it costs
)

// Segment is a straight piece, mm.
type Segment struct{ From, To r3.Vec }

// Basal returns the points that are basal bone by the arch curve of a plan: below the curve, seen against occlusal (a unit
// vector to the biting surface), beside it no further than the bone goes, and away from the given axes of implants.
func Basal(arch []r3.Vec, occlusal r3.Vec, implants []Segment) func(p r3.Vec) bool {
	flat := func(p r3.Vec) r3.Vec { return r3.Sub(p, r3.Scale(r3.Dot(p, occlusal), occlusal)) }
	return func(p r3.Vec) bool {
		best, height := math.Inf(1), 0.0
		for i := 1; i < len(arch); i++ {
			a, b := flat(arch[i-1]), flat(arch[i])
			t := along(a, b, flat(p))
			if d := r3.Norm(r3.Sub(flat(p), r3.Add(a, r3.Scale(t, r3.Sub(b, a))))); d < best {
				best = d
				height = r3.Dot(r3.Sub(p, r3.Add(arch[i-1], r3.Scale(t, r3.Sub(arch[i], arch[i-1])))), occlusal)
			}
		}
		if best > basalBeside || height > -basalTop || height < -basalBottom {
			return false
		}
		for _, s := range implants {
			q := r3.Add(s.From, r3.Scale(along(s.From, s.To, p), r3.Sub(s.To, s.From)))
			if r3.Norm(r3.Sub(p, q)) < aroundPlaced {
				return false
			}
		}
		return true
	}
}

// along returns where on the piece from a to b the point nearest to p lies, 0 to 1.
func along(a, b, p r3.Vec) float64 {
	d := r3.Sub(b, a)
	if n := r3.Norm2(d); n > 0 {
		return max(0, min(1, r3.Dot(r3.Sub(p, a), d)/n))
	}
	return 0
}

// Inside returns the points within a closed surface. It returns an error wrapping [solid.ErrBody] where the surface is not
// closed.
func Inside(s *solid.Surface) (func(p r3.Vec) bool, error) {
	shape, err := s.Shape()
	if err != nil {
		return nil, err
	}
	return func(p r3.Vec) bool {
		ball, err := solid.Chain{Path: []r3.Vec{p}, Radii: []float64{0}}.Shape()
		return err == nil && ball.Gap(shape).Distance < 0
	}, nil
}
