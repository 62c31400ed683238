package measure

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// The bone that levelling removes: an area in each section, a volume between two.
//
// Between two sites the volume is integrated along the arch as if section and centroid changed
// evenly from one to the other, with the arch's bend counted:
//
//	V = L·(A₁+A₂)/2 + θ·(A₁u₁+A₂u₂)/2
//
// L is the arc length between them, θ the turn of the sections, u the centroid's distance buccal of
// the arch curve. Exact for a section that does not change, on a straight piece or on an arc of a
// circle. Source: Pappus' centroid theorem.

// What the area of an outline read off single profiles is uncertain by.
const (
	outlineRun = 1.5  // mm of outline over which the error of its points is one: the median of five, 0.3 mm apart
	edgeRule   = 0.03 // of the blur; the edge's systematic part, the same all round
)

// removedArea adds the row of the area that the cut takes off the section.
func (c *run) removedArea(s *site) {
	k := s.cut
	k.area.Value = math.NaN()
	row := newRow(quantity.RemovedArea, "", "")
	for i, p := range s.ridge.Points {
		if s.ridge.Cut[i] && k.height(p) > 0 {
			row.Note = "the field ends before the bone above the level does"
			s.add(row)
			return
		}
	}
	part := clipped(s.ridge.Points, k.height)
	area, centre := areaOf(part)
	edge, chord := 0.0, 0.0 // of the removed part: along the outline, along the cut, mm
	for i, p := range part {
		q := part[(i+1)%len(part)]
		if d := math.Hypot(q.U-p.U, q.V-p.V); math.Max(math.Abs(k.height(p)), math.Abs(k.height(q))) < 1e-9 {
			chord += d
		} else {
			edge += d
		}
	}
	k.centre = centre.U
	k.area = uncertainty.Length{Value: area, Budget: uncertainty.Budget{
		share("outline", c.edgeSD(), math.Sqrt(edge*outlineRun)),
		share("edge rule", edgeRule*c.tissue.Blur, edge),
		c.scaleShare(area, 2),
	}}
	if k.plane {
		k.area.Budget = append(k.area.Budget, sectionTerm(k.depth.Budget, chord)...)
	} else {
		k.area.Budget = append(k.area.Budget, share("crest that the level hangs on", s.axis.CrestSD, chord))
	}
	for i := range k.area.Budget { // the same error enters the volumes to both sides
		if t := &k.area.Budget[i]; t.Group == "" {
			t.Group = t.Name + ", area at " + s.plan.ID
		}
	}
	row = length(quantity.RemovedArea, nil, k.area)
	row.Note = "of the section, coronal of the level; as many mm3 for each mm of arch"
	s.add(row)
}

// sectionTerm is what the section's place along the arch adds to an area (mm²) whose one edge is a
// chord of this length (mm), from the budget of the depth between the chord and the crest.
func sectionTerm(depth uncertainty.Budget, chord float64) uncertainty.Budget {
	for _, t := range depth {
		if t.Name == termSection {
			return uncertainty.Budget{share(termSection, t.Contribution(), chord)}
		}
	}
	return nil
}

// clipped returns the part of a closed polygon where above > 0. above is linear (a signed distance,
// mm). Pieces that hang apart stay joined by edges along the line, which have no area.
//
// Source: Sutherland IE, Hodgman GW. Commun ACM 1974;17:32–42, for one clipping line (from memory).
func clipped(polygon []reformat.UV, above func(reformat.UV) float64) []reformat.UV {
	var out []reformat.UV
	for i, q := range polygon {
		p := polygon[(i+len(polygon)-1)%len(polygon)]
		hp, hq := above(p), above(q)
		if (hp > 0) != (hq > 0) {
			f := hp / (hp - hq)
			out = append(out, reformat.UV{U: p.U + f*(q.U-p.U), V: p.V + f*(q.V-p.V)})
		}
		if hq > 0 {
			out = append(out, q)
		}
	}
	return out
}

// areaOf returns the area of a closed polygon, in mm², and its centroid (the origin where the area
// is nothing).
//
// Source: the shoelace formula; centroid by Green's theorem.
func areaOf(polygon []reformat.UV) (area float64, centre reformat.UV) {
	if len(polygon) < 3 {
		return 0, reformat.UV{}
	}
	o := polygon[0] // sums stay small about a point of the polygon
	for i, p := range polygon {
		q := polygon[(i+1)%len(polygon)]
		x := ((p.U-o.U)*(q.V-o.V) - (q.U-o.U)*(p.V-o.V)) / 2
		area += x
		centre.U += x * (p.U + q.U - 2*o.U) / 3
		centre.V += x * (p.V + q.V - 2*o.V) / 3
	}
	if math.Abs(area) < 1e-12 {
		return 0, reformat.UV{}
	}
	return math.Abs(area), reformat.UV{U: o.U + centre.U/area, V: o.V + centre.V/area}
}

// farBetween is how far apart along the arch two levelled sites may stand for the bone between them
// to be counted, mm: about two teeth. Our choice; past it a section between them is missing.
const farBetween = 20.0

// removedRows integrates the removed bone between neighbouring sites that are both levelled, and
// over all of them where no gap is left.
func (c *run) removedRows(sites []*site) []ArchRow {
	row := slices.Clone(sites)
	slices.SortStableFunc(row, func(a, b *site) int { return cmp.Compare(a.frame.Arc, b.frame.Arc) })
	levelled := func(s *site) bool { return s.cut != nil }
	first := slices.IndexFunc(row, levelled)
	if first < 0 {
		return nil
	}
	last := len(row) - 1
	for !levelled(row[last]) {
		last--
	}
	var rows []ArchRow
	var all uncertainty.Length
	cuts, whole := row[first:last+1], last-first > 1
	for i := 1; i < len(cuts); i++ {
		if !levelled(cuts[i-1]) || !levelled(cuts[i]) {
			whole = false
			continue
		}
		v, why := c.removedBetween(cuts[i-1], cuts[i])
		row := newRow(quantity.RemovedVolume, "", why)
		if math.IsNaN(v.Value) {
			whole = false
		} else {
			row = row.with(v.Value, v.Budget)
			all = uncertainty.Length{Value: all.Value + v.Value, Budget: append(all.Budget, v.Budget...)}
		}
		rows = append(rows, ArchRow{cuts[i-1].plan.ID + "|" + cuts[i].plan.ID, row})
	}
	if whole {
		rows = append(rows, ArchRow{"arch", newRow(quantity.RemovedVolume, "",
			"sum of the rows between neighbouring levelled sites; none beyond the outer two").with(all.Value, all.Budget)})
	}
	return rows
}

// removedBetween returns the volume removed between two sections, in mm³ with its budget, and what
// must be known of it.
func (c *run) removedBetween(a, b *site) (uncertainty.Length, string) {
	none := uncertainty.Length{Value: math.NaN()}
	along := b.frame.Arc - a.frame.Arc
	x, y := a.cut.area, b.cut.area
	switch {
	case math.IsNaN(x.Value) || math.IsNaN(y.Value):
		return none, "the area removed at one of the two sites is not known"
	case along > farBetween:
		return none, fmt.Sprintf("the sites are %.1f mm apart along the arch: level a site between them, at most %g mm on", along, farBetween)
	}
	turn := math.Atan2(r3.Dot(b.frame.U, a.frame.T), r3.Dot(b.frame.U, a.frame.U)) // buccal turns forward: the arch bends away from it
	fa, fb := (along+turn*a.cut.centre)/2, (along+turn*b.cut.centre)/2
	v := uncertainty.Length{Value: fa*x.Value + fb*y.Value}
	v.Budget = append(append(uncertainty.Budget{}, x.Budget.Scaled(fa)...), y.Budget.Scaled(fb)...)
	v.Budget = append(v.Budget,
		c.scaleShare(v.Value, 1),
		uncertainty.Term{Name: "change of the section between the sites", Std: uncertainty.Rectangular(math.Abs(x.Value-y.Value) / 2 * along)})
	return v, fmt.Sprintf("over the %.1f mm of arch between the two sections, which change evenly from one to the other", along)
}
