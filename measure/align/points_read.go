package align

import (
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrTable is the fault of a table of positions that cannot be read.
var ErrTable = errors.New("align: no table of positions")

// RowError is one thing wrong with a table of positions, and where. It is an [ErrTable].
type RowError struct {
	Line   int    // from 1; 0: the whole table
	Column string // "": the whole row
	Reason string
}

func (e *RowError) Error() string {
	where := ""
	if e.Line > 0 {
		where = fmt.Sprintf("line %d: ", e.Line)
	}
	if e.Column != "" {
		where += "column " + strconv.Quote(e.Column) + ": "
	}
	return where + e.Reason
}

func (e *RowError) Unwrap() error { return ErrTable }

// positionColumns are those that a table of positions must have.
var positionColumns = []string{"implant", "x", "y", "z", "ax", "ay", "az"}

const (
	mostPositions = 64  // a jaw has 16 teeth; more is another table
	farthest      = 1e4 // mm: a coordinate beyond is in another unit
	mostFaults    = 20  // named at once
	largestTable  = 1 << 20
)

// ReadPositions reads a table of positions (CSV, comma, decimal point): implant, x, y, z of the platform's centre in mm,
// ax, ay, az of the axis to the apex in any length; optionally u_mm, u_deg (standard uncertainties, see [Position]) and
// source. Further columns are passed over. Every fault is a [*RowError], joined, 20 of them at most; a source that says
// CT is an [ErrSource].
func ReadPositions(r io.Reader) (*Set, error) {
	data, err := io.ReadAll(io.LimitReader(r, largestTable+1))
	if err != nil {
		return nil, err
	}
	if len(data) > largestTable {
		return nil, &RowError{Reason: "larger than 1 MB: it is no table of positions"}
	}
	sum := sha256.Sum256(data)
	t := positionTable{set: &Set{SHA256: hex.EncodeToString(sum[:])}}
	rows := csv.NewReader(bufio.NewReader(bytes.NewReader(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))))
	rows.FieldsPerRecord = -1
	if err := t.read(rows); err != nil {
		return nil, err
	}
	return t.set, nil
}

type positionTable struct {
	set    *Set
	at     map[string]int // column of each name
	faults []error
}

func (t *positionTable) fault(line int, column, format string, args ...any) {
	if len(t.faults) < mostFaults {
		t.faults = append(t.faults, &RowError{line, column, fmt.Sprintf(format, args...)})
	}
}

func (t *positionTable) read(rows *csv.Reader) error {
	head, err := rows.Read()
	if err != nil {
		return &RowError{Reason: "no first row with the names of the columns: " + strings.Join(positionColumns, ",")}
	}
	if err := t.head(head); err != nil {
		return err
	}
	for {
		cells, err := rows.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var syntax *csv.ParseError
		if errors.As(err, &syntax) {
			t.fault(syntax.Line, "", "no CSV row: %v", syntax.Err)
			break
		} else if err != nil {
			return err
		}
		line, _ := rows.FieldPos(0)
		t.row(cells, line, len(head))
	}
	if n := len(t.set.Positions); len(t.faults) == 0 && (n == 0 || n > mostPositions) {
		t.fault(0, "", "%d implants; a table of positions has 1 to %d", n, mostPositions)
	}
	return errors.Join(t.faults...)
}

// head finds the columns. A table of what was placed, as a comparison of two scans leaves it, is known and refused.
func (t *positionTable) head(names []string) error {
	t.at = map[string]int{}
	for i, n := range names {
		n = strings.TrimSpace(n)
		if _, twice := t.at[n]; twice && n != "" {
			t.fault(1, n, "in the table twice: rename one")
		}
		t.at[n] = i
	}
	has := func(n string) bool { _, ok := t.at[n]; return ok }
	if has("quantity") && has("value") && (has("site") || has("implant")) {
		return fmt.Errorf("%w: this is a table of measurements (columns quantity, value), not of positions; what was placed, as measured in a second CT, "+
			"is no data for a fit: record the positions with an intra-oral or a desktop scan, or by photogrammetry", ErrSource)
	}
	for _, n := range positionColumns {
		if !has(n) {
			reason := fmt.Sprintf("not in the table, which needs %s", strings.Join(positionColumns, ","))
			if len(names) == 1 && strings.ContainsAny(names[0], ";\t") {
				reason = "not in the table, whose columns are not divided by commas: save it as CSV with commas and a decimal point"
			}
			t.fault(1, n, "%s", reason)
		}
	}
	return errors.Join(t.faults...)
}

func (t *positionTable) row(cells []string, line, want int) {
	if len(cells) != want {
		t.fault(line, "", "%d cells where the first row has %d", len(cells), want)
		return
	}
	before := len(t.faults)
	p := Position{Name: t.text(cells, "implant"),
		At:   r3.Vec{X: t.number(cells, line, "x"), Y: t.number(cells, line, "y"), Z: t.number(cells, line, "z")},
		Axis: r3.Vec{X: t.number(cells, line, "ax"), Y: t.number(cells, line, "ay"), Z: t.number(cells, line, "az")},
		U:    t.std(cells, line, "u_mm", 5), UAxis: t.std(cells, line, "u_deg", 45)}
	if source := t.text(cells, "source"); source != "" {
		if err := CheckSource(source); err != nil {
			t.faults = append(t.faults, fmt.Errorf("line %d: %w", line, err))
		}
		t.set.Source = source
	}
	switch n := r3.Norm(p.Axis); {
	case p.Name == "" || len(p.Name) > 40:
		t.fault(line, "implant", "%q is no name: give the tooth's number or a label of 1 to 40 letters", p.Name)
	case slices.ContainsFunc(t.set.Positions, func(q Position) bool { return q.Name == p.Name }):
		t.fault(line, "implant", "%q stands in the table twice: each implant once", p.Name)
	case len(t.faults) == before && n < 1e-6:
		t.fault(line, "ax", "the axis (%g, %g, %g) has no direction: give the vector from the platform to the apex", p.Axis.X, p.Axis.Y, p.Axis.Z)
	case len(t.faults) == before:
		p.Axis = r3.Scale(1/n, p.Axis)
		t.set.Positions = append(t.set.Positions, p)
	}
}

// text returns a cell, without the apostrophe that keeps a spreadsheet from running it; "" where there is no such column.
func (t *positionTable) text(cells []string, column string) string {
	i, ok := t.at[column]
	if !ok {
		return ""
	}
	return strings.TrimPrefix(strings.TrimSpace(cells[i]), "'")
}

func (t *positionTable) number(cells []string, line int, column string) float64 {
	text := t.text(cells, column)
	x, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil || math.IsNaN(x) || math.IsInf(x, 0):
		t.fault(line, column, "%q is no number (decimals need a point)", text)
	case math.Abs(x) > farthest:
		t.fault(line, column, "%g mm is farther than %g mm: give millimetres", x, farthest)
	}
	return x
}

// std reads a standard uncertainty of at most most; an empty cell and a missing column are not known.
func (t *positionTable) std(cells []string, line int, column string, most float64) float64 {
	text := t.text(cells, column)
	if text == "" {
		return math.NaN()
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(x >= 0 && x <= most) {
		t.fault(line, column, "%q is no standard uncertainty from 0 to %g; leave it empty where it is not known", text, most)
	}
	return x
}
