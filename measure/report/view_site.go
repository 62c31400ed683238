package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

func viewOfSite(r *measure.Result, s *measure.SiteResult, depths []float64) siteView {
	v := siteView{
		result: s,
		ID:     s.ID, Place: placeWords(s), Name: siteName(s), Side: sideWord(s), Err: s.Err,
		Verdicts: verdictsOf(s), Lines: linesOf(s, r.Jaw), Cautions: cautionsAt(r, s.ID),
		Height: heightOf(s, r.Jaw), Arc: rounded(s.Frame.Arc, 1), Axis: axisWord(s.AxisFrom),
	}
	for _, d := range depths {
		v.Widths = append(v.Widths, readingAt(s, quantity.RidgeWidth, d))
		v.Table = append(v.Table, depthView{plain(d), readingAt(s, quantity.RidgeWidth, d), readingAt(s, quantity.BuccalPlate, d), readingAt(s, quantity.LingualPlate, d)})
	}
	v.Implant = implantWord(s.Implant)
	v.sort(s, r.Jaw)
	v.Sizes, v.SizesNote = sizesOf(s.SizesTried)
	v.Budgets = budgetsOf(s, r.Jaw)
	v.unsay(s)
	return v
}

// sort puts each row where the page shows it: with the distances, by depth, or with the facts.
func (v *siteView) sort(s *measure.SiteResult, jaw measure.Jaw) {
	for _, row := range s.Rows {
		switch {
		case farAndHeld(row):
			v.Far = append(v.Far, row.To+": "+rowReading(row))
		case row.Verdict != measure.NoMargin || row.Quantity == quantity.Clearance:
			v.Findings = append(v.Findings, viewOfFinding(row, jaw))
		case inDepthTable(row.Quantity):
			if row.Note != "" {
				v.DepthNotes = append(v.DepthNotes, rowName(row, jaw)+" at "+cells.Depth(row.At)+" mm: "+row.Note)
			}
		default:
			f := viewOfRow(row, jaw)
			if v.Height.Open && quantity.Of(row.Quantity).EndsAtLimit && f.Reading != "" {
				f.Reading += "; " + openWords(s)
				if row.Quantity != quantity.RidgeHeight {
					f.Note = "" // the height's own: said there
				}
			}
			v.addFact(f)
		}
	}
}

// unsay takes out of the notes what stands on the site's page already.
func (v *siteView) unsay(s *measure.SiteResult) {
	for i, f := range v.Facts {
		if v.SizesNote != "" {
			v.Facts[i].Note = strings.TrimSuffix(f.Note, ": "+v.SizesNote)
		}
	}
	for _, n := range notesOf(s) {
		said := func(r rowView) bool { return strings.Contains(r.Note, n.Text) }
		limits := func(l siteLine) bool { return strings.Contains(l.Text, n.Text) }
		if !strings.Contains(v.SizesNote, n.Text) && !slices.ContainsFunc(v.Lines, limits) && !slices.ContainsFunc(v.Facts, said) && !slices.ContainsFunc(v.Findings, said) {
			v.Note = strings.TrimPrefix(v.Note+"; "+n.Text, "; ")
		}
	}
}

// notesOf returns the site's notes; a result from before they were data has them in one line.
func notesOf(s *measure.SiteResult) []measure.Caution {
	if len(s.Notes) == 0 && s.Note != "" {
		return []measure.Caution{{Text: s.Note}}
	}
	return s.Notes
}

// addFact appends a fact; a note that the one before it carries too is not said again.
func (v *siteView) addFact(f rowView) {
	if v.said != f.Note {
		v.said = f.Note
	} else {
		f.Note = ""
	}
	v.Facts = append(v.Facts, f)
}

// farAndHeld reports a distance that needs no line of its own: held, and more than 10 mm.
func farAndHeld(row measure.Row) bool {
	return row.Quantity == quantity.Clearance && row.Verdict == measure.Held && row.Value != nil && *row.Value > 10
}

// inDepthTable reports whether a quantity stands in the table of depths below the crest.
func inDepthTable(name quantity.Name) bool {
	q := quantity.Of(name)
	return q.PerDepth && q.From == quantity.Crest
}

// verdictsOf returns every verdict that applies to the site, gravest first. Held applies where it is the
// only one: a site with one margin held and another not is no site that holds.
func verdictsOf(s *measure.SiteResult) []verdictView {
	all := s.Verdicts()
	if len(all) > 1 {
		all = slices.DeleteFunc(all, func(v measure.Verdict) bool { return v == measure.Held })
	}
	if len(all) == 0 {
		all = []measure.Verdict{measure.NoMargin}
	}
	return each(all, verdictOf)
}

func verdictOf(v measure.Verdict) verdictView {
	switch v {
	case measure.Held, measure.Uncertain:
		return verdictView{string(v), string(v)}
	case measure.NotHeld:
		return verdictView{string(v), "not-held"}
	case measure.NotAssessed:
		return verdictView{"not assessed", "unknown"}
	}
	return verdictView{"no margin applies", "none"}
}

func axisWord(a measure.AxisRule) string {
	switch a {
	case measure.AxisRidge:
		return "found in the ridge"
	case measure.AxisOcclusal:
		return "the occlusal direction"
	case measure.AxisGiven:
		return "given by the plan"
	}
	return string(a)
}

func readingAt(s *measure.SiteResult, name quantity.Name, depth float64) string {
	row, known := s.Lookup(name, depth)
	if !known || row.Value == nil {
		return ""
	}
	return read(*row.Value, row.Budget.U()).String()
}

func implantWord(b *measure.Implant) string {
	if b == nil {
		return ""
	}
	diameter := plain(b.Diameter)
	if b.ApexDiameter != 0 && b.ApexDiameter != b.Diameter {
		diameter += " to " + plain(b.ApexDiameter)
	}
	return diameter + " mm wide, " + plain(b.Length) + " mm long"
}

// shortAt writes a depth for a person: at most two decimals.
func shortAt(depth *float64) string {
	if depth == nil {
		return ""
	}
	x := math.Round(*depth*100) / 100
	return cells.Depth(&x)
}

func viewOfRow(row measure.Row, jaw measure.Jaw) rowView {
	v := rowView{Name: rowName(row, jaw), At: shortAt(row.At), Reading: rowReading(row), Note: row.Note, Verdict: verdictOf(row.Verdict)}
	if row.Margin != nil {
		v.Margin = rounded(*row.Margin, 1)
	}
	return v
}

func viewOfFinding(row measure.Row, jaw measure.Jaw) rowView {
	v := viewOfRow(row, jaw)
	if row.Value != nil && row.Margin != nil && len(row.Budget) > 0 {
		v.scale = func(wide float64) *sheet { return clearanceSheet(*row.Value, row.Budget.U(), *row.Margin, wide) }
	}
	return v
}

// sizesOf returns the sizes tried, and what all of them lack, said once.
func sizesOf(ladder []measure.SizeResult) (sizes []sizeView, note string) {
	for i, r := range ladder {
		if i == 0 {
			note = r.Reason
		}
		if r.Reason != note {
			note = ""
			break
		}
	}
	for _, r := range ladder {
		if note != "" {
			r.Reason = ""
		}
		sizes = append(sizes, viewOfRung(r))
	}
	return sizes, note
}

func viewOfRung(r measure.SizeResult) sizeView {
	v := sizeView{Size: plain(r.Diameter) + " × " + plain(r.Length), Limit: quantity.InWords(r.Limit), Verdict: verdictOf(r.Verdict)}
	if !math.IsNaN(r.Reserve) {
		v.Reserve = read(r.Reserve, r.U).String()
		if r.Verdict != measure.NotAssessed { // of the reserve that decided
			v.Reserve = readAgainst(r.Reserve, r.U, 0).String()
		}
	}
	switch {
	case r.Reason == "":
	case r.Verdict == measure.NotHeld: // decided by what is known
		v.Limit += "; besides: " + r.Reason
	case v.Reserve == "":
		v.Limit = r.Reason
	default:
		v.Limit = r.Reason + "; of what is known, least at " + v.Limit
	}
	return v
}

func budgetsOf(s *measure.SiteResult, jaw measure.Jaw) []budgetRow {
	var out []budgetRow
	for _, row := range s.Rows {
		if row.Value == nil || len(row.Budget) == 0 {
			continue
		}
		terms := byShare(row.Budget)
		out = append(out, budgetRow{viewOfRow(row, jaw).NameAt(), sharesOf(terms), rounded(row.Budget.U(), 3) + " " + unitWord(row.Unit), terms})
	}
	return out
}

// byShare returns the terms of a budget by their shares of the standard uncertainty, largest first.
func byShare(b uncertainty.Budget) []uncertainty.Term {
	terms := slices.Clone(b)
	slices.SortStableFunc(terms, func(x, y uncertainty.Term) int { return compare(share(y), share(x)) })
	return terms
}

// share is a term's part of the standard uncertainty, in its number's unit.
func share(t uncertainty.Term) float64 { return math.Abs(t.Contribution()) }

// sharesOf lists terms with their shares; those that do not reach the third decimal are counted.
func sharesOf(terms []uncertainty.Term) string {
	var parts []string
	for _, t := range terms {
		if c := share(t); c >= 0.0005 {
			parts = append(parts, t.Name+" "+rounded(c, 3))
		}
	}
	if less := len(terms) - len(parts); less > 0 {
		parts = append(parts, fmt.Sprintf("%d below 0.0005", less))
	}
	return strings.Join(parts, "; ")
}

func short(hash string) string {
	if len(hash) > 12 {
		return hash[:12]
	}
	return hash
}
