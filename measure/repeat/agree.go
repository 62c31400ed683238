package repeat

import (
	"cmp"
	"fmt"
	"io"
	"math"
)

// Options are the choices of an analysis; the zero value is ready.
type Options struct {
	Confidence   float64     // level of all intervals; 0 means 0.95
	LimitsFactor float64     // SDs from the bias to a limit of agreement; 0 means 1.96
	Unit         string      // of the readings; empty lets Columns.Unit or the value's name say
	Raters       []string    // which raters, in the order of the differences; nil means all, sorted
	Where        []Condition // rows to keep; nil means all

	Tool string // name and version of the program, for the outputs

	SkipMissing     bool // leave out rows without a number, and count them; else they are an error
	RequireBalanced bool // refuse an unequal table; else it is analysed as one, and says so
}

// Result is the agreement of the readings of one table.
type Result struct {
	Value        string    `json:"value"`               // name of the value column
	Unit         string    `json:"unit"`                // of the readings; "" where nobody said
	Tool         string    `json:"tool"`                // name and version of the program; "" where nobody said
	Source       *Source   `json:"source"`              // the table; null where it came from no file
	Confidence   float64   `json:"confidence"`          // level of all intervals
	LimitsFactor float64   `json:"limits_factor"`       // SDs from the bias to a limit of agreement
	Reference    string    `json:"reference,omitempty"` // what the raters are held against; "": each other
	Design       Design    `json:"design"`
	Raters       []Rater   `json:"raters"`
	Pairs        []Pair    `json:"pairs"` // every two raters, in the order of Design.Raters
	Overall      Overall   `json:"overall"`
	Clusters     *Clusters `json:"clusters"` // null where every subject stands alone
	Notes        []string  `json:"notes"`    // what the reader must know before the figures
}

// settings is Options with its zeros filled.
type settings struct {
	confidence, factor float64
	unit               string

	reference string // the rater that the others are held against; "" for each other

	bare      bool // figures without their intervals, for the draws of a bootstrap
	pairsOnly bool // without what all raters give together
}

// tail is the probability left out at each end; a pure number.
func (s settings) tail() float64 { return (1 - s.confidence) / 2 }

// t is the quantile of Student's t at the upper end; none of it where intervals are left out. A pure number.
func (s settings) t(df float64) float64 {
	if s.bare {
		return math.NaN()
	}
	return tQuantile(1-s.tail(), df)
}

// Agree reads a table and analyses it: Read, then Analyse.
//
// Errors: those of Read ([*TableError], joined), [ErrTooFew], [ErrUnbalanced].
func Agree(r io.Reader, c Columns, o Options) (*Result, error) {
	t, err := Read(r, c, o)
	if err != nil {
		return nil, err
	}
	return Analyse(t, o)
}

// Analyse says how well the readings agree. The order of the readings does not change a bit of it.
//
// Errors: [ErrTooFew] where fewer than 3 subjects were read more than once; [ErrUnbalanced] where
// o.RequireBalanced is set and the table is not; [*TableError] for a rater that is not there.
func Analyse(t *Table, o Options) (*Result, error) {
	if o.Unit != "" && t.Unit != "" && o.Unit != t.Unit {
		return nil, &TableError{Reason: fmt.Sprintf("the readings are in %q, and %q was given: leave it out, or convert them", t.Unit, o.Unit)}
	}
	s, err := o.settings(cmp.Or(o.Unit, t.Unit))
	if err != nil {
		return nil, err
	}
	if s.reference = t.Reference; s.reference != "" {
		o = o.withReference(s.reference)
	}
	if err := t.check(); err != nil {
		return nil, err
	}
	g, err := arrange(t, o)
	if err != nil {
		return nil, err
	}
	r := compare(g, s)
	r.Value, r.Unit, r.Tool, r.Source, r.Confidence, r.LimitsFactor = t.Value, s.unit, o.Tool, t.Source, s.confidence, s.factor
	r.Clusters = newClusters(g, s)
	r.Notes = r.notes()
	return r, nil
}

// compare takes the figures of each rater, of each pair and of all together.
func compare(g *grid, s settings) *Result {
	if s.reference != "" {
		return compareToReference(g, s)
	}
	r := &Result{}
	for j := range g.Raters {
		r.Raters = append(r.Raters, newRater(g, j, s))
		for k := j + 1; k < len(g.Raters); k++ {
			r.Pairs = append(r.Pairs, newPair(g, j, k, s))
		}
	}
	if !s.pairsOnly {
		r.Overall = newOverall(g, s)
	}
	r.Design = g.Design
	return r
}

func (o Options) settings(unit string) (settings, error) {
	s := settings{confidence: o.Confidence, factor: o.LimitsFactor, unit: unit}
	if s.confidence == 0 {
		s.confidence = 0.95
	}
	if s.factor == 0 {
		s.factor = 1.96
	}
	if !(s.confidence >= 0.5 && s.confidence <= 0.999) {
		return s, fmt.Errorf("repeat: confidence %g: give a level from 0.5 to 0.999, as 0.95", s.confidence)
	}
	if !(s.factor > 0 && s.factor <= 10) {
		return s, fmt.Errorf("repeat: limits of agreement at %g SD: give a factor above 0 and up to 10, as 1.96", s.factor)
	}
	return s, nil
}

// check holds a table that did not come from Read to the same rules.
func (t *Table) check() error {
	if len(t.Readings) == 0 {
		return fmt.Errorf("%w: the table is empty", ErrTooFew)
	}
	seen, cluster := make(map[[3]string]bool, len(t.Readings)), map[string]string{}
	for _, r := range t.Readings {
		if was, known := cluster[r.Subject]; known && was != r.Cluster {
			return &TableError{Line: r.Line, Column: t.Cluster, Reason: fmt.Sprintf("%q, but a reading of the same subject before is of %q", r.Cluster, was)}
		}
		cluster[r.Subject] = r.Cluster
		if key := [3]string{r.Subject, r.Rater, r.Replicate}; seen[key] {
			return &TableError{Line: r.Line, Column: t.Value, Reason: "a second reading of the same subject, rater and replicate"}
		} else {
			seen[key] = true
		}
		if math.IsNaN(r.Value) || math.Abs(r.Value) > largest {
			return &TableError{Line: r.Line, Column: t.Value, Reason: fmt.Sprintf("%g is not a measurement", r.Value)}
		}
	}
	return nil
}

// notes says what the figures do not show by themselves.
func (r *Result) notes() []string {
	var out []string
	add := func(format string, a ...any) { out = append(out, fmt.Sprintf(format, a...)) }
	d := r.Design
	if r.Unit == "" {
		add("The unit of the readings was not given: no figure carries one.")
	}
	if d.Sessions {
		add("One rater only: the replicates are compared with each other, and the figures say nothing about other raters.")
	}
	if r.Reference != "" {
		add("%s", referenceNote)
	}
	switch d.Model {
	case TwoWayUnequal, OneWayUnequal:
		if r.Reference != "" {
			break // nothing is said of all raters together
		}
		how := "its variance components are by restricted maximum likelihood (REML), and the intervals of what all raters together give are approximate"
		if d.Model == OneWayUnequal {
			how = "raters cannot be told apart in it, so it was analysed as one-way variance components; ICC forms 2 and 3 and the rater component cannot be given"
		}
		add("Not every subject was read equally often by every rater (%s for %s and %s; %s empty): %s. A pair is compared on the subjects both have read.",
			plural(d.Readings, "reading"), plural(d.Subjects, "subject"), plural(len(d.Raters), "rater"), plural(d.EmptyCells, "place"), how)
	case TwoWayReplicates:
		add("Each rater read each subject %d times: pairs and six ICCs compare the means of the %d readings, while SD, limits of agreement and two more ICCs are of single readings.", d.Replicates, d.Replicates)
	}
	if d.Skipped > 0 {
		add("%s without a number left out.", plural(d.Skipped, "row"))
	}
	if d.LeftOut > 0 {
		add("%s by raters not asked for left out.", plural(d.LeftOut, "reading"))
	}
	if len(r.Pairs) > 1 {
		add("%d pairs: the p values are not adjusted for their number.", len(r.Pairs))
	}
	if r.Clusters != nil {
		add("%s", r.Clusters.note(d.Subjects))
	}
	if few := r.fewRaters(); few != "" {
		add("%s.", few)
	}
	for _, c := range r.Overall.Components {
		if c.Raw < 0 {
			add("The variance component of %s was estimated below zero (%.3g) and is given as 0.", c.Of, float64(c.Raw))
		}
	}
	return append(out, r.doubts()...)
}

// doubts are the pairs whose limits of agreement do not mean what they seem to.
func (r *Result) doubts() []string {
	var out []string
	for _, p := range r.Pairs {
		if p.Reason != "" {
			out = append(out, fmt.Sprintf("%s and %s were not compared: %s.", p.First, p.Second, p.Reason))
		}
		if p.SlopeTest.P < Number(1-r.Confidence) {
			out = append(out, fmt.Sprintf("%s − %s: the difference changes with the size of the measurement (p = %.2g); one pair of limits does not fit the whole range.", p.First, p.Second, float64(p.SlopeTest.P)))
		}
	}
	return out
}

// plural is a count with its noun.
func plural(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
