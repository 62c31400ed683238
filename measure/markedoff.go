package measure

import (
	"math"
	"slices"

	"ridgerule/measure/plan"
	"ridgerule/measure/trace"
)

// All marks of a plan are made in one frame: what the image says against some of them speaks against others, too.

// fewestOff is how many marked structures the image must speak against, and a quarter of those in the field, before it
// speaks against the whole plan: one or two may be slips of their own, and turned by half a circle most roots of one side
// lie in bone of the other. Our choice.
const fewestOff = 3

// frameDoubt says that so many structures are not where the image shows such that the plan's frame may be another.
func (c *run) frameDoubt(doubts []doubt) []doubt {
	off, all := map[string]bool{}, 0
	for _, d := range doubts {
		if notThere(d) {
			off[d.Structure] = true
		}
	}
	for _, st := range c.plan.Structures {
		if len(st.Path) > 0 && plan.InJaw[st.Kind] && slices.ContainsFunc(few(places(st)), func(p place) bool { return !math.IsNaN(c.sections.depth(p.at)) }) {
			all++
		}
	}
	if len(off) < fewestOff || 4*len(off) < all {
		return nil
	}
	return []doubt{{Caution: Cautionf("structures_off", SeverityUncertain, "%d of %d marked structures in the field do not lie where the image shows such: check the plan's frame, signs and unit", len(off), all)}}
}

// notThere reports whether a doubt says that the image shows no such structure where one is marked.
func notThere(d doubt) bool {
	return slices.Contains([]string{"structure_place", "root_not_there", "canal_elsewhere"}, d.Code)
}

// sharedSlip spreads a finding on one structure to the canals that the image shows nowhere at their mark: all were marked
// in one frame, and what moved one may have moved the rest, a canal farther than its surroundings are searched.
func (c *run) sharedSlip(sites []*site, doubts []doubt) []doubt {
	first := slices.IndexFunc(doubts, notThere)
	if first < 0 {
		return nil
	}
	var out []doubt
	for i, st := range c.plan.Structures {
		about := func(d doubt) bool { return notThere(d) && d.About(st.Name) }
		if c.shownAtMark(sites, doubts, st.Name) != trace.NotShown || slices.ContainsFunc(doubts, about) {
			continue
		}
		d := c.plan.StructureDoubt(i, ".path[0]", "canal_with_others", SeverityUncertain,
			"%s is not visible at its mark, and %s does not lie where it is marked: the same slip may have moved both", st.Name, doubts[first].Structure)
		d.Also = c.plan.SameNerve(i)
		out = append(out, d)
	}
	return out
}

// shownAtMark returns whether the image shows a canal at its mark anywhere: Seen, NotShown, or NotTested where it was not
// asked.
func (c *run) shownAtMark(sites []*site, doubts []doubt, name string) trace.Answer {
	hidden := func(d doubt) bool { return d.Code == "canal_not_shown" && d.Structure == name }
	switch {
	case slices.ContainsFunc(sites, func(s *site) bool { return slices.Contains(s.shown, name) }):
		return trace.Seen
	case slices.ContainsFunc(doubts, hidden) && c.beyond[name] != trace.Seen:
		return trace.NotShown
	}
	return c.beyond[name]
}
