package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// tube is a chain of capsules: spheres swept along straight segments, their radii changing
// evenly from point to point. Canals, foramina, roots and crowns are tubes.
type tube struct {
	path   []r3.Vec
	radius []float64
}

// distance returns the signed distance from p to the tube's surface, mm, negative inside, and
// the sum of the principal curvatures at the nearest place, 1/mm; or limit and 0 where it is no nearer.
func (t tube) distance(p r3.Vec, limit float64) (d, bend float64) {
	d = limit
	if len(t.path) == 1 {
		if e := r3.Norm(r3.Sub(p, t.path[0])) - t.radius[0]; e < d {
			d, bend = e, 2/t.radius[0]
		}
		return d, bend
	}
	for i := 1; i < len(t.path); i++ {
		a, b := t.path[i-1], t.path[i]
		far := d + max(t.radius[i-1], t.radius[i]) + 1e-9 // past rounding: no nearer than d
		if apart(p.X, a.X, b.X, far) || apart(p.Y, a.Y, b.Y, far) || apart(p.Z, a.Z, b.Z, far) {
			continue
		}
		if e, k := roundCone(p, a, b, t.radius[i-1], t.radius[i]); e < d {
			d, bend = e, k
		}
	}
	return d, bend
}

// apart reports whether x lies more than far outside of the interval between a and b.
func apart(x, a, b, far float64) bool {
	return x < min(a, b)-far || x > max(a, b)+far
}

// roundCone is the distance to the union of the spheres that go from (a, ra) to (b, rb):
//
//	min over q in [0, 1] of |p − a − q·(b−a)| − ra − q·(rb−ra)
//
// With x along the axis and y across it the minimum lies at q = (x + y·k)/L, where
// k = (rb−ra)/√(L²−(rb−ra)²): the foot of the perpendicular on the slanted side. The sum of
// curvatures is that of a cylinder on the side and that of a ball at the ends.
func roundCone(p, a, b r3.Vec, ra, rb float64) (d, bend float64) {
	ab := r3.Sub(b, a)
	ap := r3.Sub(p, a)
	long2 := r3.Dot(ab, ab)
	long := math.Sqrt(long2)
	x := r3.Dot(ap, ab) / long
	y := math.Sqrt(max(0, r3.Dot(ap, ap)-x*x))
	q := x
	if ra != rb {
		q += y * (rb - ra) / math.Sqrt(max(1e-12, long2-(rb-ra)*(rb-ra)))
	}
	q /= long
	faces := 1.0
	if q < 0 || q > 1 {
		q, faces = max(0, min(1, q)), 2
	}
	radius := ra + q*(rb-ra)
	x -= q * long
	return math.Sqrt(x*x+y*y) - radius, faces / radius
}

// nearest returns the least signed distance to any of the tubes, mm, with the sum of
// curvatures there, 1/mm.
func nearest(ts []tube, p r3.Vec) (d, bend float64) { return within(ts, p, math.Inf(1)) }

// within is nearest; limit and 0 where none of the tubes is nearer than limit mm.
func within(ts []tube, p r3.Vec, limit float64) (d, bend float64) {
	d = limit
	for _, t := range ts {
		if e, k := t.distance(p, d); e < d {
			d, bend = e, k
		}
	}
	return d, bend
}
