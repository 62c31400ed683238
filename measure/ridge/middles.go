package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// leastPull is the smallest pull of the mid-points that is believed. A ridge whose section is nearly
// a circle has an axis in every direction: its pull is 0, and no axis is much better than another.
const leastPull = 0.05

// settle returns the angle by which the axis must turn to run through its own mid-points, radians,
// and how strongly they pull it there: by how much the axis gains on the line through the mid-points,
// which turns along with it, per radian of its own turn (no unit).
//
// The scatter of the mid-points turns the axis by the scatter's own angle over the pull.
func (o *Outline) settle(a Axis, m middles) (turn, pull float64) {
	const h = 0.01
	ahead := func(angle float64) float64 {
		t := a.turned(angle)
		dir, _ := lineThrough(m.across(t), t.Dir, false)
		return cross(t.Dir, dir)
	}
	now := ahead(0)
	pull = (ahead(-h) - ahead(h)) / (2 * h)
	if !(pull > leastPull) {
		pull = leastPull
	}
	return math.Max(-0.2, math.Min(0.2, now/pull)), pull // radians a round: it is iterated, and moves no axis
}

// middles are the fitted widths that carry the axis.
type middles struct {
	at     []reformat.UV // their mid-points, section mm
	depth  []float64     // mm below the crest
	chords []fineChord
	moves  []move
	noise  []float64 // standard uncertainty of a mid-point from the fits, mm
	rule   []float64 // from what the fits' models lack, mm
	shift  []float64 // from what disturbs the image, mm
}

// middles fits the widths at 1…8 mm.
func (o *Ridge) middles(a Axis) (m middles) {
	for d := range o.across(a) {
		c, err := o.chord(a.At(d), a.Side())
		if err != nil {
			continue
		}
		lo, hi := c.lowWall.p[pST]/c.low.square, c.highWall.p[pST]/c.high.square
		m.at = append(m.at, scale(0.5, add(c.low.at, c.high.at)))
		m.depth, m.chords = append(m.depth, d), append(m.chords, c)
		m.moves = append(m.moves, move{(lo - hi) / 2, (lo*c.low.at.U - hi*c.high.at.U) / 2})
		m.noise = append(m.noise, math.Hypot(c.low.sd, c.high.sd)/2)
		m.rule = append(m.rule, math.Hypot(o.layerTerm(c.lowWall)/c.low.square, o.layerTerm(c.highWall)/c.high.square)/2)
		m.shift = append(m.shift, math.Hypot(o.shift(c.lowWall)/c.low.square, o.shift(c.highWall)/c.high.square)/2)
	}
	return m
}

// mean returns the mean of points, section mm.
func mean(points []reformat.UV) (at reformat.UV) {
	for _, p := range points {
		at = add(at, scale(1/float64(len(points)), p))
	}
	return at
}

// across returns the mid-points of the widths across another axis, close to the one they were fitted
// for, on the same walls.
func (m middles) across(a Axis) []reformat.UV {
	out := make([]reformat.UV, len(m.at))
	for i, c := range m.chords {
		out[i] = m.at[i]
		lo, ok1 := c.lowWall.outer(a.At(m.depth[i]), a.Side())
		hi, ok2 := c.highWall.outer(a.At(m.depth[i]), a.Side())
		if ok1 && ok2 {
			out[i] = scale(0.5, add(lo.at, hi.at))
		}
	}
	return out
}

// How much of a variance the slope of the line through the mid-points feels, against independent
// errors. What both walls' models lack alike moves no mid-point; from the runs of docs/accuracy.md.
// Streaks and rings run past several mid-points: a shift that goes from one sign to the other over the
// 7 mm turns the line by 1.8 times as much as independent ones.
const (
	ruleShare  = 0.5
	shiftShare = 3.0
)

// spread returns the standard uncertainty of the direction of the line through the mid-points, in
// radians: of a least-squares slope whose points have the fits' own uncertainties.
func (m middles) spread(a Axis) float64 {
	var sxx, sum float64
	for i, p := range m.at {
		x := dot(sub(p, a.pivot), a.Dir)
		sxx += x * x
		sum += x * x * (m.noise[i]*m.noise[i] + ruleShare*m.rule[i]*m.rule[i] + shiftShare*m.shift[i]*m.shift[i])
	}
	return math.Sqrt(sum) / sxx
}

// move is how far a mid-point moves toward buccal per mm along the arch (no unit), and per radian of
// turn of the section (mm).
type move struct{ along, turn float64 }

// turnOfLine returns how the line through the mid-points turns when they move: least squares of their
// moves over their depths.
func turnOfLine(mids []reformat.UV, moves []move, dir, mean reformat.UV) (along, turn float64) {
	var sxx, sa, st float64
	for i, m := range mids {
		x := dot(sub(m, mean), dir)
		sxx += x * x
		sa += x * moves[i].along
		st += x * moves[i].turn
	}
	if sxx == 0 {
		return 0, 0
	}
	return sa / sxx, st / sxx
}
