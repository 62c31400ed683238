package practice

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
)

// itemColumns are the columns of items.csv: where each section lies in its scan (patient LPS, mm; unit vectors).
var itemColumns = []string{"item", "jaw", "tooth", "quantity", "at_mm", "origin_x", "origin_y", "origin_z",
	"buccal_x", "buccal_y", "buccal_z", "coronal_x", "coronal_y", "coronal_z", "width_mm", "height_mm", "view", "to"}

// WriteItems writes items.csv, for whoever looks at the section in the scan: origin is the sheet's corner (0, 0).
func WriteItems(w io.Writer, sheets []Sheet) error {
	rows := [][]string{itemColumns}
	for _, s := range sheets {
		row := []string{s.Item, s.Jaw.String(), strconv.Itoa(s.Tooth), string(s.Question.Quantity), s.Question.at()}
		f := s.Frame
		for _, x := range []float64{f.Origin.X, f.Origin.Y, f.Origin.Z, f.U.X, f.U.Y, f.U.Z, f.V.X, f.V.Y, f.V.Z, s.Width, s.Height} {
			row = append(row, strconv.FormatFloat(x, 'f', 6, 64))
		}
		rows = append(rows, append(row, string(s.View), s.Question.To))
	}
	return cells.Write(w, rows)
}

// ReadItems reads what [WriteItems] wrote: the sheets of a set, for whoever has no key of it. Its errors wrap [ErrOptions] and
// name the row.
func ReadItems(r io.Reader) ([]Sheet, error) {
	c := csv.NewReader(io.LimitReader(r, 64<<20))
	head, err := c.Read()
	if err != nil || !slices.Equal(head, itemColumns) {
		return nil, fmt.Errorf("%w: row 1: this is no items.csv of practice make", ErrOptions)
	}
	all, err := c.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%w: this is no CSV: %w", ErrOptions, err)
	}
	var sheets []Sheet
	for i, row := range all {
		s, err := sheetOf(row)
		if err != nil {
			return nil, fmt.Errorf("%w: row %d: %w", ErrOptions, i+2, err)
		}
		sheets = append(sheets, s)
	}
	return sheets, nil
}

// sheetOf reads a row of items.csv.
func sheetOf(row []string) (Sheet, error) {
	s := Sheet{Item: row[0], Question: Question{Quantity: quantity.Name(row[3]), To: row[17]}, View: View(row[16])}
	if row[1] == phantom.Maxilla.String() {
		s.Jaw = phantom.Maxilla
	}
	if _, known := measurands[s.Question.Quantity]; !known {
		return s, fmt.Errorf("%q is not asked on any sheet", row[3])
	}
	var x [11]float64
	for i := range x {
		v, err := strconv.ParseFloat(row[5+i], 64)
		if err != nil || math.IsNaN(v) || math.Abs(v) > 1e4 {
			return s, fmt.Errorf("%q is no number of mm", row[5+i])
		}
		x[i] = v
	}
	if row[4] != "" {
		at, err := strconv.ParseFloat(row[4], 64)
		if err != nil {
			return s, fmt.Errorf("%q is no depth in mm", row[4])
		}
		s.Question.At = at
	}
	s.Tooth, _ = strconv.Atoi(row[2])
	f := &s.Frame
	f.Origin, f.U, f.V = r3.Vec{X: x[0], Y: x[1], Z: x[2]}, r3.Vec{X: x[3], Y: x[4], Z: x[5]}, r3.Vec{X: x[6], Y: x[7], Z: x[8]}
	f.T = r3.Cross(f.U, f.V)
	s.Width, s.Height = x[9], x[10]
	if s.View == Along {
		body := drawnBody
		s.Body = &body
	}
	return s, nil
}

// LineValue is what a line reads that a reader laid on a sheet with callipers: its length, mm, or for a tilt its angle, deg.
func (s Sheet) LineValue(l Line) float64 {
	if v := lineValue(s, &l); v != nil {
		return *v
	}
	return r3.Norm(r3.Sub(l.B, l.A))
}
