package report

import (
	"fmt"
	"html/template"
	"io"
	"strings"
	"sync"
	"time"

	_ "embed"

	"codeberg.org/go-pdf/fpdf"

	"ridgerule/measure/practice"
	"ridgerule/measure/quantity"
)

//go:embed practice.tmpl
var practiceText string

//go:embed practice.css
var practiceStyle string

var practicePages = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("practice").Parse(practiceText))
})

// practicePage is what every page of practice has: its letters, and the policy that allows exactly them.
type practicePage struct {
	Style  template.CSS
	Policy string
	Title  string
	Foot   string
}

// Reviewer says on the first screen who must look at a page about a patient.
func (practicePage) Reviewer() string { return shortCaution }

// newPracticePage returns the page with its style, and what is added to that.
func newPracticePage(title string, more ...string) (practicePage, error) {
	css, err := style()
	if err != nil {
		return practicePage{}, err
	}
	css = strings.Join(append([]string{css, practiceStyle}, more...), "\n")
	return practicePage{template.CSS(css), policy(css), title, practiceFoot}, nil
}

// worksheetScale is how much larger than life a section stands on a worksheet: as much as two on a page leave room for.
func worksheetScale(s practice.Sheet) float64 {
	for _, scale := range []float64{3, 2.5, 2} {
		if s.Width*scale <= 80 && s.Height*scale <= 90 {
			return scale
		}
	}
	return 1.5
}

// worksheetWords are what a worksheet says around its items.
type worksheetWords struct {
	title, foot string
	lines       []string
	own         bool // each picture has a range of grey values of its own, not all pictures one
}

const (
	practiceFoot   = "Synthetic sections, invented anatomy: they teach measuring, not diagnosis. Nothing here says that a reader may plan or treat."
	sittingFoot    = "Sections to be read for a study, their cases unnamed. Not a finding, and not a plan for a patient."
	worksheetTitle = "Practice worksheet"
	worksheetFirst = "Measure each section with your own eye and hand. Answer first, with how sure you are; the truth comes after."
	worksheetUnit  = "The rulers count millimetres in the jaw."
	worksheetHow   = "On paper: mark the length on the edge of a strip of paper and lay the strip along the sheet's own ruler; a ruler of yours reads larger by the sheet's scale, if it was printed at 100 %. On the screen: read both ends on the rulers and write them down; the length follows."
	worksheetLine  = "If you like, also read where your line begins and ends: across and up (in an upper jaw: down) on the rulers. Then your marks can tell a line laid wrongly from an edge read wrongly."
	worksheetFill  = "Write into readings.csv: value, to 0.1 mm or 1°; certainty 1 unsure, 2, 3 sure; the line's ends as ax, ay and bx, by (az and bz stay empty). With both ends the value may stay empty: your line is the answer then."
)

const (
	sittingFirst = "Read each section with your own eye and hand, in the order of the sheets, one after the other. Do not go back: a site may come twice."
	sittingFill  = "Write into answers.csv: value, to 0.1 mm or 1°, or x where it cannot be read; certainty 1 unsure, 2, 3 sure; start and stop of each reading, as 14:05:30, if you time it; the line's ends as ax, ay and bx, by, if you give them: then the value may stay empty."
)

type worksheetItem struct {
	Number         int
	Name, Place    string
	Ask, How, Unit string
	Way            string // in which the sheet's second ruler counts
	Drawing        template.HTML
}

// itemOf puts a sheet into words.
func itemOf(i int, s practice.Sheet) worksheetItem {
	ask, how := s.Question.Words(s.Jaw)
	return worksheetItem{Number: i + 1, Name: s.Item, Place: fmt.Sprintf("tooth %d, %v", s.Tooth, s.Jaw), Ask: ask, How: how, Unit: unitWord(s.Question.Unit()), Way: s.Way()}
}

// Worksheet writes the items as one self-contained page to print or to look at: bare sections, rulers, questions. It
// returns an error where a picture's numbers do not fit together.
func Worksheet(w io.Writer, items []PracticeItem) error {
	return practiceWords().page(w, items)
}

// SittingSheet is [Worksheet] for a reader of a study: real or synthetic sections, each in its own range of grey values.
func SittingSheet(w io.Writer, reader string, items []PracticeItem) error {
	return sittingWords(reader).page(w, items)
}

func practiceWords() worksheetWords {
	return worksheetWords{worksheetTitle, practiceFoot, []string{worksheetFirst, practice.AxisWords, worksheetUnit, worksheetHow, worksheetLine, worksheetFill}, false}
}

func sittingWords(reader string) worksheetWords {
	return worksheetWords{"Reading sheet of " + reader, sittingFoot, []string{sittingFirst, practice.AxisWords, worksheetUnit, worksheetHow, sittingFill}, true}
}

// window returns the range of grey values of one item among all.
func (t worksheetWords) window(all window, it PracticeItem) window {
	if t.own {
		return practiceWindow([]PracticeItem{it})
	}
	return all
}

func (t worksheetWords) page(w io.Writer, items []PracticeItem) error {
	head, err := newPracticePage(t.title)
	if err != nil {
		return err
	}
	head.Foot = t.foot
	grey := practiceWindow(items)
	page := struct {
		practicePage
		Lines []string
		Items []worksheetItem
	}{head, t.lines, nil}
	for i, it := range items {
		drawing, err := practiceSheet(it.Sheet, it.Picture, t.window(grey, it), worksheetScale(it.Sheet), nil)
		if err != nil {
			return err
		}
		text, err := drawing.SVG()
		if err != nil {
			return err
		}
		one := itemOf(i, it.Sheet)
		one.Drawing = template.HTML(text)
		page.Items = append(page.Items, one)
	}
	return practicePages().ExecuteTemplate(w, "worksheet", page)
}

// WorksheetPDF writes the same on paper, two items a page. An empty paper is A4.
func WorksheetPDF(w io.Writer, items []PracticeItem, paper Paper, made time.Time) error {
	return practiceWords().pdf(w, items, paper, made)
}

// SittingPDF is [WorksheetPDF] for a reader of a study.
func SittingPDF(w io.Writer, reader string, items []PracticeItem, paper Paper, made time.Time) error {
	return sittingWords(reader).pdf(w, items, paper, made)
}

func (t worksheetWords) pdf(w io.Writer, items []PracticeItem, paper Paper, made time.Time) error {
	d, err := newWorksheet(t, paper, made)
	if err != nil {
		return err
	}
	grey := practiceWindow(items)
	d.AddPage()
	d.text(pdfMargin, 24, 8, bold, black, t.title)
	y := 32.0
	for _, line := range t.lines {
		y = d.paragraph(pdfMargin, y, d.room(), pdfLead, regular, line) + 2.5
	}
	d.contents(y+4, items)
	for i, it := range items {
		drawing, err := practiceSheet(it.Sheet, it.Picture, t.window(grey, it), worksheetScale(it.Sheet), nil)
		if err != nil {
			return err
		}
		if i%2 == 0 {
			d.AddPage()
		}
		d.item(pdfMargin+float64(i%2)*128, drawing, itemOf(i, it.Sheet))
	}
	return d.Output(w)
}

// worksheet is a PDF of items in the making.
type worksheet struct {
	*fpdf.Fpdf
	pictures map[int]bool // widths of the document's pictures, pixels
}

func newWorksheet(t worksheetWords, paper Paper, made time.Time) (*worksheet, error) {
	if paper == "" {
		paper = A4
	}
	d := &worksheet{Fpdf: fpdf.New("P", "mm", string(paper), ""), pictures: map[int]bool{}}
	for cut, style := range pdfStyles {
		d.AddUTF8FontFromBytes(pdfFamily, style, typefaces[cut])
	}
	d.SetCreationDate(made.UTC())
	d.SetModificationDate(made.UTC())
	d.SetCatalogSort(true)
	d.SetTitle(t.title, true)
	d.SetAutoPageBreak(false, 0)
	d.SetFooterFunc(func() {
		_, h := d.GetPageSize()
		d.text(pdfMargin, h-8, pdfTables, regular, soft, t.foot)
		d.pen(spot{}).write(label{At: spot{pdfMargin + d.room(), h - 8}, Text: fmt.Sprintf("page %d", d.PageNo()), Size: pdfTables, Ink: soft, Anchor: end})
	})
	return d, d.Error()
}

func (d *worksheet) room() float64 { w, _ := d.GetPageSize(); return w - 2*pdfMargin }

func (d *worksheet) pen(at spot) *pdfPen { return &pdfPen{to: d.Fpdf, at: at, by: d.pictures} }

func (d *worksheet) text(x, y, size float64, cut weight, colour ink, text string) {
	d.pen(spot{}).write(label{At: spot{x, y}, Text: text, Size: size, Weight: cut, Ink: colour})
}

// paragraph writes wrapped text below y and returns its last base line.
func (d *worksheet) paragraph(x, y, wide, size float64, cut weight, text string) float64 {
	for _, line := range wrapped(text, size, cut, wide) {
		y += size * 1.35
		d.text(x, y, size, cut, black, line)
	}
	return y
}

// questionName names what is asked in short: "ridge width at 3 mm".
func questionName(q practice.Question) string {
	name := quantity.InWords(q.Quantity)
	if q.At > 0 {
		name += " at " + plain(q.At) + " mm"
	}
	return name
}

// contents lists the items with blanks for the answers and the grades of certainty to ring, as readings.csv has them.
func (d *worksheet) contents(y float64, items []PracticeItem) {
	const high, columns = 6.5, 2
	wide := (d.room() - pdfGap) / columns
	_, tall := d.GetPageSize()
	rows := int((tall - pdfMargin - y) / high)
	for i, it := range items {
		if i >= rows*columns {
			break
		}
		x, at := pdfMargin+float64(i/rows)*(wide+pdfGap), y+high*float64(i%rows+1)
		d.text(x, at, pdfBody, bold, black, it.Sheet.Item)
		d.text(x+18, at, pdfTables, regular, soft, questionName(it.Sheet.Question))
		d.pen(spot{}).line(stroke{Points: []spot{{x + 48, at + 0.8}, {x + 64, at + 0.8}}, Width: 0.2, Ink: black})
		d.text(x+65, at, pdfTables, regular, black, unitWord(it.Sheet.Question.Unit()))
		d.text(x+72, at, pdfTables, regular, soft, "1  2  3")
	}
}

// item draws one item with its upper edge at y.
func (d *worksheet) item(y float64, drawing *sheet, it worksheetItem) {
	drawing.draw(d.pen(spot{pdfMargin - 4, y + 8}))
	x := pdfMargin + drawing.Width - 2
	wide := d.room() - drawing.Width + 2
	d.pen(spot{}).line(stroke{Points: []spot{{pdfMargin, y}, {pdfMargin + d.room(), y}}, Width: 0.4, Ink: black})
	d.text(pdfMargin, y+6, 5.5, bold, black, it.Name)
	d.text(pdfMargin+34, y+6, pdfBody, regular, soft, fmt.Sprintf("item %d · %s · scale %s : 1", it.Number, it.Place, plain(drawing.Scale)))
	at := d.paragraph(x, y+11, wide, pdfLead, bold, it.Ask)
	at = d.paragraph(x, at+1.5, wide, pdfBody, regular, it.How) + 12
	field := func(x, y, wide float64, before, after string) {
		d.text(x, y, pdfBody, regular, black, before)
		from := x + textWidth(before, pdfBody, regular) + 1.5
		d.pen(spot{}).line(stroke{Points: []spot{{from, y + 1}, {from + wide, y + 1}}, Width: 0.3, Ink: black})
		d.text(from+wide+1.5, y, pdfBody, regular, black, after)
	}
	field(x, at, 26, "value", it.Unit)
	d.text(x, at+11, pdfBody, regular, black, "certainty")
	for i, grade := range strings.Fields("1 2 3") {
		left := x + 16 + 14*float64(i)
		d.pen(spot{}).line(stroke{Points: box(spot{left, at + 8}, 3.6, 3.6), Closed: true, Width: 0.3, Ink: black})
		d.text(left+4.8, at+11, pdfBody, regular, black, grade)
	}
	field(x, at+22, 14, "from: across", "")
	field(x+39, at+22, 14, "up", "")
	field(x, at+31, 14, "to: across", "")
	field(x+39, at+31, 14, "up", "")
	d.text(x, at+36, pdfTables, italic, soft, "your line on the rulers, if you like")
}
