package report

import (
	"io"
	"math"

	"ridgerule/measure/cells"
	"ridgerule/measure/change"
	"ridgerule/measure/uncertainty"
)

// ChangesCSV writes one line a number. Length before, after and their difference are in the unit of the line; an empty value is
// no number, and the note says why.
func ChangesCSV(w io.Writer, r *change.Result) error {
	rows := [][]string{{"case", "site", "tooth", "quantity", "at_mm", "before", "after", "change", "unit", "u", "U", "shown", "note", "to"}}
	for _, s := range r.Sites {
		head := []string{cells.Text(r.Before.Case), cells.Text(s.ID), cells.Text(s.Tooth)}
		if s.Err != "" {
			rows = append(rows, append(head[:3:3], string(change.CrestLevel), "", "", "", "", "mm", "", "", "", cells.Text(s.Err), ""))
		}
		for _, x := range s.Rows {
			line := append(head[:3:3], string(x.Quantity), cells.Depth(x.At), cells.Optional(x.Before), cells.Optional(x.After), "", "mm", "", "", string(x.Shown), cells.Text(x.Note), cells.Text(x.To))
			if x.Quantity == change.CrestLevel {
				line[5], line[6] = "", ""
			}
			if x.Shown.Number() {
				line[7], line[9], line[10] = cells.Number(x.Change.Value), cells.Number(x.Change.Std()), cells.Number(x.Change.U())
			}
			rows = append(rows, line)
		}
	}
	return cells.Write(w, rows)
}

// raterHere is who took the deviations: a column by which they are held against other readings of the same implants.
const raterHere = "ridgerule"

// PlacedCSV writes one line a deviation, with rater and case in columns of their own, ready to be held against other readings
// by ridgerule agree. An implant that was not found has one line without a value.
func PlacedCSV(w io.Writer, r *change.Result) error {
	rows := [][]string{{"site", "quantity", "value", "unit", "u", "U", "note", "case", "tooth", "rater"}}
	for _, s := range r.Sites {
		line := func(quantity, value, unit, u, U, note string) {
			rows = append(rows, []string{cells.Text(s.ID), quantity, value, unit, u, U, cells.Text(note), cells.Text(r.Before.Case), cells.Text(s.Tooth), raterHere})
		}
		if s.Placed == nil {
			if s.NotPlaced != "" {
				line("coronal_deviation", "", "mm", "", "", s.NotPlaced)
			}
			continue
		}
		note := ""
		if s.Placed.Unsure {
			note = "uncertain: the alignment was accepted by nobody"
		}
		number := func(quantity string, value float64, unit string, b uncertainty.Budget) {
			u, U := "", ""
			if len(b) > 0 {
				u, U = cells.Number(b.Std()), cells.Number(b.U())
			}
			line(quantity, cells.Number(value), unit, u, U, note)
		}
		for _, x := range deviationLengths(&s.Placed.Deviation) {
			if !math.IsNaN(x.Length.Value) {
				number(x.Name, x.Length.Value, "mm", x.Length.Budget)
			}
		}
		a := s.Placed.Deviation.Angle
		number("angular_deviation", a.Value, "deg", a.Budget)
	}
	return cells.Write(w, rows)
}
