package plan

import (
	"cmp"
	"math"
	"slices"
	"strings"

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
	for _, word := range strings.FieldsFunc(s.Name, func(r rune) bool { return r < '0' || r > '9' }) {
		t, valid := ToothOf(word)
		if !valid || t.Jaw() != p.Jaw {
			continue
		}
		if ok && t != named {
			return Tooth{}, false
		}
		named, ok = t, true
	}
	return named, ok && p.sideSaid(s) == named.Side()
}

// checkRoots holds the numbered roots and implants against each other and the sites. The sites are held against each other
// by [Plan.checkOrder].
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
	if l.turn < nearlyStraight && violations(sorted(roots, sites, -1)) < violations(sorted(roots, sites, 1)) {
		return nil // the hand decided which side of the curve is inside
	}
	var out []Doubt
	for i, a := range roots {
		for k, b := range slices.Concat(roots, sites) {
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

// sorted returns roots and sites from the patient's right to the left, or as seen the other way along the arch (-1).
func sorted(roots, sites []numbered, way float64) []numbered {
	all := slices.Concat(roots, sites)
	for i := range all {
		all[i].left *= way
	}
	slices.SortStableFunc(all, func(a, b numbered) int { return cmp.Compare(a.left, b.left) })
	return all
}
