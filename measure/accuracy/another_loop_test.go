package accuracy_test

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/spatial/r2"
)

// A loop is a closed polygon in a section, mm, counter-clockwise, fine enough to stand for the smooth
// curve it was taken from.
type loop []r2.Vec

// spline returns n points of the closed C² cubic spline through the knots, parameterised by chord
// length: the middle of three rounds, for an end's condition fades to a quarter from knot to knot.
func spline(knots []r2.Vec, n int) loop {
	m, sum := len(knots), 0.0
	var at, us, vs []float64
	for i := range 3*m + 1 {
		p := knots[i%m]
		at, us, vs = append(at, sum), append(us, p.X), append(vs, p.Y)
		sum += r2.Norm(r2.Sub(knots[(i+1)%m], p))
	}
	var u, v interp.NaturalCubic
	if err := errors.Join(u.Fit(at, us), v.Fit(at, vs)); err != nil {
		panic("accuracy_test: " + err.Error())
	}
	out := make(loop, n)
	for i := range out {
		t := at[m] + (at[2*m]-at[m])*float64(i)/float64(n)
		out[i] = r2.Vec{X: u.Predict(t), Y: v.Predict(t)}
	}
	return out
}

// normal returns the outward unit normal at point i, and the curvature there, 1/mm, positive where the
// loop is convex.
func (l loop) normal(i int) (r2.Vec, float64) {
	m := len(l)
	a, b, c := l[(i+m-1)%m], l[i], l[(i+1)%m]
	d, e, f := r2.Sub(c, a), r2.Sub(b, a), r2.Sub(c, b)
	n := r2.Scale(1/r2.Norm(d), r2.Vec{X: d.Y, Y: -d.X})
	return n, 2 * r2.Cross(e, f) / (r2.Norm(e) * r2.Norm(f) * r2.Norm(d))
}

// smooth reports whether no bend of the loop is sharper than a circle of 1 mm.
func (l loop) smooth() bool {
	for i := range l {
		if _, k := l.normal(i); math.Abs(k) > 1 {
			return false
		}
	}
	return true
}

// offset returns the loop moved outward by by(i) mm along its normals; false where that shrinks an
// element of it to less than 0.15 of its length, on the way to a cusp.
func (l loop) offset(by func(i int) float64) (loop, bool) {
	out, ok := make(loop, len(l)), true
	for i, p := range l {
		n, k := l.normal(i)
		out[i] = r2.Add(p, r2.Scale(by(i), n))
		ok = ok && 1+k*by(i) > 0.15
	}
	return out, ok
}

// mapped returns the loop with every point moved by f.
func (l loop) mapped(f func(r2.Vec) r2.Vec) loop {
	out := make(loop, len(l))
	for i, p := range l {
		out[i] = f(p)
	}
	return out
}

// crossings returns where the line p + x·d crosses the loop: all x, both signs, unsorted, in lengths of d.
func (l loop) crossings(p, d r2.Vec) []float64 {
	var out []float64
	side := func(q r2.Vec) float64 { return r2.Cross(d, r2.Sub(q, p)) }
	for i, a := range l {
		b := l[(i+1)%len(l)]
		fa, fb := side(a), side(b)
		if (fa > 0) == (fb > 0) {
			continue
		}
		q := r2.Add(a, r2.Scale(fa/(fa-fb), r2.Sub(b, a)))
		out = append(out, r2.Dot(r2.Sub(q, p), d)/r2.Norm2(d))
	}
	return out
}

// contains reports whether p lies inside the loop.
func (l loop) contains(p r2.Vec) bool {
	in := false
	for _, x := range l.crossings(p, r2.Vec{X: 1}) {
		in = in != (x > 0)
	}
	return in
}

// distance returns the distance from p to the nearest point of the loop, mm.
func (l loop) distance(p r2.Vec) float64 {
	least := math.Inf(1)
	for _, a := range l {
		least = min(least, r2.Norm(r2.Sub(p, a)))
	}
	return least
}
