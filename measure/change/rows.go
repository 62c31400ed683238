package change

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

// site compares the i-th site.
func (c *comparison) site(i int) Site {
	a := &c.first.Sites[i]
	out := Site{ID: a.ID, Tooth: a.Tooth}
	placed, why := c.findPlaced(i)
	if c.o.Placed {
		out.Placed, out.NotPlaced = placed, why
	}
	if placed != nil || c.o.Placed && c.planned(i) != nil {
		out.Rows = c.boneLevels(i, placed, why)
	}
	rows, why := c.ridgeRows(i, placed != nil || c.standsAt(a))
	out.Rows, out.Err = append(out.Rows, rows...), why
	return out
}

// ridgeRows compares crest, height, widths and plates; the text says why some could not be. metal: an implant stands there in the second scan.
func (c *comparison) ridgeRows(i int, metal bool) (rows []Row, why string) {
	a, b, level := &c.first.Sites[i], &c.second.Sites[i], &c.level.Sites[i]
	where := ""
	if metal {
		where = " (an implant stands there: see the level of the bone beside it, where it was found)"
	}
	if a.Err != "" {
		return nil, "ridge not measured in the first scan" + where + ": " + a.Err
	}
	if b.Err != "" {
		why = "ridge not measured in the second scan" + where + ": " + b.Err
	} else {
		rows = append(rows, c.crestLevel(a, b))
	}
	rows = append(rows, c.pairs(a, b, level)...)
	if metal {
		beside(rows)
	}
	return rows, why
}

// beside makes what is shown of a section with metal in it uncertain: blooming and streaks move the edges of the bone beside it by
// more than their U.
func beside(rows []Row) {
	for i := range rows {
		if rows[i].Shown.Number() {
			rows[i].Shown, rows[i].Note = Unsure, cells.Note(rows[i].Note, "an implant stands in this section of the second scan: edges beside metal are not to be trusted")
		}
	}
}

// fromCrest are the quantities at a depth below the crest, which must be the same crest in both scans.
var fromCrest = map[quantity.Name]bool{quantity.RidgeWidth: true, quantity.BuccalPlate: true, quantity.LingualPlate: true}

// pairs compares every length that both scans have.
func (c *comparison) pairs(a, b, level *measure.SiteResult) []Row {
	var out []Row
	for _, before := range a.Rows {
		from := level
		switch {
		case before.Quantity == quantity.RidgeHeight:
			from = b
		case !fromCrest[before.Quantity]:
			continue
		}
		if from.Err != "" {
			continue // said of the whole site
		}
		after := match(from, before)
		row := Row{Site: a.ID, Quantity: before.Quantity, At: before.At, To: before.To, Before: before.Value, After: after.Value}
		switch {
		case before.Value == nil:
			row.Note = "no number before: " + before.Note
		case after.Value == nil:
			row.Note = "no number after: " + after.Note
		default:
			row.Change = uncertainty.Length{Value: *after.Value - *before.Value, Budget: c.budget(a, before, after)}
			row.Shown = c.shown(row.Change)
		}
		out = append(out, row)
	}
	return out
}

// match returns the row of s that asks what r asks; one without a number where there is none.
func match(s *measure.SiteResult, r measure.Row) measure.Row {
	for _, other := range s.Rows {
		at := r.At == nil && other.At == nil || r.At != nil && other.At != nil && *r.At == *other.At
		if other.Quantity == r.Quantity && at && other.To == r.To {
			return other
		}
	}
	note := "none in the second scan"
	if r.Quantity == quantity.RidgeHeight {
		note = "the height does not end at the same limit"
	}
	return measure.Row{Note: note}
}

// budget is that of after less before.
func (c *comparison) budget(a *measure.SiteResult, before, after measure.Row) uncertainty.Budget {
	out := append(named("after: ", after.Budget), named("before: ", before.Budget.Scaled(-1))...)
	out = append(out, c.sizeTerm(*before.Value))
	if before.Quantity == quantity.RidgeHeight && before.To != "border" { // its end is marked or found in the first scan's frame, its crest seen in the second's
		out = append(out, c.term(a))
	}
	return out
}

// named returns the budget with its terms told apart from those of the other scan.
func named(which string, b uncertainty.Budget) uncertainty.Budget {
	var out uncertainty.Budget
	for _, t := range b {
		t.Name = which + t.Name
		if t.Group != "" {
			t.Group = which + t.Group
		}
		out = append(out, t)
	}
	return out
}

// sizeTerm is what the difference in size of the two scans does to a length, mm.
func (c *comparison) sizeTerm(length float64) uncertainty.Term {
	return uncertainty.Moved("difference in size of the two scans", c.t.SizeStd(), length)
}

// term is the alignment at a site's crest, along its axis.
func (c *comparison) term(a *measure.SiteResult) uncertainty.Term {
	t, _ := c.t.Term(c.t.Apply(a.Frame.Patient(a.Crest)), c.t.Turn(a.Frame.Direction(a.Axis)))
	return t
}

// crestLevel is how much deeper the crest lies along the first scan's axis.
func (c *comparison) crestLevel(a, b *measure.SiteResult) Row {
	axis := a.Frame.Direction(a.Axis)
	was, is := a.Frame.Patient(a.Crest), c.place(b.Frame.Patient(b.Crest))
	value := r3.Dot(r3.Sub(is, was), axis)
	zero := 0.0
	row := Row{Site: a.ID, Quantity: CrestLevel, Before: &zero, After: &value}
	row.Change = uncertainty.Length{Value: value, Budget: append(uncertainty.Budget{c.term(a)}, append(crestTerms("after: ", b), crestTerms("before: ", a)...)...)}
	row.Shown = c.shown(row.Change)
	return row
}

// crestTerms are the terms of the crest's own place, as the height's budget has them.
func crestTerms(which string, s *measure.SiteResult) uncertainty.Budget {
	var out uncertainty.Budget
	if h, ok := s.Lookup(quantity.RidgeHeight, math.NaN()); ok {
		for _, t := range h.Budget {
			if strings.Contains(t.Name, "crest") {
				out = append(out, uncertainty.Term{Name: which + t.Name, Std: math.Abs(t.Contribution())})
			}
		}
	}
	if len(out) == 0 { // no height: the edge of the bone is known to a voxel
		out = append(out, uncertainty.Term{Name: which + "crest, no height to tell it from", Std: 0.4})
	}
	return out
}

// shown says whether a change is more than its U.
func (c *comparison) shown(l uncertainty.Length) Shown {
	switch {
	case c.file.Accepted == nil:
		return Unsure
	case math.Abs(l.Value) <= l.U():
		return NoChange
	}
	return Change
}

// planned returns the i-th site's implant in the first scan's frame: as it was measured, else as the plan places it; nil where neither does.
func (c *comparison) planned(i int) *align.Implant {
	if im := c.first.Sites[i].Implant; im != nil {
		return &align.Implant{Platform: im.Platform, Axis: im.Axis, Diameter: im.Diameter, Apex: im.ApexDiameter, Length: im.Length}
	}
	if im := c.placed.Sites[i].Implant; im != nil && im.Platform != nil && im.Axis != nil {
		return &align.Implant{Platform: *im.Platform, Axis: r3.Unit(*im.Axis), Diameter: im.Diameter, Apex: im.ApexDiameter, Length: im.Length}
	}
	return nil
}

// findPlaced looks for the i-th site's implant in the second scan; the text says why there is none.
func (c *comparison) findPlaced(i int) (*Placed, string) {
	im := c.planned(i)
	if im == nil && c.placed.Sites[i].Implant == nil {
		return nil, "the plan has no implant here"
	}
	if im == nil {
		return nil, "where the implant is planned could not be measured, and the plan gives no platform and axis"
	}
	near := *im
	near.Platform, near.Axis = c.t.Apply(im.Platform), c.t.Turn(im.Axis)
	found, err := align.FindPlaced(c.after.Volume, near)
	if err != nil {
		return nil, strings.TrimPrefix(err.Error(), "align: ")
	}
	d, _ := align.Deviate(*im, found, c.t, c.sides(&c.first.Sites[i]))
	return &Placed{Found: found, Planned: *im, Deviation: d, Unsure: c.file.Accepted == nil}, ""
}

// sides returns mesial and buccal of a site: mesial is along the arch toward its middle.
func (c *comparison) sides(s *measure.SiteResult) align.Sides {
	mesial := s.Frame.T
	if s.Frame.Arc > c.midline() {
		mesial = r3.Scale(-1, mesial)
	}
	return align.Sides{Mesial: mesial, Buccal: s.Frame.U}
}

// midline returns where the patient's midline crosses the arch, mm along it: the plan's, or the middle of the arch.
func (c *comparison) midline() float64 {
	if c.placed.Midline != nil {
		at, _ := c.placed.Curve.Project(*c.placed.Midline)
		return at
	}
	return c.placed.Curve.Length() / 2
}
