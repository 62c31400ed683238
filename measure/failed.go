package measure

import (
	"fmt"

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
}

// asked returns an empty row for every number of the bone that a site is asked for, in the order in which
// they are measured.
func (c *run) asked(s *site) []Row {
	var out []Row
	one := func(quantity, unit, to string) { out = append(out, Row{Quantity: quantity, Unit: unit, To: to}) }
	depths := func(at []float64, names ...string) {
		for _, d := range at {
			for _, q := range names {
				out = append(out, Row{Quantity: q, At: &d, Unit: "mm"})
			}
		}
	}
	one("ridge_height", "mm", "")
	depths(s.plan.Depths, "ridge_width", "buccal_plate", "lingual_plate")
	one("ridge_tilt", "deg", "")
	one("buccal_undercut", "mm", "")
	one("lingual_undercut", "mm", "")
	wanted := fmt.Sprintf("%g mm", s.plan.WantedWidth)
	if s.plan.WantedWidth > 0 {
		one("usable_crest_depth", "mm", wanted)
		one("usable_height", "mm", wanted)
	}
	if s.plan.Level != nil || c.plan.LevelPlane != nil {
		one("levelled_depth", "mm", "")
		one("levelled_height", "mm", "")
		depths(append([]float64{0}, s.plan.Depths...), "levelled_width", "levelled_buccal_plate", "levelled_lingual_plate")
		if s.plan.WantedWidth > 0 {
			one("levelled_usable_depth", "mm", wanted)
			one("levelled_usable_height", "mm", wanted)
		}
		one("removed_area", "mm2", "")
	}
	for _, q := range greyQuantities {
		one(q, "1", "")
	}
	if s.plan.Sizes != nil {
		one("largest_diameter", "mm", "")
		one("largest_length", "mm", "")
	}
	if s.plan.Implant != nil {
		one("platform_depth", "mm", "")
	}
	return out
}

// greyQuantities are the grey values of a site, in their order.
var greyQuantities = []string{"grey_mean", "grey_sd", "grey_p05", "grey_p95"}

// boneFailed are the rows of the bone beside an implant that has no place.
func (c *run) boneFailed(s *site, why string) {
	for _, side := range sides {
		margin := c.rules[side.rule].Margin
		row := Row{Quantity: side.quantity, Unit: "mm", Margin: &margin, Verdict: safety.NotAssessed, Note: why}
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
			out = append(out,
				ArchRow{sites, Row{Quantity: "clearance", To: "implant", Unit: "mm", Verdict: safety.NotAssessed, Note: why}},
				ArchRow{sites, Row{Quantity: "platform_distance", Unit: "mm", Note: why}},
				ArchRow{sites, Row{Quantity: "implant_angle", Unit: "deg", Note: why}})
		}
	}
	return out
}
