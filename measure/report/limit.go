package report

import (
	"cmp"
	"slices"
	"strings"
	"unicode/utf8"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// What every medium says of a site before any other number. One function derives the lines,
// [linesOf]; pages, day sheet and structured report print them as they are.

// siteLine is one thing that limits a site.
type siteLine struct {
	Text    string          // a sentence without its full stop
	Verdict measure.Verdict // of the rows that it tells; empty: none was judged
	Strong  bool            // in bold letters whatever the verdict
}

// linesOf returns what limits the site, in order: overlaps; structures nearer than twice their margin,
// whatever the site's verdict is; what was not assessed, and why; bone beside the implant that is not
// held or in doubt. Where there is none of these it is the least reserve, else what the height ends at.
func linesOf(s *measure.SiteResult, jaw measure.Jaw) []siteLine {
	var lines, plates []siteLine
	for _, rows := range groupsOf(s.Foremost()) {
		first := rows[0]
		switch {
		case first.Value == nil && s.Err != "" && strings.Contains(first.Note, s.Err): // said once, below
		case besideImplant(first) && first.Value != nil && !first.Overlap():
			plates = append(plates, lineOf(rows, jaw))
		default:
			lines = append(lines, lineOf(rows, jaw))
		}
	}
	lines = append(append(lines, unexplained(s)...), plates...)
	if len(lines) > 0 {
		return lines
	}
	return []siteLine{calm(s, jaw)}
}

// unexplained says why the site could not be measured, or why it has a verdict that none of its rows has.
func unexplained(s *measure.SiteResult) []siteLine {
	if s.Err != "" {
		return []siteLine{{Text: "Not measured: " + s.Err, Verdict: measure.NotAssessed}}
	}
	has := slices.ContainsFunc(s.Rows, func(r measure.Row) bool { return r.Verdict == s.Verdict })
	if has || s.Verdict == measure.NoMargin || s.Note == "" {
		return nil
	}
	return []siteLine{{Text: "This site: " + string(s.Verdict) + ": " + s.Note, Verdict: s.Verdict}}
}

// calm says what limits a site of which nothing must be said first.
func calm(s *measure.SiteResult, jaw measure.Jaw) siteLine {
	var least *measure.Row
	for i, row := range s.Rows {
		if row.Verdict != measure.NoMargin && row.Value != nil && row.Margin != nil && (least == nil || row.Reserve() < least.Reserve()) {
			least = &s.Rows[i]
		}
	}
	switch {
	case least != nil:
		return lineOf([]measure.Row{*least}, jaw)
	case s.HeightTo != "":
		return siteLine{Text: "Height ends at the " + limitWord(s.HeightTo, jaw)}
	case s.Note != "":
		return siteLine{Text: s.Note}
	}
	return siteLine{Text: "No limit was marked or found"}
}

func besideImplant(row measure.Row) bool { return quantity.Of(row.Quantity).BesideImplant() }

// groupsOf puts together what is said in one line: depths of the bone on one side of the implant with one
// verdict, an implant that stands outside the bone, and rows without a number for the same reason. The order is that of each group's first row.
func groupsOf(rows []measure.Row) [][]measure.Row {
	var out [][]measure.Row
	for _, row := range rows {
		i := slices.IndexFunc(out, func(g []measure.Row) bool { return oneLine(g[0], row) })
		if i < 0 {
			out = append(out, []measure.Row{row})
		} else {
			out[i] = append(out[i], row)
		}
	}
	return out
}

func oneLine(a, b measure.Row) bool {
	beside := besideImplant(a) && besideImplant(b)
	switch {
	case a.Verdict != b.Verdict || a.Overlap() != b.Overlap() || (a.Value == nil) != (b.Value == nil) || marginWord(a) != marginWord(b):
		return false
	case a.Value == nil:
		return a.Note == b.Note || beside && a.Overlap()
	}
	return beside && a.Quantity == b.Quantity
}

// marginWord returns a row's margin, empty where none applies.
func marginWord(row measure.Row) string {
	if row.Margin == nil {
		return ""
	}
	return rounded(*row.Margin, 1)
}

// lineOf returns the line of a group of rows: what, how much, its margin, its verdict, why. Of an overlap
// the words come first.
func lineOf(rows []measure.Row, jaw measure.Jaw) siteLine {
	first := rows[0]
	text := namesOf(rows, jaw)
	if first.Value != nil {
		text += ": " + readingsOf(rows)
	}
	if m := marginWord(first); m != "" {
		text += ", margin " + m + " mm"
	}
	if first.Verdict != measure.NoMargin {
		text += ": " + string(first.Verdict)
	}
	switch {
	case first.Overlap():
		text = initial(overlapWords(rows), strings.ToUpper) + ". " + text
	case first.Note != "" && (first.Value == nil || len(rows) == 1):
		text += ": " + first.Note
	}
	return siteLine{Text: text, Verdict: first.Verdict}
}

// overlapWords returns the words of an overlap: those of the least bone over the implant's length where that
// is among the rows, else the first row's.
func overlapWords(rows []measure.Row) string {
	for _, row := range rows {
		if besideImplant(row) && row.At == nil && row.Note != "" {
			return row.Note
		}
	}
	return cmp.Or(rows[0].Note, "overlap")
}

// initial changes the first letter of text.
func initial(text string, to func(string) string) string {
	_, n := utf8.DecodeRuneInString(text)
	return to(text[:n]) + text[n:]
}

// namesOf names what a group is about; of rows without a number also where.
func namesOf(rows []measure.Row, jaw measure.Jaw) string {
	var names []string
	for i, row := range rows {
		name := rowName(row, jaw)
		if i > 0 && name == rowName(rows[i-1], jaw) {
			name = ""
		}
		if row.Value == nil {
			name += placeOf(row)
		}
		if name != "" {
			names = append(names, strings.TrimSpace(name))
		}
	}
	return strings.Join(names, ", ")
}

// readingsOf lists the numbers of a group, each with its place and, among several, its note.
func readingsOf(rows []measure.Row) string {
	var parts []string
	for _, row := range rows {
		part := rowReading(row) + placeOf(row)
		if len(rows) > 1 && row.Note != "" && !row.Overlap() { // an overlap's words stand before the numbers
			part += " (" + row.Note + ")"
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

// placeOf says at which depth a row was taken, with a space before it; empty where none applies or its
// note says it.
func placeOf(row measure.Row) string {
	switch {
	case row.At != nil:
		return " at " + shortAt(row.At) + " mm"
	case besideImplant(row) && (row.Value == nil || row.Note == ""):
		return " at its least"
	}
	return ""
}

// rowName returns what a row is about, in words: "Clearance to left canal".
func rowName(row measure.Row, jaw measure.Jaw) string {
	q := quantity.Of(row.Quantity)
	with, to := cmp.Or(q.With, q.Words+", %s"), row.To
	switch {
	case to == "":
		return wordsOf(q.Name, jaw)
	case q.Name == quantity.Clearance && row.Kind == "" && row.Value == nil && row.Margin == nil:
		return initial(to, strings.ToUpper) // no structure: what is not known of the site itself
	case q.Name == quantity.Clearance && row.Kind == "implant" && !strings.Contains(strings.ToLower(to), "implant"):
		to = "implant " + to // the plan's other implants go by their site
	case q.EndsAtLimit:
		to = limitWord(measure.Limit(to), jaw)
	}
	if q.Name == quantity.RidgeHeight && wall(measure.Limit(row.To)) {
		with = "Length to the %s"
	}
	return strings.Replace(forJaw(with, jaw), "%s", to, 1)
}

// rowReading returns the row's number with its uncertainty and unit, or nothing.
func rowReading(row measure.Row) string {
	if row.Value == nil {
		return ""
	}
	text := read(*row.Value, row.Budget.U()).String()
	if row.Margin != nil && row.Verdict != measure.NoMargin {
		text = readAgainst(*row.Value, row.Budget.U(), *row.Margin).String()
	}
	switch unit := unitWord(row.Unit); unit {
	case "":
		return text
	case "°":
		return text + "°"
	default:
		return text + " " + unit
	}
}
