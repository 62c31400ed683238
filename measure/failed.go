package measure

import (
	"fmt"

	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
)

// Missing is countable: a site or a pair that cannot be measured has an empty row, with the reason, for
// every number that it was asked for.

// failed fills in the rows of a site that could not be measured.
func (c *run) failed(s *site) {
	for _, r := range c.asked(s) {
		r.Note = s.out.Err
		s.add(r)
	}
	c.implantRows(s)
	c.doubtMarks(s)
	c.spaceRow(s)
	c.restorationRows(s)
}

// asked returns an empty row for every number of the bone that a site is asked for, in the order in which
// they are measured.
func (c *run) asked(s *site) []Row {
	var out []Row
	to := func(what string, names ...quantity.Name) {
		for _, q := range names {
			out = append(out, newRow(q, what, ""))
		}
	}
	one := func(names ...quantity.Name) { to("", names...) }
	depths := func(at []float64, names ...quantity.Name) {
		for _, d := range at {
			for _, q := range names {
				row := newRow(q, "", "")
				row.At = &d
				out = append(out, row)
			}
		}
	}
	one(quantity.RidgeHeight)
	depths(s.plan.Depths, quantity.RidgeWidth, quantity.BuccalPlate, quantity.LingualPlate)
	one(quantity.RidgeTilt, quantity.BuccalUndercut, quantity.LingualUndercut)
	width := fmt.Sprintf("%g mm", s.plan.WantedWidth)
	if s.plan.WantedWidth > 0 {
		to(width, quantity.UsableCrestDepth, quantity.UsableHeight)
	}
	if s.plan.Level != nil || c.plan.LevelPlane != nil {
		one(quantity.LevelledDepth, quantity.LevelledHeight)
		depths(append([]float64{0}, s.plan.Depths...), quantity.LevelledWidth, quantity.LevelledBuccalPlate, quantity.LevelledLingualPlate)
		if s.plan.WantedWidth > 0 {
			to(width, quantity.LevelledUsableDepth, quantity.LevelledUsableHeight)
		}
		one(quantity.RemovedArea)
	}
	one(greyQuantities...)
	if s.plan.Sizes != nil {
		one(quantity.LargestDiameter, quantity.LargestLength)
	}
	if s.plan.Implant != nil {
		one(quantity.PlatformDepth)
	}
	return out
}

// greyQuantities are the grey values of a site, in their order.
var greyQuantities = []quantity.Name{quantity.GreyMean, quantity.GreySD, quantity.GreyP05, quantity.GreyP95}

// boneFailed are the rows of the bone beside an implant that has no place.
func (c *run) boneFailed(s *site, why string) {
	for _, side := range sides {
		margin := c.rules[side.rule].Margin
		row := newRow(side.quantity, "", why)
		row.Margin, row.Verdict = &margin, safety.NotAssessed
		for _, d := range boneDepths {
			if d <= s.plan.Implant.Length {
				at := row
				at.At = &d
				s.add(at)
			}
		}
		s.add(row)
	}
}

// pairsFailed are the rows of several implants that could not be measured together.
func pairsFailed(placed []safety.Placed, why string) []ArchRow {
	var out []ArchRow
	for i, a := range placed {
		for _, b := range placed[i+1:] {
			sites := a.Site + "|" + b.Site
			clearance := newRow(quantity.Clearance, "implant", why)
			clearance.Verdict = safety.NotAssessed
			out = append(out, ArchRow{sites, clearance}, ArchRow{sites, newRow(quantity.PlatformDistance, "", why)}, ArchRow{sites, newRow(quantity.ImplantAngle, "", why)})
		}
	}
	return out
}
