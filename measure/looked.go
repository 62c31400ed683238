package measure

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
	"ridgerule/measure/trace"
)

// Marked canals held against what the image shows at their place. To be seen there makes no margin smaller
// and no U; not to be seen is no alarm; a more canal-like tube beside the mark is.

// nearForamen is how near a mental foramen the image is not asked, mm: the nerve loosens into strands there.
const nearForamen = 5.0

// lookDoubts asks the image along the stretches of a canal that concern the site.
func (c *run) lookDoubts(s *site, i int, near []place) []doubt {
	seen, hidden, d, elsewhere := c.look(i, near)
	st := c.plan.Structures[i]
	switch {
	case elsewhere:
		return []doubt{d.At(s.plan.ID)}
	case seen > hidden:
		s.shown = append(s.shown, st.Name)
	case hidden > seen:
		return []doubt{c.notShown(i).At(s.plan.ID)}
	}
	return nil
}

// lookShort asks the image about an incisive canal, whole: it is one for all sites.
func (c *run) lookShort(i int) []doubt {
	st := c.plan.Structures[i]
	p, err := trace.LookShort(c.v, st.Path, c.tissue.Marrow, c.tissue.Cortex, trace.LookOptions{SD: st.SD})
	switch {
	case errors.Is(err, trace.ErrLevels): // the series taught no greys: nobody looked
		return []doubt{c.notShown(i)}
	case err != nil:
		return nil // one point: there is nothing to look at
	case p.Answer == trace.NotShown:
		return []doubt{c.notShown(i)}
	case p.Answer == trace.Elsewhere:
		return []doubt{c.elsewhere(i, p)}
	}
	return nil
}

// notShown says that the image does not show a marked canal: no alarm.
func (c *run) notShown(i int) doubt {
	return c.plan.StructureDoubt(i, ".path[0]", "canal_not_shown", SeverityNote,
		"%s is not visible here: the marking stands alone, and that does not mean that there is none", c.plan.Structures[i].Name)
}

// elsewhere says that a more canal-like tube lies beside a marked canal: so, most likely, it does at every site.
func (c *run) elsewhere(i int, p trace.Piece) doubt {
	d := c.plan.StructureDoubt(i, ".path[0]", "canal_elsewhere", SeverityUncertain,
		"%s: a more canal-like tube lies %s beside it near %s: look which is the canal", c.plan.Structures[i].Name, mm(p.Away), pointText(p.Rival))
	d.Also, d.Spreads = c.plan.SameNerve(i), true
	return d
}

// lookBeyond asks along what of a canal concerns no site: where it is marked beside the canal there, it may be so at the
// sites, too.
func (c *run) lookBeyond(sites []*site, i int) []doubt {
	rest := slices.DeleteFunc(places(c.plan.Structures[i]), func(p place) bool {
		return slices.ContainsFunc(sites, func(s *site) bool { return s.concerns(p) })
	})
	seen, hidden, d, elsewhere := c.look(i, rest)
	switch {
	case elsewhere:
		return []doubt{d}
	case seen > hidden:
		c.beyond[c.plan.Structures[i].Name] = trace.Seen
	case hidden > seen:
		c.beyond[c.plan.Structures[i].Name] = trace.NotShown
	}
	return nil
}

// look asks the image along places of a canal: how many pieces show it, how many do not, and where a more canal-like tube
// lies beside it, if anywhere; one is enough to look.
func (c *run) look(i int, at []place) (seen, hidden int, d doubt, elsewhere bool) {
	st := c.plan.Structures[i]
	o := trace.LookOptions{SD: st.SD, Depth: c.sections.depth}
	for _, f := range c.plan.Structures {
		if f.Kind == safety.MentalForamen {
			for _, p := range f.Path {
				o.Skip = append(o.Skip, trace.Sphere{At: p, Radius: nearForamen})
			}
		}
	}
	for _, stretch := range stretches(at) {
		pieces, err := trace.Look(context.Background(), c.v, stretch, o)
		if err != nil {
			continue // a path of one point has no direction to look along
		}
		for _, p := range pieces {
			switch p.Answer {
			case trace.Seen:
				seen++
			case trace.NotShown:
				hidden++
			case trace.Elsewhere:
				if !elsewhere {
					d, elsewhere = c.elsewhere(i, p), true
				}
			}
		}
	}
	return seen, hidden, d, elsewhere
}

// stretches returns the runs of neighbouring places as paths.
func stretches(near []place) [][]r3.Vec {
	var out [][]r3.Vec
	for i, p := range near {
		if i == 0 || p.along-near[i-1].along > 1.5*markStep {
			out = append(out, nil)
		}
		last := len(out) - 1
		out[last] = append(out[last], p.at)
	}
	return out
}

// pointText writes a patient point for a person.
func pointText(p r3.Vec) string { return fmt.Sprintf("[%.1f, %.1f, %.1f]", p.X, p.Y, p.Z) }
