package ridge

import (
	"math"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// Grey says how bright the bone is; relative grey values, from which no density follows.
type Grey struct{ Mean, SD, P05, P95 float64 }

// Grey returns the grey values inside the outline from the crest down to depth mm along the axis,
// sampled in the section at the voxel step; false where there are fewer than ten.
func (o *Outline) Grey(a Axis, depth float64) (Grey, bool) {
	lo, hi := o.Points[0], o.Points[0]
	for _, p := range o.Points {
		lo = reformat.UV{U: math.Min(lo.U, p.U), V: math.Min(lo.V, p.V)}
		hi = reformat.UV{U: math.Max(hi.U, p.U), V: math.Max(hi.V, p.V)}
	}
	s := o.field.Section(lo, hi, 0)
	var values []float64
	for y := range s.Height {
		row := s.Place(0, float64(y))
		h := o.hits(row, reformat.UV{U: 1})
		for i := 0; i+1 < len(h); i += 2 {
			for x := int(math.Ceil(h[i].s / s.Step)); float64(x)*s.Step <= h[i+1].s && x < s.Width; x++ {
				d := dot(sub(s.Place(float64(x), float64(y)), a.Crest), a.Dir)
				if g := s.Grey[y*s.Width+x]; g == g && d >= 0 && d <= depth {
					values = append(values, float64(g))
				}
			}
		}
	}
	if len(values) < 10 {
		return Grey{}, false
	}
	var g Grey
	for _, v := range values {
		g.Mean += v / float64(len(values))
	}
	for _, v := range values {
		g.SD += (v - g.Mean) * (v - g.Mean) / float64(len(values)-1)
	}
	g.SD, g.P05, g.P95 = math.Sqrt(g.SD), fit.Quantile(values, 0.05), fit.Quantile(values, 0.95)
	return g, true
}
