package accuracy_test

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
)

// A shape is an upright ridge with its crest at the origin, from which the knots of an outline are
// taken: a round crest, widening to its full width, hollowed on the sides, and a round base. All mm.
type shape struct {
	crest, wide, round float64    // radius of the crest, half the full width, height of the round base
	height, full       float64    // of the whole, depth of the full width
	hollow             [2]float64 // how deep: lingual, buccal
	at, spread         float64    // depth of the hollows' middle, and their sigma
}

func drawShape(rng *rand.Rand, maxilla bool) shape {
	s := shape{crest: between(rng, 1.5, 2.8), wide: between(rng, 4.2, 6.3), round: between(rng, 3, 4.5), height: between(rng, 15, 20)}
	if maxilla {
		s.wide, s.height = between(rng, 4.5, 7), 32 // the base lies outside the field
	}
	s.full = between(rng, 9, 12)
	s.hollow[rng.IntN(2)] = between(rng, 0, 1.5)
	if rng.Float64() < 0.3 {
		s.hollow = [2]float64{between(rng, 0, 1.5), between(rng, 0, 1.2)}
	}
	s.at, s.spread = between(rng, 4.5, 9), between(rng, 1.8, 2.6)
	return s
}

// half returns the half width at depth z of a side, 0: lingual, 1: buccal.
func (s shape) half(z float64, side int) float64 {
	if d := s.height - z; d < s.round {
		return s.wide * math.Sqrt(d*(2*s.round-d)) / s.round
	}
	if z < s.crest {
		return math.Sqrt(z * (2*s.crest - z))
	}
	x := math.Min(1, (z-s.crest)/(s.full-s.crest))
	return s.crest + (s.wide-s.crest)*x*x*(3-2*x) - s.hollow[side]*math.Exp(-(z-s.at)*(z-s.at)/(2*s.spread*s.spread))
}

// knots returns points of the shape, counter-clockwise from the crest, each a little beside it.
func (s shape) knots(rng *rand.Rand) []r2.Vec {
	var depths []float64
	for _, d := range []float64{-0.65 * s.crest, 0, 1.8, 3.8, 5.8, 7.8} {
		depths = append(depths, s.crest+d)
	}
	for z := s.crest + 10.2; z < s.height-s.round-1.2; z += 2.6 {
		depths = append(depths, z)
	}
	depths = append(depths, s.height-s.round, s.height-0.3*s.round)
	rough := func(z float64) float64 {
		if z < 0.5*s.crest {
			return 0
		}
		return rng.NormFloat64() * 0.15
	}
	out := []r2.Vec{{}}
	for _, z := range depths {
		out = append(out, r2.Vec{X: -s.half(z, 0) + rough(z), Y: -z})
	}
	out = append(out, r2.Vec{Y: -s.height})
	for i := range depths {
		z := depths[len(depths)-1-i]
		out = append(out, r2.Vec{X: s.half(z, 1) + rough(z), Y: -z})
	}
	return out
}

// A sinus is a cavity inside a shape. All mm.
type sinus struct {
	shape
	floor float64     // depth of its lowest point
	wall  [2]float64  // what it leaves of the bone beside it: lingual, buccal
	skew  float64     // of the floor's lowest point, toward buccal
	rough [40]float64 // by how much knots lie beside the smooth wall
}

// drawSinus draws the cavity of the upright maxilla, its cortex and its lining; false when a bend is too
// sharp.
func (j *jaw) drawSinus(rng *rand.Rand, of shape) (ok bool) {
	s := sinus{shape: of, floor: between(rng, 4.5, 14)}
	s.wall[1], s.wall[0] = between(rng, 0.9, 2), between(rng, 1.2, 3)
	cortex, lining := between(rng, 0.5, 1.5), 0.0
	if rng.Float64() < 0.7 {
		lining = between(rng, 0.2, 5)
	}
	s.skew = between(rng, -0.8, 0.8)
	for i := range s.rough {
		s.rough[i] = rng.NormFloat64() * 0.15
	}
	j.floor, j.cavity = s.floor, s.loop(0, 0)
	j.shell, ok = j.cavity.offset(func(int) float64 { return cortex })
	j.air = s.loop(lining, math.Min(lining, 0.3+0.2*lining))
	return ok && j.cavity.smooth()
}

// loop returns the cavity under a lining of some mm on the floor and on the walls.
func (s sinus) loop(onFloor, onWall float64) loop {
	top := s.height - 6
	depths := []float64{s.floor + 1.2, s.floor + 3.6, s.floor + 6.4}
	for z := s.floor + 9.5; z < top-1.5; z += 3 {
		depths = append(depths, z)
	}
	depths = append(depths, top)
	narrow := []float64{0.62, 0.93} // near the floor
	var knots []r2.Vec
	n := 0
	add := func(i, side int) {
		n++
		x := s.half(depths[i], side) - s.wall[side] - onWall
		if i < len(narrow) {
			x *= narrow[i]
		}
		x = float64(2*side-1)*x + s.rough[n%len(s.rough)]
		knots = append(knots, r2.Vec{X: x, Y: -math.Min(depths[i]+onFloor, top+0.1*depths[i])})
	}
	knots = append(knots, r2.Vec{Y: -top - 2.5}) // the far end, outside the field
	for i := range depths {
		add(len(depths)-1-i, 1)
	}
	knots = append(knots, r2.Vec{X: s.skew, Y: -s.floor - onFloor})
	for i := range depths {
		add(i, 0)
	}
	return spline(knots, 1600)
}
