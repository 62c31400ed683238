package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// cylinder is a flat-ended implant, patient, mm.
type cylinder struct {
	top, axis      r3.Vec
	radius, length float64
}

// signed is the distance from p to the cylinder's surface, negative inside. It is convex.
func (c cylinder) signed(p r3.Vec) float64 {
	d := r3.Sub(p, c.top)
	x := r3.Dot(d, c.axis)
	r := r3.Norm(r3.Sub(d, r3.Scale(x, c.axis)))
	dx, dr := max(-x, x-c.length), r-c.radius
	return math.Hypot(max(dx, 0), max(dr, 0)) + min(max(dx, dr), 0)
}

// clamp returns the point of the solid nearest to p.
func (c cylinder) clamp(p r3.Vec) r3.Vec {
	d := r3.Sub(p, c.top)
	x := r3.Dot(d, c.axis)
	radial := r3.Sub(d, r3.Scale(x, c.axis))
	if r := r3.Norm(radial); r > c.radius {
		radial = r3.Scale(c.radius/r, radial)
	}
	return r3.Add(c.top, r3.Add(r3.Scale(max(0, min(c.length, x)), c.axis), radial))
}

// toChain is the least surface-to-surface distance to a chain of capsules: the least of
// signed(q) − r(q) over its axis, convex along each segment. Negative is the depth of overlap.
func (c cylinder) toChain(path []r3.Vec, radius []float64) float64 {
	best := c.signed(path[0]) - radius[0]
	for i := 1; i < len(path); i++ {
		gap := func(t float64) float64 {
			return c.signed(lerp(path[i-1], path[i], t)) - radius[i-1] - t*(radius[i]-radius[i-1])
		}
		best = min(best, min(gap(1), gap(least(gap, 0, 1))))
	}
	return best
}

// to is the least distance to another cylinder, by alternating projection on the two convex
// solids; 0 where they overlap.
func (c cylinder) to(o cylinder) float64 {
	p := c.clamp(lerp(o.top, r3.Add(o.top, r3.Scale(o.length, o.axis)), 0.5))
	last := math.Inf(1)
	for range 50000 {
		q := o.clamp(p)
		p = c.clamp(q)
		d := r3.Norm(r3.Sub(p, q))
		if last-d < 1e-13 {
			return d
		}
		last = d
	}
	return last
}

// solid returns the cylinder of a planned implant.
func (s PlanSite) solid() cylinder {
	return cylinder{s.Platform, s.Implant, s.Diameter / 2, s.Length}
}

// implantTruth holds site i's implant against the plan's structures and other implants, and
// finds the bone beside it.
func (j *Jaw) implantTruth(i int, sec Section) *ImplantTrue {
	s := j.plan.Sites[i]
	c := s.solid()
	t := &ImplantTrue{}
	for _, st := range j.plan.Structures {
		t.Clearances = append(t.Clearances, ClearanceTrue{st.Name, c.toChain(st.Path, st.Radius)})
	}
	for k, o := range j.plan.Sites {
		if k != i {
			t.Clearances = append(t.Clearances, ClearanceTrue{o.ID(), c.to(o.solid())})
		}
	}
	side := r3.Add(r3.Scale(-r3.Dot(c.axis, sec.Up), sec.Buccal), r3.Scale(r3.Dot(c.axis, sec.Buccal), sec.Up))
	for _, h := range []float64{1, 3, 5} {
		a, b, err := j.Chord(r3.Add(c.top, r3.Scale(h, c.axis)), side, across)
		if err == nil && h <= c.length {
			t.Beside = append(t.Beside, BesideTrue{h, b - c.radius, -a - c.radius})
		}
	}
	return t
}
