package practice

import (
	"io"
	"strconv"
)

// itemColumns are the columns of items.csv: where each section lies in its scan (patient LPS, mm; unit vectors).
var itemColumns = []string{"item", "jaw", "tooth", "quantity", "at_mm", "origin_x", "origin_y", "origin_z",
	"buccal_x", "buccal_y", "buccal_z", "coronal_x", "coronal_y", "coronal_z", "width_mm", "height_mm", "view"}

// WriteItems writes items.csv, for whoever looks at the section in the scan: origin is the sheet's corner (0, 0).
func WriteItems(w io.Writer, sheets []Sheet) error {
	rows := [][]string{itemColumns}
	for _, s := range sheets {
		row := []string{s.Item, s.Jaw.String(), strconv.Itoa(s.Tooth), string(s.Question.Quantity), s.Question.at()}
		f := s.Frame
		for _, x := range []float64{f.Origin.X, f.Origin.Y, f.Origin.Z, f.U.X, f.U.Y, f.U.Z, f.V.X, f.V.Y, f.V.Z, s.Width, s.Height} {
			row = append(row, strconv.FormatFloat(x, 'f', 6, 64))
		}
		rows = append(rows, append(row, string(s.View)))
	}
	return writeRows(w, rows)
}
