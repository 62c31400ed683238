package change

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
)

// plannedNear is how far from a planned implant's axis the middle of its metal lies at most, mm: as far as it is looked for
// (docs/alignment.md).
const plannedNear = 4.0

// unplannedMetal says where the second scan shows something as bright as metal in the bone, where the plan has no implant
// and the first scan nothing so bright: an implant that nobody planned, a screw, a root filling. It is told of by no number.
func (c *comparison) unplannedMetal() (out []string) {
	var arch []r3.Vec
	for s := 0.0; s <= c.placed.Curve.Length(); s++ {
		arch = append(arch, c.placed.Curve.At(s))
	}
	for _, b := range align.NewBright(c.before.Volume, c.after.Volume, c.t, align.Basal(arch, c.placed.Occlusal, nil)) {
		if site, mm := c.nearestImplant(b.Middle); mm > plannedNear {
			text := fmt.Sprintf("something as bright as metal, %.0f mm³ or more, stands in the second scan at about (%.0f, %.0f, %.0f) mm of the first, where the plan has no implant and the first scan shows nothing so bright: look what it is, and plan it if it is an implant; bone within some millimetres of it looks changed by its blooming", b.Size, b.Middle.X, b.Middle.Y, b.Middle.Z)
			if site != "" {
				text += fmt.Sprintf("; the nearest planned implant is %s, %.0f mm away", site, mm)
			}
			out = append(out, text)
		}
	}
	return out
}

// nearestImplant returns which planned implant's axis lies nearest to p, and how near, mm; "" and +Inf where none is planned.
func (c *comparison) nearestImplant(p r3.Vec) (site string, mm float64) {
	mm = math.Inf(1)
	for _, s := range c.first.Sites {
		if s.Implant == nil {
			continue
		}
		q := r3.Sub(p, s.Implant.Platform)
		along := max(0, min(s.Implant.Length, r3.Dot(q, s.Implant.Axis)))
		if d := r3.Norm(r3.Sub(q, r3.Scale(along, s.Implant.Axis))); d < mm {
			site, mm = s.ID, d
		}
	}
	return site, mm
}
