package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// Where an implant without a platform of its own stands, and how an implant leans.

const (
	usableWithin = 4.0  // mm below the crest within which the usable crest is taken. Source: docs/method.md 4
	farthestWide = 15.0 // mm below the crest in which a width is looked for
	sunkBy       = 1.0  // mm under the crest beyond which the bone above a platform must be levelled
)

// platform is where an implant without a platform of its own stands.
type platform struct {
	depth uncertainty.Length // below the crest along the axis, mm
	from  string             // what decides it
}

// platformOf returns where an implant of a diameter (mm) stands by default: on the usable crest for its
// diameter and both plate margins where that lies within 4 mm of the crest, else where the ridge is first
// as wide as the implant, else on the crest. On a levelled crest, from that crest on.
func (c *run) platformOf(s *site, diameter float64) platform {
	a, above := s.axis, uncertainty.Length{}
	if s.cut != nil {
		a, above = s.cut.crest, uncertainty.Length{Value: s.cut.depth.Value}
	}
	from := func(l uncertainty.Length, word string) platform {
		l.Value += above.Value
		if s.cut != nil {
			word += ", from the levelled crest on"
		}
		return platform{l, word}
	}
	want := diameter + c.rules[safety.BuccalPlate].Margin + c.rules[safety.LingualPlate].Margin
	if l, err := s.ridge.UsableCrest(a, want, s.placement); err == nil && l.Value <= usableWithin {
		return from(l, fmt.Sprintf("usable crest for %g mm", want))
	}
	if d := s.firstWide(a, diameter); !math.IsNaN(d) {
		return from(uncertainty.Length{Value: d, Budget: uncertainty.Budget{{Name: "edge noise", Std: c.edgeSD()}}}, fmt.Sprintf("least depth with %g mm of width", diameter))
	}
	return from(uncertainty.Length{}, "crest")
}

// firstWide returns the least depth below the axis' crest at which the ridge is as wide as asked (mm), off
// the outline alone; NaN where it is nowhere.
func (s *site) firstWide(a ridge.Axis, width float64) float64 {
	const step = 0.05
	for d := 0.0; d <= farthestWide; d += step {
		if low, high := s.ridge.Near(a.At(d), a.Side()); high-low >= width {
			return d
		}
	}
	return math.NaN()
}

// poseRows say where the platform stands and how the implant leans along the arch; information, but for a
// default platform deep under the crest.
func (c *run) poseRows(s *site, im safety.Implant) {
	_, off := s.frame.Section(im.Platform)
	lean := newRow(quantity.ImplantLean, "", "along the arch")
	turn := math.Asin(math.Max(-1, math.Min(1, r3.Dot(im.Axis, c.mesial(s, s.frame.Arc))))) * 180 / math.Pi
	size := math.Abs(turn)
	lean.Value, lean.To = &size, "mesial"
	if turn < 0 {
		lean.To = "distal"
	}
	if size >= worthSaying {
		lean.Note = fmt.Sprintf("leans %.0f° to %s", size, lean.To)
	}
	if math.Abs(off) >= worthSayingOff {
		lean.Note = cells.Note(lean.Note, "the platform lies "+mm(math.Abs(off))+" out of the site's section along the arch")
	}
	s.add(planned(lean))
	if s.out.Err != "" || s.ridge == nil {
		return
	}
	c.depthRow(s, im)
}

// What is worth a word of its own; our choice.
const (
	worthSaying    = 5.0 // degrees
	worthSayingOff = 0.5 // mm
)

// depthRow says how deep below the crest the platform stands, and why.
func (c *run) depthRow(s *site, im safety.Implant) {
	row := newRow(quantity.PlatformDepth, "given by the plan", "")
	if s.plan.Implant.Platform != nil {
		at, _ := s.frame.Section(im.Platform)
		d := dotUV(reformat.UV{U: at.U - s.axis.Crest.U, V: at.V - s.axis.Crest.V}, s.axis.Dir)
		row.Value, row.Budget = &d, uncertainty.Budget{{Name: "crest", Std: s.axis.CrestSD}}
		s.add(row)
		return
	}
	p := s.stands
	row = length(quantity.PlatformDepth, nil, p.depth)
	row.To = p.from
	if p.depth.Value > sunkBy {
		row.Note = fmt.Sprintf("stands %s under the crest: that much must be levelled", mm(p.depth.Value))
		d := c.plan.SiteDoubt(s.index, ".implant", "platform_deep", SeverityCaution, "the platform %s (%s)", row.Note, p.from)
		d.Confirm = plan.ConfirmPlatform
		s.doubts = append(s.doubts, d)
	}
	if len(row.Budget) == 0 {
		row = planned(row)
	}
	s.add(row)
}
