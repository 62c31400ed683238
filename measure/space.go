package measure

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// spaceNote says what others quote for the restorative space. Nothing is judged by it.
//
// Source: Carpentieri, Greenstein, Cavallaro, J Am Dent Assoc (abstract read; the year, 2019, from
// memory).
const spaceNote = "information, never judged; least space quoted, mm: fixed and screw-retained 4–5 at implant level, 7.5 at abutment level; " +
	"cemented 7–8; overdenture 7, on a bar 11; full-arch screw-retained hybrid 15 (Carpentieri, Greenstein, Cavallaro, J Am Dent Assoc; abstract read, year 2019 from memory)"

// spaceRow adds the restorative space: from the platform of the site's implant, or from the crest
// that an implant would stand on, along the occlusal direction to the planned occlusal level.
func (c *run) spaceRow(s *site) {
	level := c.plan.OcclusalLevel
	if level == nil {
		return
	}
	row := newRow(quantity.RestorativeSpace, "occlusal level", "")
	var from r3.Vec
	var b uncertainty.Budget
	where := "from the implant's platform"
	switch {
	case s.out.Implant != nil:
		from, b = s.out.Implant.Platform, c.poseTerms(s)
	case s.out.Err != "":
		row.Note = s.out.Err
		s.add(row)
		return
	default:
		from, where = s.frame.Patient(s.axis.At(s.newCrest())), "from the crest an implant would stand on"
		if s.cut == nil || s.cut.crest.CrestSD != 0 {
			b = uncertainty.Budget{{Name: "crest", Std: s.axis.CrestSD}}
		}
	}
	o, n := c.plan.Occlusal, level.Normal
	d := r3.Dot(r3.Sub(level.Point, from), n) / r3.Dot(o, n)
	b = append(b.Scaled(math.Abs(r3.Dot(s.frame.Direction(s.axis.Dir), n)/r3.Dot(o, n))), c.scaleShare(d, 1))
	row = length(quantity.RestorativeSpace, nil, uncertainty.Length{Value: d, Budget: b})
	row.To, row.Note = "occlusal level", where+"; "+spaceNote
	if d < 0 {
		row.Note = "the occlusal level lies below it: check both; " + row.Note
	}
	s.add(row)
}

// newCrest is how far below the crest an implant of no known size would stand, mm: on the levelled crest,
// or on the usable one where that was asked.
func (s *site) newCrest() float64 {
	switch {
	case s.cut != nil:
		return s.cut.platform
	case s.out.UsableDepth != nil:
		return *s.out.UsableDepth
	}
	return 0
}

// extensionRows say how far each planned end of a prosthesis lies behind the most distal implants.
func (c *run) extensionRows(placed []safety.Placed, opts safety.Options) []ArchRow {
	var rows []ArchRow
	for i, end := range c.plan.ProsthesisEnd {
		row := newRow(quantity.DistalExtension, "", fmt.Sprintf("needs three implants, one on each side; there are %d", len(placed)))
		if d, ok := safety.DistalExtension(placed, c.plan.Occlusal, end, opts); ok {
			row = length(quantity.DistalExtension, nil, d)
			row.Note = "behind the line that touches the two most distal platforms; information, not a limit"
			row = planned(row)
		} else if a, err := safety.Spread(placed, c.plan.Occlusal, opts); err == nil && a.APReason != "" {
			row.Note = "no line through the most distal platforms: " + a.APReason
		}
		row.To = fmt.Sprintf("prosthesis end %d", i+1)
		rows = append(rows, ArchRow{"arch", row})
	}
	return rows
}

// planned marks a row whose number follows from the plan alone: its uncertainty is 0, not unknown.
func planned(r Row) Row {
	if len(r.Budget) == 0 {
		r.Budget, r.Note = asPlanned(), cells.Note("as planned", r.Note)
	}
	return r
}
