package measure

import (
	"math"
	"slices"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// Bounds of a marked canal against the border and the walls of a lower jaw, mm: where the path lies beyond
// them it may be right, and is asked.
//
// Source: means ± 3 SD, or extremes, of J Korean Acad Oral Maxillofac Radiol 1997;27:217–230; Levine et al.,
// J Oral Maxillofac Surg 2007;65:470; Karameh et al., BMC Oral Health 2023;23:445; Koivisto et al., J Endod
// 2016;42(7) (abstracts read), rounded outwards; the border's low end is judgement.
const (
	canalAboveBorderLow  = 3.0
	canalAboveBorderHigh = 20.0
	canalBuccal          = 11.0 // from the buccal surface to the canal's edge, at most
	canalLingual         = 8.0  // from the lingual surface, at most
)

// canalBounds asks of a canal inside the bone how it lies to border and walls, by the median along its path.
func (c *run) canalBounds(s *site, i int, near []place) []doubt {
	st := c.plan.Structures[i]
	var border, buccal, lingual []float64
	for _, p := range near {
		k, at, ok := c.sections.near(p.at)
		if !ok || c.sections.made[k]() == nil || !c.sections.made[k]().Inside(at) {
			continue
		}
		o := c.sections.made[k]()
		take := func(to *[]float64, dir reformat.UV, less float64) {
			if d := toEdge(o, at, dir); !math.IsNaN(d) {
				*to = append(*to, d-less)
			}
		}
		take(&border, reformat.UV{V: -1}, 0)
		take(&buccal, reformat.UV{U: 1}, p.radius)
		take(&lingual, reformat.UV{U: -1}, p.radius)
	}
	say := func(x []float64, low, high float64, of string) []doubt {
		if float64(len(x))*markStep < longWrong {
			return nil
		}
		if m := fit.Median(x); m < low || m > high {
			d := c.plan.StructureDoubt(i, ".path[0]", "canal_course", SeverityUncertain,
				"%s runs %s from the %s, where %g to %g mm are usual: look whether it is the canal", st.Name, mm(m), of, math.Max(low, 0), high)
			d.Also = c.plan.SameNerve(i)
			return []doubt{d.At(s.plan.ID)}
		}
		return nil
	}
	return slices.Concat(
		say(border, canalAboveBorderLow, canalAboveBorderHigh, "lower border"),
		say(buccal, math.Inf(-1), canalBuccal, "buccal surface"),
		say(lingual, math.Inf(-1), canalLingual, "lingual surface"))
}
