package report

import (
	"fmt"
	"io"
	"math"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"ridgerule/measure"
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
	pdfFoot   = 12.0 // mm, for the caution under every page
)

// pdfDoc is a PDF in the making: a cursor that goes down the page.
type pdfDoc struct {
	*fpdf.Fpdf
	c        Case
	y        float64
	pictures int
}

// PDF writes the report as a PDF of the same content as [HTML]: the first page answers, then the
// sites, the arch, and what it all rests on. The caution stands on every page. An empty paper is A4.
func PDF(w io.Writer, c Case, paper Paper) error {
	d, err := newPDF(c, paper)
	if err != nil {
		return err
	}
	v, err := viewOf(c)
	if err != nil {
		return err
	}
	d.opening(v)
	grey := windowOf(c.pictures())
	for i := range c.Result.Sites {
		d.site(v.Sites[i], &c.Result.Sites[i], grey)
	}
	d.archPage(v, grey)
	d.basis(v)
	return d.Output(w)
}

func newPDF(c Case, paper Paper) (*pdfDoc, error) {
	if paper == "" {
		paper = A4
	}
	if paper != A4 && paper != Letter {
		return nil, fmt.Errorf("report: paper %q is neither A4 nor Letter", paper)
	}
	d := &pdfDoc{Fpdf: fpdf.New("P", "mm", string(paper), ""), c: c}
	for cut, style := range pdfStyles {
		d.AddUTF8FontFromBytes(pdfFamily, style, typefaces[cut])
	}
	date := c.Provenance.Date
	if date.IsZero() {
		date = time.Unix(0, 0)
	}
	d.SetCreationDate(date.UTC())
	d.SetModificationDate(date.UTC())
	d.SetCatalogSort(true)
	d.SetTitle(drawable(c.Result.Case)+": ridge measurements", true)
	d.SetCreator(drawable(c.Provenance.Tool), true)
	d.SetLang("en")
	d.SetMargins(pdfMargin, pdfMargin, pdfMargin)
	d.SetAutoPageBreak(false, 0)
	d.SetHeaderFunc(d.head)
	d.SetFooterFunc(d.foot)
	return d, d.Error()
}

func (d *pdfDoc) width() float64  { w, _ := d.GetPageSize(); return w }
func (d *pdfDoc) bottom() float64 { _, h := d.GetPageSize(); return h - pdfMargin - pdfFoot }
func (d *pdfDoc) room() float64   { return d.width() - 2*pdfMargin }

// put writes one line of text at x, its base line at y.
func (d *pdfDoc) put(x, y, size float64, cut weight, colour ink, a anchor, text string) {
	(&pdfPen{to: d.Fpdf, n: &d.pictures}).write(label{At: spot{x, y}, Text: text, Size: size, Weight: cut, Ink: colour, Anchor: a})
}

func (d *pdfDoc) stroke(x1, y1, x2, y2, width float64, colour ink) {
	(&pdfPen{to: d.Fpdf, n: &d.pictures}).line(stroke{Points: []spot{{x1, y1}, {x2, y2}}, Width: width, Ink: colour})
}

func (d *pdfDoc) head() {
	r := d.c.Result
	text := r.Case + " · " + string(r.Jaw)
	if r.Synthetic {
		text += " · " + syntheticCaution
	}
	d.put(pdfMargin, 10, 2.7, bold, black, start, text)
	d.put(d.width()-pdfMargin, 10, 2.7, regular, soft, end, d.c.Provenance.Tool+" · series "+short(r.Scan.SeriesHash))
	d.stroke(pdfMargin, 12, d.width()-pdfMargin, 12, 0.2, hair)
	d.y = pdfMargin + 4
}

func (d *pdfDoc) foot() {
	_, h := d.GetPageSize()
	d.stroke(pdfMargin, h-16, d.width()-pdfMargin, h-16, 0.2, hair)
	d.put(pdfMargin, h-11.5, 2.6, regular, soft, start, shortCaution)
	d.put(d.width()-pdfMargin, h-7.5, 2.6, regular, soft, end, fmt.Sprintf("page %d", d.PageNo()))
}

// need begins a new page when less than mm are left on this one.
func (d *pdfDoc) need(mm float64) {
	if d.y+mm > d.bottom() {
		d.AddPage()
	}
}

// say writes a paragraph, wrapped to width mm, and moves down.
func (d *pdfDoc) say(text string, size float64, cut weight, colour ink, width float64) {
	for _, line := range wrapped(text, size, cut, width) {
		d.need(size * 1.35)
		d.y += size * 1.35
		d.put(pdfMargin, d.y, size, cut, colour, start, line)
	}
}

func (d *pdfDoc) title(text string) {
	d.need(24)
	d.y += 4
	d.say(text, 3.6, bold, black, d.room())
	d.y += 1.5
}

// cellView is one cell of a table.
type cellView struct {
	Text string
	Cut  weight
}

// plainCells returns a row of cells, the first of them in its own cut.
func plainCells(row []string, first weight) []cellView {
	cells := each(row, func(text string) cellView { return cellView{Text: text} })
	cells[0].Cut = first
	return cells
}

// table writes rows under a header; widths are shares of the room. The first column is bold.
func (d *pdfDoc) table(shares []float64, header []string, rows [][]string, size float64) {
	head := func() {
		d.cells(shares, plainCells(header, regular), size*0.95, soft)
		d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.5, black)
	}
	d.need(18)
	head()
	for _, row := range rows {
		cells := plainCells(row, bold)
		if d.y+d.tall(shares, cells, size) > d.bottom() {
			d.AddPage()
			head()
		}
		d.cells(shares, cells, size, black)
		d.stroke(pdfMargin, d.y, d.width()-pdfMargin, d.y, 0.15, hair)
	}
}

// cells writes one row of a table and moves below it.
func (d *pdfDoc) cells(shares []float64, row []cellView, size float64, colour ink) {
	x, deepest := pdfMargin, d.y
	for i, share := range shares {
		w, y := share*d.room(), d.y
		for _, line := range wrapped(row[i].Text, size, row[i].Cut, w-2) {
			y += size * 1.3
			d.put(x, y, size, row[i].Cut, colour, start, line)
		}
		x, deepest = x+w, math.Max(deepest, y)
	}
	d.y = deepest + size*0.6
}

// tall returns how much room a row of a table takes, mm.
func (d *pdfDoc) tall(shares []float64, row []cellView, size float64) float64 {
	most := 0
	for i, share := range shares {
		most = max(most, len(wrapped(row[i].Text, size, row[i].Cut, share*d.room()-2)))
	}
	return float64(most)*size*1.3 + size*0.6
}

// place draws a sheet at x, y.
func (d *pdfDoc) place(s *sheet, x, y float64) {
	s.draw(&pdfPen{to: d.Fpdf, at: spot{x, y}, n: &d.pictures})
}

// sectionOf returns the site's drawing, or nil where there is nothing to draw.
func (d *pdfDoc) sectionOf(s *measure.SiteResult, w window) *sheet {
	p := d.c.section(s.ID)
	if p == nil && s.Err != "" {
		return nil
	}
	return sectionSheet(d.c.Result, s, p, w, halfWidth)
}
