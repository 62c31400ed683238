package report

import (
	"math"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// profileSheet draws ridge width against depth below the crest: depth downward as in the bone,
// each width with its expanded uncertainty, and buccal and lingual plates. It returns nil when
// the site has no width.
func profileSheet(s *measure.SiteResult) *sheet {
	var widths []measure.Row
	most, deepest := 0.0, 0.0
	for _, row := range s.Rows {
		if row.Quantity == quantity.RidgeWidth && row.At != nil && row.Value != nil {
			widths = append(widths, row)
			most, deepest = math.Max(most, *row.Value+row.Budget.U()), math.Max(deepest, *row.At)
		}
	}
	if len(widths) == 0 {
		return nil
	}
	const left, top, w, h = 9.0, 8.0, 42.0, 40.0
	perMM, perDepth := w/(math.Ceil(most/2)*2), h/(deepest+1)
	at := func(width, depth float64) spot { return spot{left + width*perMM, top + depth*perDepth} }
	sheet := &sheet{Title: "Width against depth at site " + s.ID, About: "The widths of the table, drawn against depth below the crest.", Width: left + w + 6, Height: top + h + 4}
	for mm := 0.0; mm <= math.Ceil(most/2)*2; mm += 2 {
		sheet.rule(at(mm, 0), at(mm, deepest+1), 0.1, hair)
		sheet.write(label{At: spot{at(mm, 0).X, top - 1.4}, Text: rounded(mm, 0), Size: tiny, Anchor: middleOf, Ink: soft})
	}
	sheet.rule(at(0, 0), at(math.Ceil(most/2)*2, 0), 0.25, black)
	sheet.write(label{At: spot{left, 3}, Text: "width, mm", Size: tiny, Ink: soft})
	sheet.write(label{At: spot{0.4, top + h + 3}, Text: "depth, mm", Size: tiny, Ink: soft})
	var line []spot
	for _, row := range widths {
		p := at(*row.Value, *row.At)
		line = append(line, p)
		sheet.write(label{At: spot{left - 2, p.Y + 0.8}, Text: plain(*row.At), Size: tiny, Anchor: end, Ink: soft})
	}
	sheet.line(stroke{Points: line, Width: 0.25, Ink: petrol})
	for i, row := range widths {
		u := row.Budget.U()
		sheet.whisker(line[i], u*perMM)
	}
	return sheet
}

// whisker draws a value with its expanded uncertainty to both sides, mm of paper.
func (s *sheet) whisker(p spot, u float64) {
	if u > 0 && !math.IsInf(u, 0) {
		s.rule(spot{p.X - u, p.Y}, spot{p.X + u, p.Y}, 0.3, black)
		for _, x := range []float64{p.X - u, p.X + u} {
			s.rule(spot{x, p.Y - 0.8}, spot{x, p.Y + 0.8}, 0.3, black)
		}
	}
	s.line(stroke{Points: disc(p, 0.7), Closed: true, Width: 0.2, Ink: black, Fill: black})
}

// clearanceSheet draws one distance with its uncertainty against its margin, on a line of w mm of paper with a tick
// a mm and a longer one at zero: left of the heavy stroke is too near.
func clearanceSheet(distance, U, margin, w float64) *sheet {
	const left, y = 2.0, 2.8
	most := math.Max(6, math.Ceil(math.Max(distance+U, margin)+0.5))
	least := math.Min(0, math.Floor(distance-U))
	x := func(mm float64) float64 { return left + (mm-least)/(most-least)*w }
	s := &sheet{
		Title: "Distance against margin",
		About: "Distance " + read(distance, U).String() + " mm, margin " + rounded(margin, 1) + " mm.",
		Width: left + w + 3, Height: 5,
	}
	for d := x(least) + 0.5; d < x(margin)-0.2; d += 1.1 {
		s.rule(spot{d, y + 1.6}, spot{math.Min(d+1, x(margin)), y - 1.6}, 0.12, hair)
	}
	s.rule(spot{x(least), y}, spot{x(most), y}, 0.15, soft)
	for mm := least; mm <= most; mm++ {
		s.rule(spot{x(mm), y}, spot{x(mm), y + 1}, 0.15, soft)
	}
	s.rule(spot{x(0), y - 1.2}, spot{x(0), y + 1.8}, 0.25, soft)
	s.rule(spot{x(margin), y - 2.6}, spot{x(margin), y + 2}, 0.6, black)
	s.whisker(spot{x(distance), y}, U/(most-least)*w)
	return s
}
