package measure

import (
	"context"
	"fmt"

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
	st := c.plan.Structures[i]
	o := trace.LookOptions{SD: st.SD, Depth: c.sections.depth}
	for _, f := range c.plan.Structures {
		if f.Kind == safety.MentalForamen {
			for _, p := range f.Path {
				o.Skip = append(o.Skip, trace.Sphere{At: p, Radius: nearForamen})
			}
		}
	}
	var seen, hidden int
	var out []doubt
	for _, stretch := range stretches(near) {
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
				out = append(out, c.plan.structureDoubt(i, ".path[0]", "canal_elsewhere", SeverityUncertain,
					"%s: a more canal-like tube lies %s beside it near %s: look which is the canal", st.Name, mm(p.Away), pointText(p.Rival)).atSite(s))
			}
		}
	}
	if len(out) > 0 {
		out = out[:1] // one is enough to look
		out[0].spreads = true
	} else if seen > hidden {
		s.shown = append(s.shown, st.Name)
	}
	if len(out) == 0 && hidden > seen {
		out = append(out, c.plan.structureDoubt(i, ".path[0]", "canal_not_shown", SeverityNote,
			"%s is not visible here: the marking stands alone, and that does not mean that there is none", st.Name).atSite(s))
	}
	return out
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
