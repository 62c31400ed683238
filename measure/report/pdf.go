package report

import (
	"fmt"
	"io"
	"math"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// Paper is a paper size that the PDF is made for.
type Paper string

// The papers.
const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

const (
	pdfMargin = 15.0 // mm, all round
	pdfFoot   = 3.5  // mm above the margin, for the caution under every page
	pdfGap    = 5.0  // mm, between columns
)

// Letters of the PDF, mm: 2.1 mm are 6 points, the least.
const (
	pdfLead   = 4.4 // the answer
	pdfBody   = 3.0
	pdfTables = 2.3
	pdfNotes  = 2.2
	pdfLeast  = 2.1 // budgets
)

// pdfDoc is a PDF in the making: a cursor that goes down the page, or down its columns one after the other.
type pdfDoc struct {
	*fpdf.Fpdf
	view            *View
	c               Case         // the view's
	y               float64      // mm from the page's upper edge
	left, wide      float64      // of the column, mm
	column, columns int          // from 0
	first, deepest  float64      // where the columns begin on this page, and how far down they go
	pictures        map[int]bool // by their widths, pixels
}

// PDF writes the report as a PDF of the same content as [HTML], in columns: the first page answers, then the sites, the
// arch, what it all rests on, and the budgets in an appendix. Case, date and caution stand on every page. An empty
// paper is A4.
func (v *View) PDF(w io.Writer, paper Paper) error {
	d, err := v.newPDF(paper)
	if err != nil {
		return err
	}
	d.opening(v.page)
	d.newPage()
	d.into(2)
	for i := range v.page.Sites {
		d.site(i)
	}
	d.archPages(v.page)
	d.basis(v.page)
	d.budgets(v.page)
	return d.Output(w)
}

func (v *View) newPDF(paper Paper) (*pdfDoc, error) {
	if paper == "" {
		paper = A4
	}
	if paper != A4 && paper != Letter {
		return nil, fmt.Errorf("report: paper %q is neither A4 nor Letter", paper)
	}
	d := &pdfDoc{Fpdf: fpdf.New("P", "mm", string(paper), ""), view: v, c: v.c, pictures: map[int]bool{}}
	for cut, style := range pdfStyles {
		d.AddUTF8FontFromBytes(pdfFamily, style, typefaces[cut])
	}
	date := v.c.Provenance.Date
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	d.SetCreationDate(date.UTC())
	d.SetModificationDate(date.UTC())
	d.SetCatalogSort(true)
	d.describe()
	d.SetMargins(pdfMargin, pdfMargin, pdfMargin)
	d.SetAutoPageBreak(false, 0)
	d.SetHeaderFunc(d.head)
	d.SetFooterFunc(d.foot)
	d.into(1)
	return d, d.Error()
}

func (d *pdfDoc) width() float64  { w, _ := d.GetPageSize(); return w }
func (d *pdfDoc) bottom() float64 { _, h := d.GetPageSize(); return h - pdfMargin - pdfFoot }
func (d *pdfDoc) room() float64   { return d.width() - 2*pdfMargin }

// put writes one line of text at x, its base line at y.
func (d *pdfDoc) put(x, y, size float64, cut weight, colour ink, a anchor, text string) {
	(&pdfPen{to: d.Fpdf, by: d.pictures}).write(label{At: spot{x, y}, Text: text, Size: size, Weight: cut, Ink: colour, Anchor: a})
}

func (d *pdfDoc) stroke(x1, y1, x2, y2, width float64, colour ink) {
	(&pdfPen{to: d.Fpdf, by: d.pictures}).line(stroke{Points: []spot{{x1, y1}, {x2, y2}}, Width: width, Ink: colour})
}

// rule draws a line across the column at the cursor.
func (d *pdfDoc) rule(width float64, colour ink) {
	d.stroke(d.left, d.y, d.left+d.wide, d.y, width, colour)
}

// head writes case and jaw, and under them what was measured with, on which series and when.
func (d *pdfDoc) head() {
	r := d.c.Result
	text := r.Case + " · " + string(r.Jaw)
	if mark := d.view.page.Mark; mark != "" {
		text += " · " + mark
	}
	d.y = 7
	for _, line := range wrapped(text, 2.7, bold, d.room()) {
		d.put(pdfMargin, d.y, 2.7, bold, black, start, line)
		d.y += 3.5
	}
	text = d.view.page.Tool + " · series " + d.view.page.Series
	if when := d.view.page.Date; when != "" {
		text = when + " · " + text
	}
	d.put(pdfMargin, d.y, 2.6, regular, soft, start, text)
	d.stroke(pdfMargin, d.y+1.5, d.width()-pdfMargin, d.y+1.5, 0.2, hair)
	d.y += 4.5
}

func (d *pdfDoc) foot() {
	_, h := d.GetPageSize()
	d.stroke(pdfMargin, h-16, d.width()-pdfMargin, h-16, 0.2, hair)
	d.put(pdfMargin, h-11.5, 2.6, regular, soft, start, shortCaution)
	d.put(d.width()-pdfMargin, h-7.5, 2.6, regular, soft, end, fmt.Sprintf("page %d", d.PageNo()))
}

// newPage begins a page, in its first column.
func (d *pdfDoc) newPage() {
	d.AddPage()
	d.into(d.columns)
}

// into goes on in n columns below the cursor.
func (d *pdfDoc) into(n int) {
	d.columns, d.column, d.first, d.deepest = n, 0, d.y, d.y
	d.left, d.wide = pdfMargin, (d.room()-float64(n-1)*pdfGap)/float64(n)
}

// across goes on over the page's width, below all columns.
func (d *pdfDoc) across() {
	d.y = math.Max(d.y, d.deepest)
	d.into(1)
}

// need goes to the next column, or page, when less than mm are left of this one.
func (d *pdfDoc) need(mm float64) {
	switch {
	case d.y+mm <= d.bottom():
	case d.column+1 < d.columns:
		d.deepest = math.Max(d.deepest, d.y)
		d.column, d.y, d.left = d.column+1, d.first, d.left+d.wide+pdfGap
	default:
		d.newPage()
	}
}

// say writes a paragraph, wrapped to the column, and moves down.
func (d *pdfDoc) say(text string, size float64, cut weight, colour ink) {
	for _, line := range wrapped(text, size, cut, d.wide) {
		d.need(size * 1.35)
		d.y += size * 1.35
		d.put(d.left, d.y, size, cut, colour, start, line)
	}
}

// title heads what follows, of which at least mm stand in the same column.
func (d *pdfDoc) title(text string, mm float64) {
	d.need(7 + mm)
	d.y += 2
	d.say(text, 3, bold, black)
	d.y += 0.7
}

// cautions writes the notes among the cautions, or all others, in letters of this size (mm).
func (d *pdfDoc) cautions(all []cautionView, notes bool, size float64) {
	for _, c := range all {
		cut, colour := regular, black
		if c.Grave {
			cut = bold
		}
		if c.Note {
			colour = soft
		}
		if c.Note == notes {
			d.say(c.Text, size, cut, colour)
		}
	}
}

// place draws a sheet at the cursor, whole, and moves below it.
func (d *pdfDoc) place(s *sheet) {
	d.need(s.Height + 1)
	d.y++
	s.draw(&pdfPen{to: d.Fpdf, at: spot{d.left, d.y}, by: d.pictures})
	d.y += s.Height
}
