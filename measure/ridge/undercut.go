package ridge

import (
	"math"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Undercut is the deepest hollow of one side of the ridge.
type Undercut struct {
	uncertainty.Length             // deepest distance between the outline and the tangent line, mm
	Depth              float64     // of the deepest point, below the crest along the axis, mm
	At                 reformat.UV // the deepest point, section mm
	Above, Below       reformat.UV // where the tangent line touches, section mm
}

// Undercut returns the deepest hollow on the buccal (buccal = true) or lingual side: the largest
// distance between the outline and the line that touches it above and below. A side without a
// hollow has the value 0.
func (o *Outline) Undercut(a Axis, buccal bool, h Hand) Undercut {
	side := a.Side()
	if !buccal {
		side = scale(-1, side)
	}
	chain := o.sideChain(a, side)
	hull := hullOf(chain, side, a.Dir)
	var u Undercut
	for i := 0; i+1 < len(hull); i++ {
		up, down := chain[hull[i]], chain[hull[i+1]]
		if norm(sub(down, up)) < 1 {
			continue
		}
		out := outwardOf(up, down, side)
		for _, p := range chain[hull[i] : hull[i+1]+1] {
			if d := dot(sub(up, p), out); d > u.Value {
				u.Value, u.At, u.Above, u.Below = d, p, up, down
			}
		}
	}
	if u.Value > 0 {
		o.refine(&u, a, side, h)
	}
	return u
}

// outwardOf is the unit normal of the line from up to down on the given side.
func outwardOf(up, down, side reformat.UV) reformat.UV {
	n := left(unit(sub(down, up)))
	if dot(n, side) < 0 {
		n = scale(-1, n)
	}
	return n
}

// sideChain returns the outline's points on one side of the axis, from crest to base, as far as
// the field reaches and no deeper than a cavity's floor: past it the wall is no ridge's.
func (o *Outline) sideChain(a Axis, side reformat.UV) []reformat.UV {
	n := len(o.Points)
	start, best := 0, math.Inf(1)
	for i, p := range o.Points {
		if d := norm(sub(p, a.Crest)); d < best {
			start, best = i, d
		}
	}
	dir := 1
	if dot(sub(o.Points[(start+4)%n], a.Crest), side) < dot(sub(o.Points[(start+n-4)%n], a.Crest), side) {
		dir = -1
	}
	var chain []reformat.UV
	far := o.reach(a)
	for k := range n {
		i := ((start+dir*k)%n + n) % n
		p := o.Points[i]
		rel := sub(p, a.Crest)
		if o.Cut[i] || k > 8 && dot(rel, side) < 0 || dot(rel, a.Dir) > far || turnsAway(chain, p, a, side) {
			break
		}
		chain = append(chain, p)
	}
	return chain
}

// turnsAway reports whether the wall, some way below the crest, runs outward more steeply than 60°
// off the axis: there it has become the palate or another shelf, and its hollow is no undercut of
// the ridge.
func turnsAway(chain []reformat.UV, p reformat.UV, a Axis, side reformat.UV) bool {
	const back = 5 // points, about 1.5 mm
	if len(chain) < back || dot(sub(p, a.Crest), a.Dir) < 3 {
		return false
	}
	step := sub(p, chain[len(chain)-back])
	return dot(step, side) > math.Tan(math.Pi/3)*math.Max(0, dot(step, a.Dir))
}

// hullOf returns the indices of the chain's points on its convex hull toward side, from crest to
// base.
func hullOf(chain []reformat.UV, side, dir reformat.UV) []int {
	var hull []int
	turn := func(a, b, c reformat.UV) float64 { // > 0 when b bulges toward side between a and c
		ab, ac := sub(b, a), sub(c, a)
		return (dot(ab, side)*dot(ac, dir) - dot(ab, dir)*dot(ac, side))
	}
	for i, p := range chain {
		for len(hull) >= 2 && turn(chain[hull[len(hull)-2]], chain[hull[len(hull)-1]], p) <= 0 {
			hull = hull[:len(hull)-1]
		}
		hull = append(hull, i)
	}
	return hull
}

// refine measures the hollow again on fitted walls at its three points.
func (o *Outline) refine(u *Undercut, a Axis, side reformat.UV, h Hand) {
	out := outwardOf(u.Above, u.Below, side)
	f := dot(sub(u.At, u.Above), sub(u.Below, u.Above)) / math.Pow(norm(sub(u.Below, u.Above)), 2)
	var budget uncertainty.Budget
	for _, part := range []struct {
		name  string
		p     *reformat.UV
		share float64
	}{{"upper touch", &u.Above, 1 - f}, {"lower touch", &u.Below, f}, {"deepest point", &u.At, -1}} {
		sd := 0.25 * o.tissue.Blur
		if w, err := o.wall(*part.p, scale(-1, out)); err == nil {
			if c, ok := w.outer(*part.p, out); ok && norm(sub(c.at, *part.p)) < 0.5 {
				*part.p, sd = c.at, math.Hypot(c.sd, o.modelTerm(w))
			}
		}
		budget = append(budget, uncertainty.Moved(part.name, sd, part.share))
	}
	out = outwardOf(u.Above, u.Below, side)
	u.Value = math.Max(0, dot(sub(u.Above, u.At), out))
	u.Depth = dot(sub(u.At, a.Crest), a.Dir)
	u.Budget = append(budget, uncertainty.Moved("section direction", h.Turn, u.Value*0.5), scaleTerm(u.Value, h))
}
