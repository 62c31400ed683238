package report

import (
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// matrix is what is told of every pair of implants, as one table: above the diagonal the angle
// between the axes, below it the distance between the platforms.
type matrix struct {
	IDs  []string
	Rows []matrixRow
	cell map[[2]string]string
}

type matrixRow struct {
	ID    string
	Cells []string
}

// matrixOf returns the table, empty when no pair was measured.
func matrixOf(r *measure.Result) matrix {
	m := matrix{cell: map[[2]string]string{}}
	for _, row := range r.Arch.Rows {
		a, b, pair := strings.Cut(row.Sites, "|")
		switch {
		case !pair || row.Value == nil:
		case row.Quantity == quantity.ImplantAngle:
			m.cell[[2]string{a, b}] = rounded(*row.Value, 1) + "°"
		case row.Quantity == quantity.PlatformDistance:
			m.cell[[2]string{b, a}] = rounded(*row.Value, 1)
		}
	}
	if len(m.cell) == 0 {
		return m
	}
	for _, s := range r.Sites {
		if s.Implant != nil {
			m.IDs = append(m.IDs, s.ID)
		}
	}
	for _, a := range m.IDs {
		line := matrixRow{ID: a}
		for _, b := range m.IDs {
			line.Cells = append(line.Cells, m.cell[[2]string{a, b}])
		}
		m.Rows = append(m.Rows, line)
	}
	return m
}

// holds reports whether a row stands in the matrix, so that it needs no line of its own.
func (m matrix) holds(row measure.ArchRow) bool {
	_, _, pair := strings.Cut(row.Sites, "|")
	return pair && row.Value != nil && (row.Quantity == quantity.ImplantAngle || row.Quantity == quantity.PlatformDistance)
}
