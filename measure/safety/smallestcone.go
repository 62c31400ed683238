package safety

import (
	"gonum.org/v1/gonum/spatial/r3"
)

// smallestCone returns the axis of the smallest cone from one apex that holds all directions:
// the axis whose largest angle to any of them is least. Exact for directions within one
// half-space.
//
// Method: the smallest circle on the sphere, grown point by point; two or three directions on
// its rim determine it. Source: Welzl E. New results and new trends in computer science 1991,
// 359–370 (move by move, without recursion; from memory).
func smallestCone(dirs []r3.Vec) r3.Vec {
	c := sphereCap{axis: dirs[0]}
	for i, p := range dirs {
		if c.holds(p) {
			continue
		}
		c = sphereCap{axis: p}
		for j, q := range dirs[:i] {
			if c.holds(q) {
				continue
			}
			c = capOf(p, q)
			for _, r := range dirs[:j] {
				if !c.holds(r) {
					c = capThrough(p, q, r)
				}
			}
		}
	}
	return c.axis
}

// sphereCap is a cap of the unit sphere: what lies within a chord of its middle. A chord keeps
// small angles that a cosine loses.
type sphereCap struct {
	axis  r3.Vec
	chord float64 // without unit
}

func (c sphereCap) holds(p r3.Vec) bool { return r3.Norm(r3.Sub(p, c.axis)) <= c.chord+1e-12 }

func capOf(p, q r3.Vec) sphereCap {
	m := r3.Add(p, q)
	if r3.Norm(m) == 0 {
		return sphereCap{p, 2} // opposite directions: only the whole sphere holds both, and no half-space
	}
	m = r3.Unit(m)
	return sphereCap{m, r3.Norm(r3.Sub(p, m))}
}

func capThrough(p, q, r r3.Vec) sphereCap {
	m := r3.Cross(r3.Sub(q, p), r3.Sub(r, p))
	if r3.Norm(m) < 1e-300 {
		return capOf(p, q)
	}
	if m = r3.Unit(m); r3.Dot(m, p) < 0 {
		m = r3.Scale(-1, m)
	}
	return sphereCap{m, r3.Norm(r3.Sub(p, m))}
}
