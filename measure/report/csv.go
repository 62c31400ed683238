package report

import (
	"encoding/csv"
	"io"
	"math"
	"slices"
	"strings"

	"ridgerule/measure"
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
	return writeCSV(w, rows)
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
		u, U = cell(row.Budget.Std()), cell(row.Budget.U())
	}
	return []string{
		safe(label), safe(site), safe(tooth), safe(string(row.Quantity)), at(row.At), safe(row.To),
		cellOf(row.Value), safe(row.Unit), u, U, cellOf(row.Margin), safe(string(row.Verdict)), safe(row.Note),
	}
}

// at writes a depth (mm) in as few digits as say it to four decimals: "3", "2.5", "10.2607"; nil
// is empty.
func at(depth *float64) string {
	if depth == nil || math.IsNaN(*depth) || math.IsInf(*depth, 0) {
		return ""
	}
	return plain(math.Round(*depth*1e4) / 1e4)
}

// SitesCSV writes one row a site, in the columns of [SiteColumns] for the result's depths.
func SitesCSV(w io.Writer, r *measure.Result) error {
	depths := Depths(r)
	rows := [][]string{names(SiteColumns(depths))}
	for i := range r.Sites {
		rows = append(rows, siteRow(r.Case, &r.Sites[i], depths))
	}
	return writeCSV(w, rows)
}

func siteRow(label string, s *measure.SiteResult, depths []float64) []string {
	crest, axis := s.Frame.Patient(s.Crest), s.Frame.Direction(s.Axis)
	place := []float64{s.Frame.Arc, crest.X, crest.Y, crest.Z, axis.X, axis.Y, axis.Z}
	row := []string{safe(label), safe(s.ID), safe(s.Tooth)}
	for i, x := range place {
		if s.Err != "" && i > 0 {
			x = math.NaN() // no crest and no axis where nothing was measured
		}
		row = append(row, cell(x))
	}
	height, _ := s.Lookup(quantity.RidgeHeight, math.NaN())
	row = append(row, cellOf(height.Value), expanded(height), safe(string(s.HeightTo)))
	for _, d := range depths {
		width, _ := s.Lookup(quantity.RidgeWidth, d)
		row = append(row, cellOf(width.Value))
	}
	tilt, _ := s.Lookup(quantity.RidgeTilt, math.NaN())
	return append(row, cellOf(tilt.Value), safe(string(s.Verdict)), safe(noteOf(s)))
}

// expanded writes the row's expanded uncertainty, or nothing when the row has no number.
func expanded(row measure.Row) string {
	if row.Value == nil || len(row.Budget) == 0 {
		return ""
	}
	return cell(row.Budget.U())
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

// safe returns text as a cell no spreadsheet runs: control characters become spaces, and a cell
// that would begin a formula is preceded by an apostrophe. Full-width signs count, since some
// spreadsheets fold them.
//
// Source: OWASP, CSV Injection.
func safe(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == 0x85 || r == 0x2028 || r == 0x2029 {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "\uFFFD"))
	if strings.IndexAny(strings.TrimLeft(text, " \u00a0\ufeff"), "=+-@＝＋－＠") == 0 {
		return "'" + text
	}
	return text
}

func writeCSV(w io.Writer, rows [][]string) error {
	out := csv.NewWriter(w)
	if err := out.WriteAll(rows); err != nil {
		return err
	}
	out.Flush()
	return out.Error()
}
