package practice

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
)

// Reading is one answer of a reader.
type Reading struct {
	Item      string
	Question  Question // without To
	Value     *float64 // mm or degrees; nil: not answered
	Certainty int      // 1 unsure, 2, 3 sure; 0: not said
	Line      *Line    // the reader's own line; nil: not given
	Seconds   *float64 // that the reading took, s; nil: not known
	Row       int      // in its file, from 1; 0: none

	Unreadable bool // the reader says that it cannot be read; Value is nil then
}

// Empty reports whether nothing was answered.
func (r Reading) Empty() bool {
	return r.Value == nil && r.Line == nil && !r.Unreadable
}

// Line is a reader's own line. On the sheet a point has u and v alone, in X and Y; else it is of the patient,
// LPS. mm.
type Line struct {
	A, B    r3.Vec
	OnSheet bool
}

// readingColumns are the columns of readings.csv, in order.
var readingColumns = []string{"item", "quantity", "at_mm", "value", "certainty", "ax", "ay", "az", "bx", "by", "bz"}

// WriteForm writes readings.csv to be filled: what is asked, and empty cells.
func WriteForm(w io.Writer, sheets []Sheet) error {
	list := make([]Reading, len(sheets))
	for i, s := range sheets {
		list[i] = Reading{Item: s.Item, Question: s.Question}
	}
	return WriteReadings(w, list)
}

// WriteReadings writes readings as [ReadReadings] reads them.
func WriteReadings(w io.Writer, list []Reading) error {
	rows := [][]string{readingColumns}
	for _, r := range list {
		rows = append(rows, r.cells())
	}
	return cells.Write(w, rows)
}

func number(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// ReadingError is one fault of a file of readings, and where it is.
type ReadingError struct {
	Row    int // from 1; 0: of the whole file
	Column string
	Reason string
}

// Error says where the fault is and how to mend it.
func (e *ReadingError) Error() string {
	place := ""
	if e.Row > 0 {
		place = fmt.Sprintf("row %d: ", e.Row)
	}
	if e.Column != "" {
		place += e.Column + ": "
	}
	return place + e.Reason
}

// mostReadingErrors is how many faults of one file are told.
const mostReadingErrors = 20

// ReadReadings reads readings.csv: comma, or where the first row has none semicolon or tab, between cells; a decimal
// point, or a comma where no comma parts the cells; a BOM is taken off. Further columns are left alone.
//
// Every fault is a [*ReadingError], joined, at most 20 of them: a column that is missing or there twice, a value
// that is no number, a certainty other than 1, 2, 3, a line of which only some of the ends are given, an answer
// given twice.
func ReadReadings(r io.Reader) ([]Reading, error) {
	data, err := io.ReadAll(io.LimitReader(r, 64<<20))
	if err != nil {
		return nil, err
	}
	text := strings.TrimPrefix(string(data), bom)
	c := csv.NewReader(strings.NewReader(text))
	c.FieldsPerRecord, c.Comma = -1, delimiter(text)
	p := &readingParser{comma: c.Comma == ','}
	head, err := c.Read()
	if err != nil {
		return nil, &ReadingError{Reason: "no first row with the names of the columns: " + strings.Join(readingColumns[:5], ",")}
	}
	if !p.columns(head) {
		return nil, errors.Join(p.faults...)
	}
	var out []Reading
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			p.fault(0, "", "this is no CSV: "+err.Error())
			break
		}
		p.row, _ = c.FieldPos(0)
		if one, ok := p.reading(row); ok {
			out = append(out, one)
		}
	}
	p.doubles(out)
	if len(p.faults) > 0 {
		return nil, errors.Join(p.faults...)
	}
	return out, nil
}

// readingParser reads rows, and remembers what is wrong with them.
type readingParser struct {
	at     map[string]int
	row    int
	comma  bool // between cells, so that a decimal comma is none
	faults []error
}

func (p *readingParser) fault(row int, column, reason string) {
	if len(p.faults) < mostReadingErrors {
		p.faults = append(p.faults, &ReadingError{row, column, reason})
	}
}

// columns finds the columns by name; the ends of a line may be missing.
func (p *readingParser) columns(head []string) bool {
	p.at = map[string]int{}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(name))
		if _, twice := p.at[name]; twice && slices.Contains(readingColumns, name) {
			p.fault(1, name, "this column is there twice; take one out")
		}
		p.at[name] = i
	}
	if !slices.ContainsFunc(readingColumns, func(name string) bool { _, known := p.at[name]; return known }) {
		p.fault(1, "", fmt.Sprintf("%.40q names no column; the first row is %s, parted by commas, semicolons or tabs: save the table as such a file (CSV, UTF-8)", strings.Join(head, ","), strings.Join(readingColumns, ",")))
		return false
	}
	for _, need := range readingColumns[:4] {
		if _, known := p.at[need]; !known {
			p.fault(1, need, "no such column; the first row is "+strings.Join(readingColumns, ","))
		}
	}
	return len(p.faults) == 0
}

func (p *readingParser) cell(row []string, name string) string {
	i, known := p.at[name]
	if !known || i >= len(row) {
		return ""
	}
	return strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(row[i]), "'"))
}

// number reads a cell; ok is false where it is empty or wrong.
func (p *readingParser) number(row []string, name string) (x float64, ok bool) {
	text := p.cell(row, name)
	if text == "" {
		return 0, false
	}
	if !p.comma {
		text = strings.ReplaceAll(text, ",", ".")
	}
	x, err := strconv.ParseFloat(strings.ReplaceAll(text, "−", "-"), 64)
	if err != nil || math.IsNaN(x) || math.Abs(x) > 1e4 {
		p.fault(p.row, name, fmt.Sprintf("%q is no number of mm or degrees; write it as 12.3", text))
		return 0, false
	}
	return x, true
}

// reading reads one row; a row without any cell is none.
func (p *readingParser) reading(row []string) (Reading, bool) {
	r := Reading{Item: p.cell(row, "item"), Row: p.row}
	r.Question.Quantity = quantity.Name(p.cell(row, "quantity"))
	if strings.TrimSpace(strings.Join(row, "")) == "" {
		return r, false
	}
	if r.Item == "" {
		p.fault(p.row, "item", "no item; each row names one, as the sheet does")
	}
	if _, known := measurands[r.Question.Quantity]; !known {
		p.fault(p.row, "quantity", fmt.Sprintf("%q is not asked on any sheet; leave this column as it was", r.Question.Quantity))
	}
	r.Question.At, _ = p.number(row, "at_mm")
	if r.Unreadable = strings.EqualFold(p.cell(row, "value"), unreadable); !r.Unreadable {
		if x, ok := p.number(row, "value"); ok {
			r.Value = &x
		}
	}
	r.Seconds = p.seconds(row)
	if text := p.cell(row, "certainty"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 3 {
			p.fault(p.row, "certainty", fmt.Sprintf("%q is none of 1 (unsure), 2, 3 (sure)", text))
			n = 0
		}
		r.Certainty = n
	}
	r.Line = p.line(row)
	return r, true
}

// line reads the ends of a reader's own line: none, or four numbers on the sheet, or six of the patient.
func (p *readingParser) line(row []string) *Line {
	var x [6]float64
	var there [6]bool
	for i := range x {
		x[i], there[i] = p.number(row, readingColumns[5+i])
	}
	flat := [6]bool{true, true, false, true, true, false}
	switch there {
	case [6]bool{}:
		return nil
	case flat, [6]bool{true, true, true, true, true, true}:
		return &Line{r3.Vec{X: x[0], Y: x[1], Z: x[2]}, r3.Vec{X: x[3], Y: x[4], Z: x[5]}, there == flat}
	}
	p.fault(p.row, "ax", "a line has two ends: give ax, ay, bx, by as read on the sheet's rulers, or all six of the patient, or none")
	return nil
}

// doubles finds answers that are given twice.
func (p *readingParser) doubles(list []Reading) {
	type answer struct {
		item, quantity string
		at             float64
	}
	first := map[answer]int{}
	for _, r := range list {
		key := answer{r.Item, string(r.Question.Quantity), r.Question.At}
		if row, twice := first[key]; twice {
			p.fault(r.Row, "item", fmt.Sprintf("%s is answered in row %d already; a second sitting is a file of its own", r.Item, row))
			continue
		}
		first[key] = r.Row
	}
}
