package practice

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"

	"ridgerule/measure/cells"
)

// Class is what the marks of many readers say together.
type Class struct {
	Rules     Rules
	Reference string     // the reader against whom the others are held; "": the truth
	Readers   []*Summary // by code, or by rank where that was asked
	Ranked    bool
	Sites     []Tally // by level, then by how many missed them
	Kinds     []Tally // the most missed first
	Levels    []Tally // easy, middle, hard
}

// Tally counts the readings of one site, of one kind of site or of one level.
type Tally struct {
	Name     string // item, kind or level
	Kind     string // of an item
	Level    Level  // of an item
	Question Question
	Within   Share   // |error| ≤ T
	Mean     float64 // error without blunders, in Unit; NaN where units differ or nothing is left
	Unit     string  // "": of both
	Unsafe   int
	Cause    string // the cause told most often; "": none told twice
	Causes   int    // how often
	Why      string // what misleads there
}

// ClassOptions say how a class is looked at.
type ClassOptions struct {
	Reference string // hold the others against this reader's values instead of the truth
	Rank      bool   // order the readers by their share within; else by code
}

// Classify puts the marks of many readers together; marks with one code are one reader's. Its error wraps
// [ErrOptions]: no marks, or a reference reader who is not there or has read nothing that others read.
func Classify(all []*Marks, rules Rules, o ClassOptions) (*Class, error) {
	all = pooled(all, rules)
	if len(all) == 0 {
		return nil, fmt.Errorf("%w: no marks at all; mark readings first", ErrOptions)
	}
	if o.Reference != "" {
		var err error
		if all, err = against(all, o.Reference); err != nil {
			return nil, err
		}
	}
	c := &Class{Rules: rules, Reference: o.Reference, Ranked: o.Rank}
	var marks []Mark
	for _, m := range all {
		s, err := Summarise(m)
		if err != nil {
			return nil, err
		}
		c.Readers = append(c.Readers, s)
		marks = append(marks, m.List...)
	}
	if o.Rank {
		slices.SortStableFunc(c.Readers, func(a, b *Summary) int {
			return cmp.Compare(float64(b.Share.Hits)/float64(max(1, b.Share.Of)), float64(a.Share.Hits)/float64(max(1, a.Share.Of)))
		})
	}
	c.Sites = talliesOf(marks, func(k *Mark) string { return k.Site })
	c.Kinds = talliesOf(marks, func(k *Mark) string { return k.Kind })
	c.Levels = talliesOf(marks, func(k *Mark) string { return string(k.Level) })
	order := func(l string) int { return slices.Index([]string{string(Easy), string(Middle), string(Hard)}, l) }
	slices.SortStableFunc(c.Sites, func(a, b Tally) int { return order(string(a.Level)) - order(string(b.Level)) })
	slices.SortStableFunc(c.Levels, func(a, b Tally) int { return order(a.Name) - order(b.Name) })
	return c, nil
}

// pooled joins marks of one code and sorts readers by code.
func pooled(all []*Marks, rules Rules) []*Marks {
	by := map[string]*Marks{}
	var out []*Marks
	for _, m := range all {
		if by[m.Reader] == nil {
			by[m.Reader] = &Marks{Reader: m.Reader, Rules: rules}
			out = append(out, by[m.Reader])
		}
		by[m.Reader].List = append(by[m.Reader].List, m.List...)
	}
	slices.SortFunc(out, func(a, b *Marks) int { return cmp.Compare(a.Reader, b.Reader) })
	return out
}

// against holds all others against the mean of the reference reader's values of each item.
func against(all []*Marks, code string) ([]*Marks, error) {
	i := slices.IndexFunc(all, func(m *Marks) bool { return m.Reader == code })
	if i < 0 {
		return nil, fmt.Errorf("%w: no marks of the reference reader %q", ErrOptions, code)
	}
	sum, n := map[string]float64{}, map[string]float64{}
	for _, k := range all[i].List {
		if k.Value != nil && k.Verdict != Blundered {
			sum[k.Item] += *k.Value
			n[k.Item]++
		}
	}
	var out []*Marks
	shared := 0
	for _, m := range all {
		if m.Reader == code {
			continue
		}
		one := &Marks{Reader: m.Reader, Rules: m.Rules}
		for _, k := range m.List {
			if k.Value == nil || n[k.Item] == 0 {
				continue
			}
			k.Truth = sum[k.Item] / n[k.Item]
			k.Error = *k.Value - k.Truth
			k.Frame, k.Edge, k.Lean, k.Note = nil, nil, nil, "" // they were told against the truth
			k.Verdict = m.Rules.verdict(k.Unit, k.Error, k.Tolerance)
			k.Unsafe = k.Error*measurands[k.Question.Quantity].unsafe > 0 && (k.Verdict == Outside || k.Verdict == Blundered)
			one.List = append(one.List, k)
			shared++
		}
		out = append(out, one)
	}
	if shared == 0 {
		return nil, fmt.Errorf("%w: nobody else has read what the reference reader %q read", ErrOptions, code)
	}
	return out, nil
}

// counts are the readings of one name on their way to a tally.
type counts struct {
	Tally
	errors map[string][]float64 // without blunders, by unit
	causes map[string]int
}

// talliesOf counts the answered marks by a name, the most missed first.
func talliesOf(marks []Mark, name func(*Mark) string) []Tally {
	by := map[string]*counts{}
	var order []string
	for i := range marks {
		k := &marks[i]
		if k.Value == nil {
			continue
		}
		if by[name(k)] == nil {
			by[name(k)] = &counts{Tally{Name: name(k), Kind: k.Kind, Level: k.Level, Question: k.Question, Why: kindNamed(k.Kind).why}, map[string][]float64{}, map[string]int{}}
			order = append(order, name(k))
		}
		by[name(k)].add(k)
	}
	out := make([]Tally, len(order))
	for i, o := range order {
		out[i] = by[o].tally()
	}
	slices.SortStableFunc(out, func(a, b Tally) int {
		return cmp.Or(cmp.Compare(ratio(a.Within), ratio(b.Within)), cmp.Compare(a.Name, b.Name))
	})
	return out
}

func (c *counts) add(k *Mark) {
	c.Within.Of++
	if math.Abs(k.Error) <= k.Tolerance {
		c.Within.Hits++
	}
	if k.Unsafe {
		c.Unsafe++
	}
	if k.Verdict != Blundered {
		c.errors[k.Unit] = append(c.errors[k.Unit], k.Error)
	}
	if k.Verdict != Within && k.Note != "" {
		c.causes[k.cause()]++
	}
}

// tally finishes the counting: shares, the mean where all errors are of one unit, the cause told most often.
func (c *counts) tally() Tally {
	t := c.Tally
	t.Within, t.Mean = shareOf(t.Within.Hits, t.Within.Of), math.NaN()
	for unit, list := range c.errors {
		if len(c.errors) == 1 {
			t.Mean, t.Unit = meanOf(list), unit
		}
	}
	for cause, n := range c.causes {
		if n > 1 && (n > t.Causes || n == t.Causes && cause < t.Cause) {
			t.Cause, t.Causes = cause, n
		}
	}
	return t
}

// classColumns are the columns of class.csv: one figure a row.
var classColumns = []string{"of", "name", "statistic", "value", "low", "high", "unit", "n", "note"}

// WriteCSV writes class.csv.
func (c *Class) WriteCSV(w io.Writer) error {
	rows := [][]string{classColumns}
	put := func(of, name, statistic string, value, low, high float64, unit string, n int, note string) {
		rows = append(rows, []string{of, cells.Text(name), statistic, cells.Number(value), cells.Number(low), cells.Number(high), unit, strconv.Itoa(n), cells.Text(note)})
	}
	none := math.NaN()
	for _, s := range c.Readers {
		put("reader", s.Reader, "share_within", ratio(s.Share), s.Share.Low, s.Share.High, "1", s.Share.Of, "")
		for _, x := range []Spread{s.Lengths, s.Angles} {
			if p := x.Pair; p != nil {
				put("reader", s.Reader, "bias", float64(p.Bias.Value), float64(p.Bias.Low), float64(p.Bias.High), x.Unit, x.Readings, "")
				put("reader", s.Reader, "sd", float64(p.SD.Value), float64(p.SD.Low), float64(p.SD.High), x.Unit, x.Readings, "")
			}
			if d := x.Dahlberg; d != nil {
				put("reader", s.Reader, "dahlberg", float64(d.Dahlberg.Value), float64(d.Dahlberg.Low), float64(d.Dahlberg.High), x.Unit, len(x.Repeats), "")
			}
		}
		put("reader", s.Reader, "blunders", float64(len(s.Blunders)), none, none, "1", s.Answered, "")
		put("reader", s.Reader, "unsafe", float64(len(s.Unsafe)), none, none, "1", s.Answered, "")
		put("reader", s.Reader, "criterion", none, none, none, "", s.Lengths.Readings, string(s.Criterion))
	}
	for _, group := range []struct {
		of   string
		list []Tally
	}{{"site", c.Sites}, {"kind", c.Kinds}, {"level", c.Levels}} {
		for _, t := range group.list {
			put(group.of, t.Name, "share_within", ratio(t.Within), t.Within.Low, t.Within.High, "1", t.Within.Of, t.Cause)
			put(group.of, t.Name, "bias", t.Mean, none, none, t.Unit, t.Within.Of, "")
		}
	}
	return cells.Write(w, rows)
}

func ratio(s Share) float64 { return float64(s.Hits) / float64(s.Of) }
