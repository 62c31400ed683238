package report

import (
	"math"

	"ridgerule/measure"
)

// pdfTable is a table as wide as the column.
type pdfTable struct {
	shares []float64 // of the width, one a column
	header []string  // nil: none
	rows   []pdfRow
	size   float64 // of the letters, mm
}

// pdfRow is one row of a table.
type pdfRow struct {
	cells []cellView
	chart *sheet     // in the last column, beside nothing else; nil: none
	under []siteLine // below the cells, over the width
}

// cellView is one cell of a table.
type cellView struct {
	Text string
	Cut  weight
}

// textRow returns a row of plain cells, the first of them bold.
func textRow(texts ...string) pdfRow {
	cells := each(texts, func(text string) cellView { return cellView{Text: text} })
	cells[0].Cut = bold
	return pdfRow{cells: cells}
}

// namedRow is a row whose first cell is a name, not a heading: in the common cut.
func namedRow(texts ...string) pdfRow {
	row := textRow(texts...)
	row.cells[0].Cut = regular
	return row
}

// noted returns the row with a note under it, empty for none.
func (r pdfRow) noted(note string) pdfRow {
	if note != "" {
		r.under = []siteLine{{Text: note}}
	}
	return r
}

// orNo returns text, or "none" for nothing: an empty cell could be a slip.
func orNo(text string) string {
	if text == "" {
		return "none"
	}
	return text
}

// wholeTable is how tall a table may be, mm, to go whole into another column rather than to be divided.
const wholeTable = 35.0

// titled writes a table under its title, which never stands alone at a column's end.
func (d *pdfDoc) titled(text string, t pdfTable) {
	d.title(text, d.least(t))
	d.table(t)
}

// least returns how much of a table must have room where it begins, mm: all of a small one, else its first row.
func (d *pdfDoc) least(t pdfTable) float64 {
	if tall := d.tallTable(t); tall <= wholeTable || len(t.rows) == 0 {
		return tall
	}
	return d.tallHead(t) + d.tallRow(t, t.rows[0])
}

// table writes a table and moves below it. Its header stands again over what goes into another column.
func (d *pdfDoc) table(t pdfTable) {
	d.need(d.least(t))
	d.tableHead(t)
	for _, r := range t.rows {
		if d.y+d.tallRow(t, r) > d.bottom() {
			d.need(d.bottom()) // the next column
			d.tableHead(t)
		}
		d.row(t, r)
		d.rule(0.15, hair)
	}
}

func (d *pdfDoc) tableHead(t pdfTable) {
	if t.header == nil {
		return
	}
	small := t
	small.size *= 0.9
	d.cells(small, headOf(t), soft)
	d.rule(0.4, black)
}

func headOf(t pdfTable) []cellView {
	return each(t.header, func(text string) cellView { return cellView{Text: text} })
}

func (d *pdfDoc) row(t pdfTable, r pdfRow) {
	top := d.y
	d.cells(t, r.cells, black)
	if r.chart != nil {
		// Its strokes end well within it: rows may stand closer than it is tall.
		r.chart.draw(&pdfPen{to: d.Fpdf, at: spot{d.left + d.wide - r.chart.Width, top - 0.7}, by: d.pictures})
		d.y = math.Max(d.y, top+r.chart.Height-1)
	}
	if len(r.under) > 0 {
		d.lines(r.under, t.size, 2)
	}
}

// cells writes one line of cells and moves below it.
func (d *pdfDoc) cells(t pdfTable, row []cellView, colour ink) {
	x, deepest := d.left, d.y
	for i, share := range t.shares {
		y := d.y
		for _, line := range wrapped(row[i].Text, t.size, row[i].Cut, share*d.wide-1) {
			y += t.size * 1.25
			d.put(x, y, t.size, row[i].Cut, colour, start, line)
		}
		x, deepest = x+share*d.wide, math.Max(deepest, y)
	}
	d.y = deepest + t.size*0.3
}

// tallCells, tallRow, tallHead and tallTable return how much room cells, a row, the header and a table take, mm.
func (d *pdfDoc) tallCells(t pdfTable, row []cellView) float64 {
	most := 0
	for i, share := range t.shares {
		most = max(most, len(wrapped(row[i].Text, t.size, row[i].Cut, share*d.wide-1)))
	}
	return float64(most)*t.size*1.25 + t.size*0.3
}

func (d *pdfDoc) tallRow(t pdfTable, r pdfRow) float64 {
	tall := d.tallCells(t, r.cells)
	if r.chart != nil {
		tall = math.Max(tall, r.chart.Height-1)
	}
	if len(r.under) > 0 {
		tall += d.tallLines(r.under, t.size, 2)
	}
	return tall
}

func (d *pdfDoc) tallHead(t pdfTable) float64 {
	if t.header == nil {
		return 0
	}
	return d.tallCells(t, headOf(t))
}

func (d *pdfDoc) tallTable(t pdfTable) float64 {
	tall := d.tallHead(t)
	for _, r := range t.rows {
		tall += d.tallRow(t, r)
	}
	return tall
}

// lines writes what limits a site, indented by mm, and moves below it; what is wrapped is indented once more.
func (d *pdfDoc) lines(lines []siteLine, size, indent float64) {
	for _, l := range lines {
		for i, text := range wrapped(l.Text, size, cutOf(l), d.wide-indent-size) {
			d.need(size * 1.25)
			d.y += size * 1.25
			d.put(d.left+indent+min(float64(i), 1)*size, d.y, size, cutOf(l), black, start, text)
		}
	}
	d.y += size * 0.6
}

// tallLines returns how much room lines take, mm.
func (d *pdfDoc) tallLines(lines []siteLine, size, indent float64) float64 {
	n := 0
	for _, l := range lines {
		n += len(wrapped(l.Text, size, cutOf(l), d.wide-indent-size))
	}
	return float64(n)*size*1.25 + size*0.6
}

func cutOf(l siteLine) weight {
	if l.Strong || l.Verdict == measure.NotHeld {
		return bold
	}
	return regular
}
