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
// the sum of the principal curvatures at the nearest place, 1/mm.
func (t tube) distance(p r3.Vec) (d, bend float64) {
	if len(t.path) == 1 {
		return r3.Norm(r3.Sub(p, t.path[0])) - t.radius[0], 2 / t.radius[0]
	}
	d = math.Inf(1)
	for i := 1; i < len(t.path); i++ {
		if e, b := roundCone(p, t.path[i-1], t.path[i], t.radius[i-1], t.radius[i]); e < d {
			d, bend = e, b
		}
	}
	return d, bend
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
func nearest(ts []tube, p r3.Vec) (d, bend float64) {
	d = math.Inf(1)
	for _, t := range ts {
		if e, b := t.distance(p); e < d {
			d, bend = e, b
		}
	}
	return d, bend
}
