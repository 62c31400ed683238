package repeat

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
)

// ErrTooFew is the sentinel for data from which no agreement can be said.
var ErrTooFew = errors.New("repeat: too few readings")

// ErrUnbalanced is the sentinel for a table with readings missing, where Options.RequireBalanced is set.
var ErrUnbalanced = errors.New("repeat: not every subject was read equally often by every rater")

// fewest subjects: the line of difference on mean takes two degrees of freedom and leaves one.
const fewest = 3

// mostRaters bounds the pairs, which grow with the square: more names than this in the rater column are
// subjects in the wrong place.
const mostRaters = 100

// Model is how the readings were analysed.
type Model string

// The models, in the order of what they can say.
const (
	TwoWay           Model = "two-way"                 // every subject by every rater, once
	TwoWayReplicates Model = "two-way with replicates" // the same, m times each
	TwoWayUnequal    Model = "two-way unequal, REML"   // any other in which subjects share raters
	OneWayUnequal    Model = "one-way unequal"         // anything else
)

// Design is what the table holds, counted.
type Design struct {
	Model      Model    `json:"model"`
	Subjects   int      `json:"subjects"`
	Raters     []string `json:"raters"`      // in the order of the differences
	Replicates int      `json:"replicates"`  // of each subject by each rater; 0 where unequal
	Readings   int      `json:"readings"`    // in all
	EmptyCells int      `json:"empty_cells"` // subject × rater without a reading
	Skipped    int      `json:"skipped"`     // rows without a number, left out on demand
	LeftOut    int      `json:"left_out"`    // readings of raters not asked for

	// Sessions is true where one rater's replicates take the place of raters.
	Sessions bool `json:"sessions"`
}

// grid is the readings in their places: cell[subject][rater] holds the replicates, by size.
type grid struct {
	Design
	cell      [][][]float64
	cluster   []string // of each subject
	clusterOf string   // the clusters' column; "" for none
}

// arrange puts the readings in their places. The order of the rows leaves no trace: subjects are
// sorted, and so are the replicates of a cell, and raters unless o.Raters orders them.
func arrange(t *Table, o Options) (*grid, error) {
	rs, wanted, leftOut := t.Readings, o.Raters, 0
	alone := !slices.ContainsFunc(rs, func(r Reading) bool { return r.Rater != rs[0].Rater })
	if alone && slices.Equal(wanted, []string{rs[0].Rater}) {
		wanted = nil // the one rater there is
	}
	if !alone && len(wanted) == 1 {
		var err error
		if _, rs, leftOut, err = choose(rs, wanted); err != nil {
			return nil, err
		}
		alone, wanted = true, nil
	}
	if alone {
		rs = sessions(rs)
	}
	raters, rs, others, err := choose(rs, wanted)
	if err != nil {
		return nil, err
	}
	if len(raters) > mostRaters {
		return nil, &TableError{Reason: fmt.Sprintf("%d raters, more than %d: is the rater column the right one?", len(raters), mostRaters)}
	}
	g := &grid{Design: Design{Raters: raters, Skipped: t.Skipped, LeftOut: leftOut + others, Sessions: alone}, clusterOf: t.Cluster}
	g.fill(rs)
	if err := g.enough(); err != nil {
		return nil, err
	}
	return g, g.classify(o)
}

// sessions puts one rater's replicates in the place of raters.
func sessions(rs []Reading) []Reading {
	rs = slices.Clone(rs)
	for i := range rs {
		rs[i].Rater, rs[i].Replicate = rs[i].Replicate, ""
	}
	return rs
}

// labels are the different labels of the readings, numbers by value and the rest by letter.
func labels(rs []Reading, label func(Reading) string) []string {
	seen := map[string]bool{}
	var out []string
	for _, r := range rs {
		if l := label(r); !seen[l] {
			seen[l] = true
			out = append(out, l)
		}
	}
	slices.SortFunc(out, compareLabels)
	return out
}

// compareLabels orders 2 before 10, numbers before words, and equal numbers by their writing.
func compareLabels(a, b string) int {
	if a == b {
		return 0
	}
	x, errX := strconv.Atoi(a)
	y, errY := strconv.Atoi(b)
	switch {
	case errX == nil && errY == nil && x != y:
		return cmp.Compare(x, y)
	case (errX == nil) != (errY == nil):
		if errX == nil {
			return -1
		}
		return 1
	}
	return cmp.Compare(a, b)
}

// choose keeps the raters asked for, in that order; nil asks for all.
func choose(rs []Reading, wanted []string) (raters []string, kept []Reading, leftOut int, err error) {
	all := labels(rs, func(r Reading) string { return r.Rater })
	if len(wanted) == 0 {
		return all, rs, 0, nil
	}
	for i, w := range wanted {
		if !slices.Contains(all, w) {
			return nil, nil, 0, &TableError{Reason: fmt.Sprintf("no rater %q in the table, which has %q", w, all)}
		}
		if slices.Contains(wanted[:i], w) {
			return nil, nil, 0, &TableError{Reason: fmt.Sprintf("rater %q was asked for twice", w)}
		}
	}
	for _, r := range rs {
		if slices.Contains(wanted, r.Rater) {
			kept = append(kept, r)
		}
	}
	return slices.Clone(wanted), kept, len(rs) - len(kept), nil
}

func (g *grid) fill(rs []Reading) {
	subjects := labels(rs, func(r Reading) string { return r.Subject })
	row, col := places(subjects), places(g.Raters)
	rs = slices.Clone(rs)
	slices.SortStableFunc(rs, func(a, b Reading) int { return cmp.Compare(a.Value, b.Value) })
	g.Subjects, g.Readings = len(subjects), len(rs)
	g.cell, g.cluster = make([][][]float64, len(subjects)), make([]string, len(subjects))
	for i := range g.cell {
		g.cell[i] = make([][]float64, len(g.Raters))
	}
	for _, r := range rs {
		i, j := row[r.Subject], col[r.Rater]
		g.cell[i][j], g.cluster[i] = append(g.cell[i][j], r.Value), r.Cluster
	}
}

func places(labels []string) map[string]int {
	m := make(map[string]int, len(labels))
	for i, l := range labels {
		m[l] = i
	}
	return m
}

// enough refuses data from which nothing can be said.
func (g *grid) enough() error {
	if g.Design.Sessions && len(g.Raters) < 2 {
		return fmt.Errorf("%w: one rater and one reading of each subject; agreement needs a second rater or a replicate column", ErrTooFew)
	}
	repeated := 0
	for _, row := range g.cell {
		n := 0
		for _, c := range row {
			n += len(c)
		}
		if n > 1 {
			repeated++
		}
	}
	if repeated < fewest {
		return fmt.Errorf("%w: %d of %d subjects were read more than once, and at least %d must be", ErrTooFew, repeated, g.Subjects, fewest)
	}
	return nil
}

// classify finds the model, and refuses an unequal table where a balanced one was asked for.
func (g *grid) classify(o Options) error {
	m, equal := len(g.cell[0][0]), true
	for _, row := range g.cell {
		for _, c := range row {
			equal = equal && len(c) == m
			if len(c) == 0 {
				g.EmptyCells++
			}
		}
	}
	switch {
	case !equal:
		g.Model = TwoWayUnequal // or one-way, where its components cannot be told apart: overallUnequal
	case m == 1:
		g.Model, g.Replicates = TwoWay, 1
	default:
		g.Model, g.Replicates = TwoWayReplicates, m
	}
	if !equal && o.RequireBalanced {
		return fmt.Errorf("%w: %s for %s by %s, %s empty; complete the table, or let it be analysed with unequal numbers",
			ErrUnbalanced, plural(g.Readings, "reading"), plural(g.Subjects, "subject"), plural(len(g.Raters), "rater"), plural(g.EmptyCells, "place"))
	}
	return nil
}

// means is the mean of each cell of a balanced grid, [subject][rater].
func (g *grid) means() [][]float64 {
	out := make([][]float64, len(g.cell))
	for i, row := range g.cell {
		for _, c := range row {
			out[i] = append(out[i], mean(c))
		}
	}
	return out
}
