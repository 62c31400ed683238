package repeat

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// parser turns rows into readings and gathers the faults on the way.
type parser struct {
	columns          Columns
	subject          []int
	rater, replicate int // −1 where not asked for
	value, unit      int
	cluster          int // −1 where there is none
	reference        int // −1 where there is none
	where            []int
	conditions       []Condition
	skip             bool

	table  Table
	seen   map[[3]string]int  // line of each reading
	truths map[string]Reading // the reference of each subject
	faults []error
}

func newParser(head []string, c Columns, o Options) (*parser, error) {
	p := &parser{columns: c, conditions: o.Where, skip: o.SkipMissing, seen: map[[3]string]int{}}
	p.table.Value, p.table.Unit = c.Value, o.Unit
	if c.Reference != "" && c.Rater == "" {
		return nil, &TableError{Reason: "a reference is held against raters: name the column of the rater"}
	}
	if len(c.Subject) == 0 || c.Value == "" || (c.Rater == "" && c.Replicate == "") {
		return nil, &TableError{Reason: "name the columns of subject and value, and of rater or replicate"}
	}
	for i := range head {
		head[i] = strings.TrimSpace(head[i])
	}
	find := func(name string) int {
		i, err := column(head, name)
		if err != nil {
			p.faults = append(p.faults, err)
		}
		return i
	}
	for _, name := range c.Subject {
		p.subject = append(p.subject, find(name))
	}
	p.rater, p.replicate, p.unit, p.cluster, p.reference = -1, -1, -1, -1, -1
	if c.Reference != "" {
		p.reference, p.table.Reference, p.truths = find(c.Reference), c.Reference, map[string]Reading{}
	}
	if c.Rater != "" {
		p.rater = find(c.Rater)
	}
	if c.Replicate != "" {
		p.replicate = find(c.Replicate)
	}
	p.value, p.table.Cluster = find(c.Value), c.clusterOf()
	if p.table.Cluster != "" {
		p.cluster = find(p.table.Cluster)
	}
	for _, w := range o.Where {
		p.where = append(p.where, find(w.Column))
	}
	p.findUnit(head, find)
	return p, errors.Join(p.faults...)
}

// clusterOf is the column of the clusters; "" for none.
func (c Columns) clusterOf() string {
	switch {
	case c.Cluster != "" || len(c.Subject) < 2:
		return c.Cluster
	case slices.Contains(c.Subject, "case"):
		return "case"
	}
	return c.Subject[0]
}

// findUnit settles where the unit comes from: the caller, a column, or the name of the value. Two of them
// that may differ are refused: nothing is converted.
func (p *parser) findUnit(head []string, find func(string) int) {
	given, named := p.table.Unit, ""
	for _, u := range []string{"mm", "deg"} {
		if strings.HasSuffix(p.columns.Value, "_"+u) {
			named = u
		}
	}
	if p.columns.Unit == "" && slices.Contains(head, "unit") {
		p.columns.Unit = "unit"
	}
	switch {
	case given != "" && p.columns.Unit != "":
		p.fault(1, p.columns.Unit, fmt.Sprintf("the table says the unit of each reading itself, and %q was given: leave it out, or convert the readings and remove the column", given))
	case given != "" && named != "" && given != named:
		p.fault(1, p.columns.Value, fmt.Sprintf("its name says %q, and %q was given: leave it out, or rename the column", named, given))
	case p.columns.Unit != "":
		p.unit, p.table.Unit = find(p.columns.Unit), named
	case given == "":
		p.table.Unit = named
	}
}

// column is the place of a name in the head of the table.
func column(head []string, name string) (int, error) {
	i := slices.Index(head, name)
	if i < 0 {
		reason := fmt.Sprintf("not in the table, which has %s", strings.Join(head, ", "))
		if len(head) == 1 && strings.ContainsAny(head[0], ";\t") {
			reason = "not in the table, whose columns are not divided by commas: save it as CSV with commas and a decimal point"
		}
		return -1, &TableError{Line: 1, Column: name, Reason: reason}
	}
	if slices.Contains(head[i+1:], name) {
		return -1, &TableError{Line: 1, Column: name, Reason: "in the table twice: rename one"}
	}
	return i, nil
}

// add takes one row, or leaves it out where a condition fails.
func (p *parser) add(row []string, line int) {
	for i, at := range p.where {
		if strings.TrimSpace(row[at]) != p.conditions[i].Value {
			return
		}
	}
	before := len(p.faults)
	r := Reading{Line: line}
	parts := make([]string, len(p.subject))
	for i, at := range p.subject {
		parts[i] = p.label(row, at, p.columns.Subject[i], line)
	}
	r.Subject = strings.Join(parts, joint)
	if p.rater >= 0 {
		r.Rater = p.label(row, p.rater, p.columns.Rater, line)
	}
	if p.replicate >= 0 {
		r.Replicate = p.label(row, p.replicate, p.columns.Replicate, line)
	}
	if p.cluster >= 0 {
		r.Cluster = p.label(row, p.cluster, p.table.Cluster, line)
	}
	text := strings.TrimSpace(row[p.value])
	if text == "" && p.skip {
		p.table.Skipped++
		return
	}
	p.checkUnit(row, line)
	v, reason := number(text)
	if reason != "" {
		p.fault(line, p.columns.Value, reason)
	}
	r.Value = v
	if p.reference >= 0 {
		p.truth(row[p.reference], r)
	}
	if len(p.faults) == before && p.first(r) {
		p.table.Readings = append(p.table.Readings, r)
	}
}

// first reports whether the reading is the first of its kind, and faults it otherwise.
func (p *parser) first(r Reading) bool {
	key := [3]string{r.Subject, r.Rater, r.Replicate}
	if line, twice := p.seen[key]; twice {
		remedy := "keep one, name what else tells subjects or quantities apart, or name a replicate column"
		if p.replicate >= 0 {
			remedy = "keep one, or number the replicates apart"
		}
		p.fault(r.Line, p.columns.Value, fmt.Sprintf("a second reading of the same subject by the same rater (the first is on line %d): %s", line, remedy))
		return false
	}
	p.seen[key] = r.Line
	return true
}

// label is a cell that must not be empty.
func (p *parser) label(row []string, at int, name string, line int) string {
	s := strings.TrimSpace(row[at])
	if s == "" {
		p.fault(line, name, "empty: every reading needs it")
	}
	return s
}

// checkUnit holds the row's unit against the first one met.
func (p *parser) checkUnit(row []string, line int) {
	if p.unit < 0 {
		return
	}
	u := strings.TrimSpace(row[p.unit])
	if p.table.Unit == "" {
		p.table.Unit = u
	}
	if u == "" || u != p.table.Unit {
		p.fault(line, p.columns.Unit, fmt.Sprintf("unit %q, but the rows before or the name of the value say %q: choose the rows of one quantity", u, p.table.Unit))
	}
}

func (p *parser) fault(line int, column, reason string) {
	p.faults = append(p.faults, &TableError{Line: line, Column: column, Reason: reason})
}

func (p *parser) finish() (*Table, error) {
	if len(p.faults) > 0 {
		return nil, errors.Join(p.faults...)
	}
	p.addTruths()
	if len(p.table.Readings) == 0 {
		return nil, &TableError{Reason: "no reading left: the table has no rows, or no row meets the conditions"}
	}
	return &p.table, nil
}

// number reads a plain decimal number, or says why it is not one. NaN, Inf, hexadecimal and the
// decimal comma are refused.
func number(s string) (v float64, reason string) {
	if s == "" {
		return 0, "no reading: fill it, or leave such rows out on purpose"
	}
	v, err := strconv.ParseFloat(s, 64)
	switch {
	case strings.Contains(s, ","):
		return 0, fmt.Sprintf("%q is not a number: write the decimal point as .", s)
	case strings.Trim(s, "0123456789+-.eE") != "" || errors.Is(err, strconv.ErrSyntax):
		return 0, fmt.Sprintf("%q is not a number", s)
	case math.Abs(v) > largest:
		return 0, fmt.Sprintf("%q is past any measurement", s)
	}
	return v, ""
}
