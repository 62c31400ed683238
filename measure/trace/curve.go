package trace

import (
	"math"

	"gonum.org/v1/gonum/interp"
	"gonum.org/v1/gonum/spatial/r3"
)

// curve is a path as a function of arc length: natural cubic splines of x, y and z over the
// length along its points.
type curve struct {
	s       []float64 // arc length at the points, mm
	x, y, z interp.NaturalCubic
}

// newCurve returns the curve through points; repeated points are dropped. It is false for
// fewer than two different points.
func newCurve(points []r3.Vec) (*curve, bool) {
	c := &curve{}
	var xs, ys, zs []float64
	for _, p := range points {
		length := 0.0
		if len(c.s) > 0 {
			d := r3.Norm(r3.Sub(p, r3.Vec{X: xs[len(xs)-1], Y: ys[len(ys)-1], Z: zs[len(zs)-1]}))
			if d < 1e-6 {
				continue
			}
			length = c.s[len(c.s)-1] + d
		}
		c.s, xs, ys, zs = append(c.s, length), append(xs, p.X), append(ys, p.Y), append(zs, p.Z)
	}
	if len(c.s) < 2 {
		return nil, false
	}
	ok := c.x.Fit(c.s, xs) == nil && c.y.Fit(c.s, ys) == nil && c.z.Fit(c.s, zs) == nil
	return c, ok
}

// length returns the curve's length along its points, mm.
func (c *curve) length() float64 { return c.s[len(c.s)-1] }

// at returns the point at arc length s (mm).
func (c *curve) at(s float64) r3.Vec {
	return r3.Vec{X: c.x.Predict(s), Y: c.y.Predict(s), Z: c.z.Predict(s)}
}

// trim returns the arc lengths of the curve's points nearest to first and last, looked for
// within trimming of its ends: where the marks' planes cut the curve.
func (c *curve) trim(first, last r3.Vec) (from, to float64) {
	const trimming, fine = 3.0, 0.01
	reach := min(trimming, c.length()/3)
	foot := func(m r3.Vec, start, dir float64) float64 {
		best, at := math.Inf(1), start
		for q := 0.0; q <= reach; q += fine {
			if d := r3.Norm(r3.Sub(c.at(start+dir*q), m)); d < best {
				best, at = d, start+dir*q
			}
		}
		return at
	}
	return foot(first, 0, 1), foot(last, c.length(), -1)
}

// even returns points about step mm apart, evenly, the ends included, and their distance.
func (c *curve) even(step float64) ([]r3.Vec, float64) {
	n := max(1, int(math.Round(c.length()/step)))
	points := make([]r3.Vec, n+1)
	for i := range points {
		points[i] = c.at(c.length() * float64(i) / float64(n))
	}
	return points, c.length() / float64(n)
}

// tangents returns the direction of an even row of points at each, from the chord over reach
// points each way.
func tangents(points []r3.Vec, reach int) []r3.Vec {
	t := make([]r3.Vec, len(points))
	for i := range t {
		lo, hi := max(0, i-reach), min(len(points)-1, i+reach)
		if hi == lo {
			continue
		}
		t[i] = r3.Unit(r3.Sub(points[hi], points[lo]))
	}
	return t
}
