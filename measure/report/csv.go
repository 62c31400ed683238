package report

import (
	"io"
	"math"
	"slices"
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
)

// MeasurementsCSV writes one number a row, in the columns of [MeasurementColumns]: RFC 4180,
// UTF-8, LF, a decimal point, four decimals. Text that a spreadsheet would run as a formula is
// preceded by an apostrophe.
func MeasurementsCSV(w io.Writer, r *measure.Result) error {
	rows := [][]string{names(MeasurementColumns())}
	for _, s := range r.Sites {
		for _, row := range rowsOf(&s) {
			rows = append(rows, measurement(r.Case, s.ID, s.Tooth, row))
		}
	}
	for _, row := range r.Arch.Rows {
		rows = append(rows, measurement(r.Case, row.Sites, "", row.Row))
	}
	return cells.Write(w, rows)
}

// rowsOf returns the site's rows; a site that failed before it had any still has one, whose note
// says why.
func rowsOf(s *measure.SiteResult) []measure.Row {
	if len(s.Rows) > 0 || s.Err == "" {
		return s.Rows
	}
	return []measure.Row{{Quantity: quantity.RidgeHeight, Unit: quantity.RidgeHeight.Unit(), Note: s.Err}}
}

func measurement(label, site, tooth string, row measure.Row) []string {
	u, U := "", ""
	if row.Value != nil && len(row.Budget) > 0 {
		u, U = cells.Number(row.Budget.Std()), cells.Number(row.Budget.U())
	}
	return []string{
		cells.Text(label), cells.Text(site), cells.Text(tooth), cells.Text(string(row.Quantity)), cells.Depth(row.At), cells.Text(row.To),
		cells.Optional(row.Value), cells.Text(row.Unit), u, U, cells.Optional(row.Margin), cells.Text(string(row.Verdict)), cells.Text(row.Note),
	}
}

// SitesCSV writes one row a site, in the columns of [SiteColumns] for the result's depths.
func SitesCSV(w io.Writer, r *measure.Result) error {
	depths := Depths(r)
	rows := [][]string{names(SiteColumns(depths))}
	for i := range r.Sites {
		rows = append(rows, siteRow(r.Case, &r.Sites[i], depths))
	}
	return cells.Write(w, rows)
}

func siteRow(label string, s *measure.SiteResult, depths []float64) []string {
	crest, axis := s.Frame.Patient(s.Crest), s.Frame.Direction(s.Axis)
	place := []float64{s.Frame.Arc, crest.X, crest.Y, crest.Z, axis.X, axis.Y, axis.Z}
	row := []string{cells.Text(label), cells.Text(s.ID), cells.Text(s.Tooth)}
	for i, x := range place {
		if s.Err != "" && i > 0 {
			x = math.NaN() // no crest and no axis where nothing was measured
		}
		row = append(row, cells.Number(x))
	}
	height, _ := s.Lookup(quantity.RidgeHeight, math.NaN())
	row = append(row, cells.Optional(height.Value), expanded(height), cells.Text(string(s.HeightTo)))
	for _, d := range depths {
		width, _ := s.Lookup(quantity.RidgeWidth, d)
		row = append(row, cells.Optional(width.Value))
	}
	tilt, _ := s.Lookup(quantity.RidgeTilt, math.NaN())
	return append(row, cells.Optional(tilt.Value), cells.Text(string(s.Verdict)), cells.Text(noteOf(s)))
}

// expanded writes the row's expanded uncertainty, or nothing when the row has no number.
func expanded(row measure.Row) string {
	if row.Value == nil || len(row.Budget) == 0 {
		return ""
	}
	return cells.Number(row.Budget.U())
}

func noteOf(s *measure.SiteResult) string {
	if s.Err == "" || strings.Contains(s.Note, s.Err) {
		return s.Note
	}
	return strings.TrimSuffix(s.Err+"; "+s.Note, "; ")
}

// Depths returns the depths (mm, ascending) at which any site of the result has a ridge width.
func Depths(r *measure.Result) []float64 {
	var all []float64
	for _, s := range r.Sites {
		for _, row := range s.Rows {
			if row.Quantity == quantity.RidgeWidth && row.At != nil && !slices.Contains(all, *row.At) {
				all = append(all, *row.At)
			}
		}
	}
	slices.Sort(all)
	return all
}
