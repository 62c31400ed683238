package plan

import (
	"cmp"
	"math"
	"slices"

	"ridgerule/measure/safety"
)

// Tooth numbers in the names of roots and implants held against the order along the arch: a root that bears another's
// number has that one's distance in its row.

// namedTooth returns the one tooth of this jaw whose number a root's or an implant's name bears, unless words in it
// contradict the number.
func (p *Placed) namedTooth(s safety.Structure) (named Tooth, ok bool) {
	if !StandsInJaw(s.Kind) {
		return Tooth{}, false
	}
	for _, t := range p.teethIn(s.Name) {
		if ok && t != named {
			return Tooth{}, false
		}
		named, ok = t, true
	}
	return named, ok && p.sideSaid(s) == named.Side()
}

// checkRoots holds the numbered roots and implants against each other and the sites. The sites are held against each other
// by [Placed.checkOrder].
func (p *Placed) checkRoots(sites []numbered, l Landmarks) []Doubt {
	var roots []numbered
	for i, s := range p.Structures {
		t, ok := p.namedTooth(s)
		if !ok || len(s.Path) == 0 {
			continue
		}
		if arc, off, past := l.beside(s.Path[len(s.Path)/2]); !past && off <= wrongOffset {
			roots = append(roots, numbered{i, t, arc, l.Leftward * arc})
		}
	}
	all := slices.Concat(roots, sites)
	along := slices.SortedStableFunc(slices.Values(all), func(a, b numbered) int { return cmp.Compare(a.left, b.left) })
	if l.turn < nearlyStraight && violations(reversed(along)) < violations(along) {
		return nil // the hand decided which side of the curve is inside
	}
	var out []Doubt
	for i, a := range roots {
		for k, b := range all {
			if k == i || !outOfOrder(a, b) && !outOfOrder(b, a) {
				continue
			}
			out = append(out, p.StructureDoubt(a.i, ".name", "structure_order", SeverityUncertain,
				"structure %s is marked on the wrong side of tooth %v, %.1f mm from it along the arch: look which tooth it is", quoted(p.Structures[a.i].Name), b.t, math.Abs(b.left-a.left)))
			break
		}
	}
	return out
}
