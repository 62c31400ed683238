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

	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
)

// markColumns are the columns of marks.csv, in order: those of the contract, then what a class needs.
var markColumns = []string{
	"reader", "item", "quantity", "at_mm", "value", "truth", "error", "frame_error", "edge_error", "certainty", "mark", "note",
	"unit", "tolerance", "sitting", "kind", "level", "ample", "site", "line_lean_deg", "unsafe", "why",
}

// WriteCSV writes marks.csv: one reading a row, in the order read.
func (m *Marks) WriteCSV(w io.Writer) error { return WriteMarks(w, []*Marks{m}) }

// WriteMarks writes the marks of several readers as one marks.csv, as [ReadMarks] reads it.
func WriteMarks(w io.Writer, all []*Marks) error {
	rows := [][]string{markColumns}
	for _, m := range all {
		for i := range m.List {
			rows = append(rows, m.List[i].cells())
		}
	}
	return cells.Write(w, rows)
}

func (k *Mark) cells() []string {
	e, certainty := "", ""
	if k.Value != nil {
		e = cells.Number(k.Error)
	}
	if k.Certainty != 0 {
		certainty = strconv.Itoa(k.Certainty)
	}
	return []string{
		cells.Text(k.Reader), k.Item, string(k.Question.Quantity), k.Question.at(), cells.Optional(k.Value), cells.Number(k.Truth), e,
		cells.Optional(k.Frame), cells.Optional(k.Edge), certainty, string(k.Verdict), cells.Text(k.Note),
		k.Unit, cells.Number(k.Tolerance), strconv.Itoa(k.Sitting), k.Kind, string(k.Level), yes(k.Ample), k.Site, cells.Optional(k.Lean), yes(k.Unsafe), cells.Text(k.Why),
	}
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

// ReadMarks reads what [Marks.WriteCSV] wrote, of one reader or several, one [Marks] a reader in the order of
// their codes. Its errors wrap [ErrOptions] and name row and column.
func ReadMarks(r io.Reader, rules Rules) ([]*Marks, error) {
	c := csv.NewReader(r)
	head, err := c.Read()
	if err != nil || !slices.Equal(head, markColumns) {
		return nil, fmt.Errorf("%w: row 1: this is no marks.csv of practice mark: its first row is %s", ErrOptions, strings.Join(markColumns[:12], ","))
	}
	by := map[string]*Marks{}
	var codes []string
	for {
		cells, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%w: this is no CSV: %v", ErrOptions, err)
		}
		row, _ := c.FieldPos(0)
		k, err := markOf(cells)
		if err != nil {
			return nil, fmt.Errorf("%w: row %d: %w", ErrOptions, row, err)
		}
		if by[k.Reader] == nil {
			by[k.Reader] = &Marks{Reader: k.Reader, Rules: rules}
			codes = append(codes, k.Reader)
		}
		by[k.Reader].List = append(by[k.Reader].List, k)
	}
	slices.Sort(codes)
	out := make([]*Marks, len(codes))
	for i, code := range codes {
		out[i] = by[code]
	}
	return out, nil
}

// cellReader reads the cells of one row and keeps the first fault.
type cellReader struct {
	cells []string
	fault error
}

func (c *cellReader) text(name string) string {
	return strings.TrimPrefix(c.cells[slices.Index(markColumns, name)], "'")
}

func (c *cellReader) optional(name string) *float64 {
	text := c.text(name)
	if text == "" {
		return nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
		if c.fault == nil {
			c.fault = fmt.Errorf("%s: %q is no number", name, text)
		}
		return nil
	}
	return &x
}

func (c *cellReader) number(name string) float64 {
	x := c.optional(name)
	if x == nil {
		return 0
	}
	return *x
}

func markOf(cells []string) (Mark, error) {
	c := &cellReader{cells: cells}
	k := Mark{
		Reader: c.text("reader"), Item: c.text("item"), Question: Question{Quantity: quantity.Name(c.text("quantity")), At: c.number("at_mm")},
		Unit: c.text("unit"), Value: c.optional("value"), Truth: c.number("truth"), Error: c.number("error"),
		Frame: c.optional("frame_error"), Edge: c.optional("edge_error"), Lean: c.optional("line_lean_deg"), Tolerance: c.number("tolerance"),
		Certainty: int(c.number("certainty")), Sitting: int(c.number("sitting")), Verdict: Verdict(c.text("mark")), Unsafe: c.text("unsafe") == "yes",
		Kind: c.text("kind"), Level: Level(c.text("level")), Ample: c.text("ample") == "yes", Site: c.text("site"), Note: c.text("note"), Why: c.text("why"),
	}
	_, asked := measurands[k.Question.Quantity]
	switch {
	case c.fault != nil:
	case k.Reader == "":
		c.fault = errors.New("reader: no code")
	case !asked || k.Question.Unit() != k.Unit:
		c.fault = fmt.Errorf("quantity: %q in %q is asked on no sheet", k.Question.Quantity, k.Unit)
	case k.Certainty < 0 || k.Certainty > 3:
		c.fault = fmt.Errorf("certainty: %d is none of 1, 2, 3", k.Certainty)
	case k.Value != nil && !slices.Contains([]Verdict{Within, CannotTell, Outside, Blundered}, k.Verdict):
		c.fault = fmt.Errorf("mark: %q is none of within, cannot tell, outside, blunder", k.Verdict)
	}
	return k, c.fault
}
