package practice

import (
	"math"

	"ridgerule/measure/quantity"
)

// Trap is a wrong answer with a known cause: what is found by whoever takes one thing for another.
type Trap struct {
	Value float64 `json:"value"`
	Words string  `json:"words"` // what was done, as it is told to the reader
}

// trapsOf lists the traps of an item, from its shape.
func trapsOf(it *Sealed) []Trap {
	var out []Trap
	add := func(v float64, words string) {
		if !math.IsNaN(v) && math.Abs(v-it.Truth) > 0.3 {
			out = append(out, Trap{v, words})
		}
	}
	q, gum := it.Sheet.Question, it.Jaw.Shape.RidgeMucosa
	switch q.Quantity {
	case quantity.Clearance:
		it.clearanceTraps(add)
	case AnteriorLoop:
		open := it.Profile.Opening
		wide := open[len(open)-1].U - open[0].U
		add(it.Truth+wide/2, "the middle of the foramen was taken for its mesial border")
		add(it.Truth+wide, "the distal border of the foramen was taken for its mesial one")
	case quantity.RidgeTilt:
		add(-it.Truth, "the angle has the other sign: it is positive where the base lies buccal of the crest")
		add(0, "the vertical of the sheet was taken for the axis")
		add(90-math.Abs(it.Truth), "the angle was taken against the horizontal")
	case quantity.RidgeHeight:
		it.heightTraps(add)
	case quantity.RidgeWidth:
		it.widthTraps(add)
	case quantity.BuccalPlate, quantity.LingualPlate:
		add(it.Truth+gum, "soft tissue was taken for the plate")
		line := it.trueLine()
		if v, err := it.Profile.plate(-measurands[q.Quantity].inner, line[0], it.Profile.across()); err == nil {
			add(v, "the plate of the other side was taken")
		}
	}
	return out
}

// trap takes a trap: what it reads, and what was done.
type trap func(value float64, words string)

func (it *Sealed) clearanceTraps(add trap) {
	add(it.Truth+it.Sheet.Body.Diameter/2, "the implant's axis was taken for its edge")
	for _, c := range it.Profile.Root {
		if line := it.trueLine(); math.Abs(math.Hypot(c.At.U-line[1].U, c.At.V-line[1].V)-c.Radius) < 0.01 {
			add(it.Truth+c.Radius, "the middle of the root was taken for its edge")
			break
		}
	}
}

func (it *Sealed) heightTraps(add trap) {
	s := it.Jaw.Shape
	add(it.Truth+s.RidgeMucosa, "the height begins at the bone, not at the soft tissue over it")
	if it.Sheet.Question.To != "canal" {
		add(it.Truth+s.SinusMucosa, "the lining of the sinus was taken for bone")
		return
	}
	r := s.CanalRadius
	if r == 0 {
		r = 1.6
	}
	add(it.Truth+r, "the middle of the canal was taken for its roof")
	add(it.Truth+2*r, "the floor of the canal was taken for its roof")
}

func (it *Sealed) widthTraps(add trap) {
	gum, at := it.Jaw.Shape.RidgeMucosa, it.Sheet.Question.At
	add(it.Truth+2*gum, "soft tissue was taken for bone on both sides")
	add(it.Truth+gum, "soft tissue was taken for bone on one side")
	if inner, ok := it.Profile.chord(chainOf(it.Profile.InnerLingual, it.Profile.InnerBuccal), at); ok {
		add(inner, "the inner edges of the plates were taken for the outer ones")
	}
	for _, other := range []float64{at - 1, at + 1} {
		if w, ok := it.Profile.chord(it.Profile.outer(), other); ok && other > 0 {
			add(w, "this is the width 1 mm "+map[bool]string{true: "higher", false: "deeper"}[other < at])
		}
	}
}

// across is the direction at right angles to the ridge's axis, buccal.
func (p *Profile) across() UV { return UV{U: -p.Axis.V, V: p.Axis.U} }

// at is the point h mm below the crest on the ridge's axis.
func (p *Profile) at(h float64) UV { return UV{U: p.Crest.U + h*p.Axis.U, V: p.Crest.V + h*p.Axis.V} }

// chord is the length between the outermost crossings of the line across at depth h, mm.
func (p *Profile) chord(chain []UV, h float64) (float64, bool) {
	low, high, ok := extent(chain, p.at(h), p.across())
	return high - low, ok
}

// trueLine returns the ends of the line that has the true length: crest and limit, or the two edges. An
// undercut's is the wall's tangent line.
func (it *Sealed) trueLine() [2]UV {
	p, q := &it.Profile, it.Sheet.Question
	on := func(h, t float64) UV {
		d := p.across()
		return UV{U: p.at(h).U + t*d.U, V: p.at(h).V + t*d.V}
	}
	switch q.Quantity {
	case quantity.RidgeHeight:
		return [2]UV{p.Crest, p.at(it.Truth)}
	case quantity.Clearance:
		from, to := p.gap()
		return [2]UV{from, to}
	case AnteriorLoop:
		length, from, to := p.loopAlong(UV{U: 1})
		return [2]UV{{U: to.U - length, V: (from.V + to.V) / 2}, {U: to.U, V: (from.V + to.V) / 2}}
	case quantity.RidgeTilt:
		return [2]UV{p.Crest, p.at(8)}
	case quantity.LingualUndercut:
		return p.tangent(p.Lingual)
	}
	low, high, _ := extent(p.outer(), p.at(q.At), p.across())
	switch q.Quantity {
	case quantity.BuccalPlate:
		return [2]UV{on(q.At, high-it.Truth), on(q.At, high)}
	case quantity.LingualPlate:
		return [2]UV{on(q.At, low), on(q.At, low+it.Truth)}
	}
	return [2]UV{on(q.At, low), on(q.At, high)}
}

// tangent returns where the lingual wall is touched above and below its deepest hollow: the edge of its outer
// hull with the greatest distance to the wall.
func (p *Profile) tangent(wall []UV) [2]UV {
	best, deepest, inward := [2]UV{}, 0.0, p.across()
	for i := 0; i < len(wall); i += 4 {
		for k := i + 8; k < len(wall); k += 4 {
			if d := hollow(wall, i, k, inward); d > deepest {
				deepest, best = d, [2]UV{wall[i], wall[k]}
			}
		}
	}
	return best
}

// hollow is how deep the wall between two of its points lies inward of the line through them, mm; 0 where any
// of the wall stands outward of that line.
func hollow(wall []UV, i, k int, inward UV) float64 {
	a, b := wall[i], wall[k]
	n := UV{U: b.V - a.V, V: a.U - b.U}
	long := math.Copysign(math.Hypot(n.U, n.V), n.U*inward.U+n.V*inward.V)
	deepest := 0.0
	for j, q := range wall {
		d := ((q.U-a.U)*n.U + (q.V-a.V)*n.V) / long
		if d < -0.02 {
			return 0
		}
		if j > i && j < k {
			deepest = max(deepest, d)
		}
	}
	return deepest
}
