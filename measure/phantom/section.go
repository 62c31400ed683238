package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// spline is the centripetal Catmull–Rom curve through the plan's arch points, evaluated here
// on its own, as a cubic Hermite curve with the tangents of that spline:
//
//	m₁ = (p₁−p₀)/(t₁−t₀) − (p₂−p₀)/(t₂−t₀) + (p₂−p₁)/(t₂−t₁),  tᵢ₊₁ − tᵢ = √|pᵢ₊₁−pᵢ|
//
// At the ends the missing neighbour is the mirror image of the next point in the end point.
//
// Source: Yuksel C, Schaefer S, Keyser J. Comput-Aided Des 2011;43:747–755 (from memory).
type spline struct{ p []r3.Vec }

// segment returns point and derivative (by q) at q in [0, 1] between points i and i+1.
func (c *spline) segment(i int, q float64) (p, d r3.Vec) {
	p1, p2 := c.p[i], c.p[i+1]
	p0, p3 := r3.Sub(r3.Scale(2, p1), p2), r3.Sub(r3.Scale(2, p2), p1)
	if i > 0 {
		p0 = c.p[i-1]
	}
	if i+2 < len(c.p) {
		p3 = c.p[i+2]
	}
	a, b, e := knot(p0, p1), knot(p1, p2), knot(p2, p3)
	m1 := tangent(p0, p1, p2, a, b, b)
	m2 := tangent(p1, p2, p3, b, e, b)
	q2, q3 := q*q, q*q*q
	p = sum4(p1, 2*q3-3*q2+1, m1, q3-2*q2+q, p2, -2*q3+3*q2, m2, q3-q2)
	d = sum4(p1, 6*q2-6*q, m1, 3*q2-4*q+1, p2, -6*q2+6*q, m2, 3*q2-2*q)
	return p, d
}

func knot(a, b r3.Vec) float64 { return math.Sqrt(r3.Norm(r3.Sub(b, a))) }

// tangent is the spline's derivative at q, for knot intervals a before and b after it, times span.
func tangent(p, q, r r3.Vec, a, b, span float64) r3.Vec {
	m := r3.Scale(1/a, r3.Sub(q, p))
	m = r3.Sub(m, r3.Scale(1/(a+b), r3.Sub(r, p)))
	m = r3.Add(m, r3.Scale(1/b, r3.Sub(r, q)))
	return r3.Scale(span, m)
}

func sum4(a r3.Vec, fa float64, b r3.Vec, fb float64, c r3.Vec, fc float64, d r3.Vec, fd float64) r3.Vec {
	return r3.Add(r3.Add(r3.Scale(fa, a), r3.Scale(fb, b)), r3.Add(r3.Scale(fc, c), r3.Scale(fd, d)))
}

// nearest returns the segment and q of the curve's point nearest to p.
func (c *spline) nearest(p r3.Vec) (seg int, q float64) {
	const n = 16
	best := math.Inf(1)
	at := func(i int, q float64) float64 { x, _ := c.segment(i, q); return r3.Norm2(r3.Sub(x, p)) }
	for i := range len(c.p) - 1 {
		for k := 0; k <= n; k++ {
			if d := at(i, float64(k)/n); d < best {
				best, seg, q = d, i, float64(k)/n
			}
		}
	}
	// a root of (x−p)·x′ lies within one step of the best sample; global parameter g = seg + q
	slope := func(g float64) float64 {
		i := max(0, min(len(c.p)-2, int(math.Floor(g))))
		x, d := c.segment(i, g-float64(i))
		return r3.Dot(r3.Sub(x, p), d)
	}
	lo := max(0, float64(seg)+q-1.0/n)
	hi := min(float64(len(c.p)-1), float64(seg)+q+1.0/n)
	g := float64(seg) + q
	if slope(lo) < 0 && slope(hi) > 0 {
		g = root(slope, lo, hi)
	}
	seg = max(0, min(len(c.p)-2, int(math.Floor(g))))
	return seg, g - float64(seg)
}

// length returns the arc length from the first point to (seg, q), mm.
func (c *spline) length(seg int, q float64) float64 {
	s := 0.0
	for i := 0; i < seg; i++ {
		s += c.part(i, 1)
	}
	return s + c.part(seg, q)
}

// part integrates the length of segment i up to q by Simpson's rule, 64 steps.
func (c *spline) part(i int, q float64) float64 {
	const n = 64
	sum := 0.0
	for k := 0; k <= n; k++ {
		w := [2]float64{2, 4}[k%2]
		if k == 0 || k == n {
			w = 1
		}
		_, d := c.segment(i, q*float64(k)/n)
		sum += w * r3.Norm(d)
	}
	return sum * q / n / 3
}

// SectionAt returns the section that the plan's arch curve defines at its point nearest to p,
// and that point's arc length from the curve's first point, in mm.
func (j *Jaw) SectionAt(p r3.Vec) (Section, float64) {
	seg, q := j.curve.nearest(p)
	c, d := j.curve.segment(seg, q)
	o := j.toPatient(r3.Vec{Z: 1})
	b := r3.Unit(r3.Cross(d, o))
	var mean r3.Vec
	for _, a := range j.curve.p {
		mean = r3.Add(mean, r3.Scale(1/float64(len(j.curve.p)), a))
	}
	if r3.Dot(b, r3.Sub(c, mean)) < 0 {
		b = r3.Scale(-1, b)
	}
	up := r3.Unit(r3.Cross(b, d))
	if r3.Dot(up, o) < 0 {
		up = r3.Scale(-1, up)
	}
	return Section{Origin: c, Buccal: b, Up: up}, j.curve.length(seg, q)
}
