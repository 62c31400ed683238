package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// gjk returns the gap between two convex bodies that are apart, known by their support points
// only; ok is false where they meet or come within [contact]. The nearest points found are points of
// the bodies, so their distance bounds the least from above; the plane across them bounds it from
// below. The search ends when the two agree to 1e-11 mm or rounding lets neither move.
//
// Method: Gilbert, Johnson & Keerthi, IEEE J Robot Autom 1988;4:193–203 (from memory); the
// nearest point of the simplex by its faces, not by Johnson's recursion.
func gjk(a, b convex, start r3.Vec) (g Gap, ok bool) {
	s := simplex{supportVertex(a, b, start)}
	v, low := s[0].w, 0.0
	best := Gap{Distance: length(v), Near: [2]r3.Vec{s[0].a, s[0].b}}
	stalled := 0
	for range 300 {
		d := length(v)
		if d < 1e-10 {
			return best, false
		}
		p := supportVertex(a, b, r3.Scale(-1/d, v))
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
	return best, best.Distance > contact
}

// contact is the distance below which gjk gives up, mm: its simplex is then as small as its rounding.
// Whether such bodies touch or overlap is left to [overlap], which does not start from the nearest points.
const contact = 1e-4

// vertex is a support point of the difference of two bodies: w = a − b.
type vertex struct{ w, a, b r3.Vec }

func supportVertex(a, b convex, d r3.Vec) vertex {
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
	if enclosesOrigin(s) {
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

func enclosesOrigin(s simplex) bool {
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
