package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// exitBudget returns the budget of the place along dir (mm) where an axis leaves a tooth, from the tooth's middle; nil where
// the alignment's uncertainty is not known. A tooth moved by δ moves it by
//
//	w·δ,   w = n·(d·dir)/(d·n) − dir,   n the surface's normal, d the axis toward it
func (c *run) exitBudget(s *site, e exit, dir r3.Vec) uncertainty.Budget {
	b := c.movedExit(e, dir)
	if b == nil {
		return nil
	}
	return append(b, c.leaning(s, e.far)...)
}

// movedExit is the part of it that the alignment has.
func (c *run) movedExit(e exit, dir r3.Vec) uncertainty.Budget {
	w := r3.Sub(r3.Scale(r3.Dot(e.way, dir)/r3.Dot(e.way, e.normal), e.normal), dir)
	return c.alignedBudget(e.at, w, 1)
}

// aimBudget returns the budget (deg) of the angle to the middle of the biting side.
func (c *run) aimBudget(s *site, e exit) uncertainty.Budget {
	aside := r3.Sub(e.aim, r3.Scale(r3.Dot(e.aim, e.way), e.way))
	dir := r3.Sub(aside, r3.Sub(e.at, r3.Scale(r3.Dot(e.at, e.way), e.way)))
	if r3.Norm(dir) < 1e-6 {
		dir = e.buccal
	}
	perDegree := 180 / math.Pi / e.far
	b := c.alignedBudget(e.aim, r3.Unit(dir), perDegree)
	if b == nil {
		return nil
	}
	for _, t := range c.leaning(s, e.far) {
		b = append(b, uncertainty.Term{Name: t.Name, Std: t.Std * perDegree})
	}
	return b
}

// alignedBudget returns what the alignment adds to a number that a tooth's move along w (mm) at p changes by w's length a
// millimetre, times scale; nil where it is not known.
func (c *run) alignedBudget(p, w r3.Vec, scale float64) uncertainty.Budget {
	if n := r3.Norm(w); n > 0 {
		t, known := c.plan.Restoration.Align.Transform.Term(p, r3.Scale(1/n, w))
		if !known {
			return nil
		}
		return uncertainty.Budget{{Name: t.Name, Std: t.Std * n * scale}}
	}
	return uncertainty.Budget{{Name: "alignment at this place"}}
}

// leaning returns what the ridge's own axis adds so far (mm) from the platform, where the implant takes its axis from it.
func (c *run) leaning(s *site, far float64) []uncertainty.Term {
	if s.plan.Implant.Axis != nil || s.plan.Axis != AxisRidge {
		return nil
	}
	return []uncertainty.Term{{Name: "tilt of the ridge's axis", Std: s.axis.TiltAngle(s.placement).Std() * math.Pi / 180 * far}}
}
