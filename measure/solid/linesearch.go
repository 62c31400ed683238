package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// settled is when a search has found its distance, mm: the certified gap between the best
// point and a lower bound. Rounding of patient coordinates of some 100 mm is 1e-14.
const settled = 1e-12

// slide returns the gap between a round cone and any convex body with a signed distance.
// A round cone is a ball that slides along its axis while its radius changes, so
//
//	distance = min over z of  f(z) = sd(a + z·u) − ra + z·sin
//
// is a convex problem in one number (sd is convex, the rest linear). Two tangents of f bracket
// the minimum from below; the search ends when best − bound ≤ [settled], which is exact.
// A negative distance says that the bodies meet; it is the least way out only when the round
// cone is a ball. The search may end once the bound passes stop (mm).
//
// Method: cutting planes (Kelley 1960) in one dimension, with bisection as safeguard.
func slide(c *roundCone, f field, stop float64) Gap {
	return slideWithin(c, f, math.Inf(-1), stop)
}

// slideWithin is slide that may also end with the first gap below enough (mm) that it finds.
func slideWithin(c *roundCone, f field, enough, stop float64) Gap {
	lo := touch(c, f, 0)
	if c.l == 0 || lo.slope >= 0 || lo.d < enough {
		return lo.gap(c)
	}
	hi := touch(c, f, c.l)
	if hi.slope <= 0 || hi.d < enough {
		return hi.gap(c)
	}
	for i := range 200 {
		z := (hi.d - lo.d + lo.slope*lo.z - hi.slope*hi.z) / (lo.slope - hi.slope)
		bound := lo.d + lo.slope*(z-lo.z)
		if bound > stop || min(lo.d, hi.d) < enough || min(lo.d, hi.d)-bound <= settled {
			break
		}
		if i%4 == 3 || !(z > lo.z && z < hi.z) {
			z = (lo.z + hi.z) / 2
		}
		m := touch(c, f, z)
		switch {
		case m.slope == 0:
			return m.gap(c)
		case m.slope < 0:
			lo = m
		default:
			hi = m
		}
	}
	if lo.d < hi.d {
		return lo.gap(c)
	}
	return hi.gap(c)
}

// tangent is f and its slope at one place of the slide.
type tangent struct {
	z, d, slope float64
	n           r3.Vec
}

func touch(c *roundCone, f field, z float64) tangent {
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

func gapOf(a, b r3.Vec) Gap { return Gap{Distance: length(r3.Sub(a, b)), Near: [2]r3.Vec{a, b}} }

func (g Gap) swapped() Gap {
	g.Near[0], g.Near[1] = g.Near[1], g.Near[0]
	return g
}

// gjk returns the gap between two convex bodies that are apart, known by their support points
// only; ok is false where they meet or come within [touching]. The nearest points found are points of the bodies, so their
// distance bounds the least from above; the plane across them bounds it from below. The search
// ends when the two agree to 1e-11 mm or rounding lets neither move.
//
// Method: Gilbert, Johnson & Keerthi, IEEE J Robot Autom 1988;4:193–203 (from memory); the
// nearest point of the simplex by its faces, not by Johnson's recursion.
func gjk(a, b convex, start r3.Vec) (g Gap, ok bool) {
	s := simplex{pick(a, b, start)}
	v, low := s[0].w, 0.0
	best := Gap{Distance: length(v), Near: [2]r3.Vec{s[0].a, s[0].b}}
	stalled := 0
	for range 300 {
		d := length(v)
		if d < 1e-10 {
			return best, false
		}
		p := pick(a, b, r3.Scale(-1/d, v))
		low = max(low, r3.Dot(p.w, v)/d)
		if best.Distance-low <= 1e-11 || stalled > 3 {
			break
		}
		var inside bool
		if s, inside = append(s, p).reduce(); inside {
			return best, false
		}
		stalled++
		if g := s.gap(); g.Distance < best.Distance {
			if g.Distance < best.Distance-1e-14 {
				stalled = 0
			}
			best = g
		}
		v = s.nearest()
	}
	return best, best.Distance > touching
}

// touching is where gjk gives up, mm: so near, its simplex is all rounding, and the overlap's
// search, which works from the outside in, tells a touch from a hair's breadth.
const touching = 1e-4

// vertex is a support point of the difference of two bodies: w = a − b.
type vertex struct{ w, a, b r3.Vec }

func pick(a, b convex, d r3.Vec) vertex {
	p, q := a.support(d), b.support(r3.Scale(-1, d))
	return vertex{r3.Sub(p, q), p, q}
}

// simplex holds one to three vertices between steps, its nearest point to the origin inside.
type simplex []vertex

// reduce returns the face of the simplex nearest to the origin; inside is true when a
// tetrahedron holds the origin.
func (s simplex) reduce() (simplex, bool) {
	if len(s) < 4 {
		w := s.weights()
		return s.keep(w), false
	}
	if holdsOrigin(s) {
		return s, true
	}
	least := math.Inf(1)
	var out simplex
	for skip := range 4 {
		f := make(simplex, 0, 4)
		for i, v := range s {
			if i != skip {
				f = append(f, v)
			}
		}
		f = f.keep(f.weights())
		if d := length(f.nearest()); d < least {
			least, out = d, f
		}
	}
	return out, false
}

func holdsOrigin(s simplex) bool {
	for i := range 4 {
		a, b, c, d := s[i].w, s[(i+1)%4].w, s[(i+2)%4].w, s[(i+3)%4].w
		n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
		if r3.Dot(n, r3.Sub(d, a))*-r3.Dot(n, a) <= 0 {
			return false
		}
	}
	return true
}

// weights returns the barycentric coordinates of the simplex's point nearest to the origin.
func (s simplex) weights() [3]float64 {
	t := Triangle{s[0].w, s[0].w, s[0].w}
	for i, v := range s {
		t[i] = v.w
	}
	switch len(s) {
	case 1:
		return [3]float64{1, 0, 0}
	case 2:
		e := r3.Sub(t[1], t[0])
		k := 0.0
		if l := r3.Norm2(e); l > 0 {
			k = min(max(-r3.Dot(t[0], e)/l, 0), 1)
		}
		return [3]float64{1 - k, k, 0}
	}
	_, w := t.Nearest(r3.Vec{})
	return w
}

func (s simplex) keep(w [3]float64) simplex {
	out := make(simplex, 0, 4)
	for i, v := range s {
		if w[i] > 0 {
			out = append(out, v)
		}
	}
	return out
}

func (s simplex) nearest() r3.Vec {
	g := s.gap()
	return r3.Sub(g.Near[0], g.Near[1])
}

// gap returns the nearest points of the two bodies that the simplex knows.
func (s simplex) gap() Gap {
	var g Gap
	for i, w := range s.weights() {
		if i < len(s) {
			g.Near[0] = r3.Add(g.Near[0], r3.Scale(w, s[i].a))
			g.Near[1] = r3.Add(g.Near[1], r3.Scale(w, s[i].b))
		}
	}
	g.Distance = length(r3.Sub(g.Near[0], g.Near[1]))
	return g
}
