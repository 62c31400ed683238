package solid

import (
	"gonum.org/v1/gonum/spatial/r3"
)

// converged is when the search has found its distance, mm: the certified gap between the best
// point and a lower bound. Rounding of patient coordinates of some 100 mm is 1e-14.
const converged = 1e-12

// lineSearch returns the gap between a round cone and any convex body with a signed distance.
// A round cone is swept by a ball whose centre moves along its axis while its radius changes, so
//
//	distance = min over z of  f(z) = sd(a + z·u) − ra + z·sin
//
// is a convex problem in one number (sd is convex, the rest linear). Two tangents of f bracket
// the minimum from below; the search ends when best − bound ≤ [converged], which is exact.
// A negative distance says that the bodies meet; it is the depth of the overlap only when the round
// cone is a ball. The search may end early: with the first gap below enough (mm) that it finds, and
// once the bound passes stop (mm).
//
// Method: cutting planes (Kelley 1960) in one dimension, with bisection as safeguard.
func lineSearch(c *roundCone, f field, enough, stop float64) Gap {
	lo := tangentAt(c, f, 0)
	if c.l == 0 || lo.slope >= 0 || lo.d < enough {
		return lo.gap(c)
	}
	hi := tangentAt(c, f, c.l)
	if hi.slope <= 0 || hi.d < enough {
		return hi.gap(c)
	}
	for i := range 200 {
		z, bound := meet(lo, hi)
		if best := min(lo.d, hi.d); bound > stop || best < enough || best-bound <= converged {
			break
		}
		if i%4 == 3 || !(z > lo.z && z < hi.z) {
			z = (lo.z + hi.z) / 2
		}
		m := tangentAt(c, f, z)
		switch {
		case m.slope == 0:
			return m.gap(c)
		case m.slope < 0:
			lo = m
		default:
			hi = m
		}
	}
	return nearer(lo, hi).gap(c)
}

func nearer(a, b tangent) tangent {
	if a.d < b.d {
		return a
	}
	return b
}

// meet returns where two tangents meet, and the value there: no less is f between them.
func meet(lo, hi tangent) (z, bound float64) {
	z = (hi.d - lo.d + lo.slope*lo.z - hi.slope*hi.z) / (lo.slope - hi.slope)
	return z, lo.d + lo.slope*(z-lo.z)
}

// tangent is f and its slope at one z.
type tangent struct {
	z, d, slope float64
	n           r3.Vec
}

// tangentAt returns the tangent of f at z mm along the axis.
func tangentAt(c *roundCone, f field, z float64) tangent {
	x, r := c.at(z)
	sd, n := f.signed(x)
	return tangent{z, sd - r, r3.Dot(n, c.u) + c.sin, n}
}

// gap turns the tangent into a gap, the round cone's point first.
func (t tangent) gap(c *roundCone) Gap {
	x, r := c.at(t.z)
	mine := r3.Sub(x, r3.Scale(r, t.n))
	return Gap{Distance: t.d, Near: [2]r3.Vec{mine, r3.Sub(mine, r3.Scale(t.d, t.n))}}
}
