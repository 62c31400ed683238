package change

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/align"
)

// plannedNear is how far from a planned implant's axis the middle of its metal lies at most, mm: as far as it is looked for
// (docs/alignment.md).
const plannedNear = 4.0

// newMetal is what is as bright as metal in the second scan, in the bone or about a planned implant, where the first scan shows
// nothing so bright.
func (c *comparison) newMetal() []align.Bright {
	var arch []r3.Vec
	for s := 0.0; s <= c.placed.Curve.Length(); s++ {
		arch = append(arch, c.placed.Curve.At(s))
	}
	inBone := align.Basal(arch, c.placed.Occlusal, nil)
	return align.NewBright(c.before.Volume, c.after.Volume, c.t, func(p r3.Vec) bool {
		_, mm := c.nearestImplant(p)
		return mm <= plannedNear || inBone(p)
	})
}

// asideMetal is how far beside a site metal counts as standing in its section, mm across it: farther than blooming and streaks
// move an edge by more than its U, and less than the other side of the jaw. Our choice.
const asideMetal = 8.0

// standsAt reports whether new metal stands in the section of a site, whether or not a planned implant was found in it.
func (c *comparison) standsAt(s *measure.SiteResult) bool {
	for _, b := range c.metal {
		d := r3.Sub(b.Middle, s.Frame.Origin)
		reach := math.Cbrt(3 * b.Size / (4 * math.Pi)) // as if it were a ball
		if math.Abs(r3.Dot(d, s.Frame.T)) <= plannedNear+reach && math.Abs(r3.Dot(d, s.Frame.U)) <= asideMetal+reach {
			return true
		}
	}
	return false
}

// unplannedMetal says where new metal stands and the plan has no implant: one that nobody planned, a screw, a root filling.
// It is told of by no number.
func (c *comparison) unplannedMetal() (out []string) {
	for _, b := range c.metal {
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
