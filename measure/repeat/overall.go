package repeat

import (
	"fmt"
	"math"
)

// Component is one part of the variance of a reading. An estimate below zero is written as 0, which is
// what it stands for, and Raw keeps it.
type Component struct {
	Of       string `json:"of"`       // subject, rater, subject × rater, residual
	Variance Number `json:"variance"` // unit squared
	Raw      Number `json:"raw"`      // before it was raised to 0, unit squared
	SD       Number `json:"sd"`       // unit
	Unit     string `json:"unit"`     // of the SD
	UnitSq   string `json:"unit_squared"`
}

// Rater is one rater's readings on their own.
type Rater struct {
	Name     string   `json:"name"`
	Readings int      `json:"readings"`
	Mean     Number   `json:"mean"` // unit of the table
	SD       Number   `json:"sd"`   // of the readings, divisor n−1, unit of the table
	Unit     string   `json:"unit"`
	WithinSD Estimate `json:"within_sd"` // from this rater's replicates
	Repeat   Estimate `json:"repeat"`    // repeatability coefficient of this rater
	ICC      *ICC     `json:"icc"`       // between this rater's replicates; null without them
}

// Overall is all raters together.
type Overall struct {
	Components []Component `json:"components"`
	WithinSD   Estimate    `json:"within_sd"` // of readings of one subject; see Meaning
	Meaning    string      `json:"meaning"`   // whose readings WithinSD compares
	RandomSD   Estimate    `json:"random_sd"` // two-way residual: differences between raters taken off
	Repeat     Estimate    `json:"repeat"`    // repeatability coefficient 1.96·√2·WithinSD

	// SEM is the standard error of measurement of a single reading by any rater, and Reproducibility the
	// difference that two such readings of one subject stay within, 1.96·√2·SEM. SEMSame is the former where
	// constant differences between these raters do not count.
	SEM             Estimate `json:"sem"`
	SEMSame         Estimate `json:"sem_consistency"`
	Reproducibility Estimate `json:"reproducibility"`

	// MDC is the least change between two single readings by any raters that is more than error (95 %);
	// MDCSame is the same where one rater reads both times, or a constant difference cancels.
	MDC     Estimate `json:"mdc"`
	MDCSame Estimate `json:"mdc_same_rater"`

	ICC []ICC `json:"icc"`
}

const (
	anyRater   = "readings by any raters"
	oneRater   = "readings by this rater"
	replicated = "replicates of one subject by one rater"
)

// twoReadings is what two readings of one subject stay within 19 times in 20, over their SD.
const twoReadings = normal95 * math.Sqrt2

// newOverall analyses the grid by its model, which it may find to be a simpler one.
func newOverall(g *grid, s settings) Overall {
	switch g.Model {
	case TwoWay:
		a := twoWay(g.means())
		o := newCrossed(a.once(), s)
		o.ICC = iccs(a, singles, s)
		if g.Sessions {
			o.oneRater(a.balanced().withinSD(s))
		}
		return o
	case TwoWayReplicates:
		return overallReplicates(g, s)
	}
	return overallUnequal(g, s)
}

// newCrossed is all that follows from the mean squares but the ICCs.
func newCrossed(c crossed, s settings) Overall {
	o := Overall{Components: c.components(s), Meaning: anyRater}
	o.SEM, o.SEMSame = c.combine(c.anyRater()).sd(s), c.combine(c.theseRaters()).sd(s)
	o.Reproducibility = o.SEM.times(twoReadings)
	o.MDC = o.Reproducibility
	o.WithinSD, o.RandomSD = o.SEM, o.SEMSame
	if c.m > 1 {
		o.WithinSD, o.Meaning = combination{{1, c.cell.ms, c.cell.df}}.sd(s), replicated
		o.RandomSD = absent(s.unit, "replicates: the residual is the within-subject SD")
	}
	o.Repeat = o.WithinSD.times(twoReadings)
	o.MDCSame = o.Repeat
	if c.m == 1 {
		o.MDCSame = o.RandomSD.times(twoReadings)
	}
	return o
}

// oneRater puts the SD of one rater's sessions, which are taken as interchangeable, in the place of that of
// any raters.
func (o *Overall) oneRater(within Estimate) {
	o.WithinSD, o.Meaning, o.SEM = within, oneRater, within
	o.Repeat = within.times(twoReadings)
	o.MDC, o.Reproducibility = o.Repeat, absent(within.Unit, "no reading is known to be by another rater")
}

// overallReplicates: subject, rater, subject × rater, residual, from m replicates a cell; ICCs of the
// means of these, in six forms, and of single readings.
func overallReplicates(g *grid, s settings) Overall {
	a, m := twoWay(g.means()), float64(g.Replicates)
	var cells [][]float64
	for _, row := range g.cell {
		cells = append(cells, row...)
	}
	e, df, _ := withinCells(cells)
	c := a.repeated(m, meanSquare{e, df})
	o := newCrossed(c, s)
	o.ICC = append(iccs(a, "means of "+plural(g.Replicates, "replicate"), s), c.iccs(singles, s)...)
	return o
}

// overallUnequal: the components by restricted maximum likelihood, the intervals from the equal table that
// would tell as much. Where the components cannot be told apart, subject and the rest, one-way:
//
//	σ²subject = (B−W)/n₀    σ²residual = W
func overallUnequal(g *grid, s settings) Overall {
	w := newOneWay(g.bySubject())
	first := unequalICC(w, s)
	m, unit := newMixed(g)
	r, v, ok := m.fit()
	if ok {
		c := m.equal(r, v*unit*unit)
		o := newCrossed(c, s)
		o.ICC = append([]ICC{first}, c.iccs(singles, s)...)
		for _, one := range o.ICC[1:] {
			o.ICC = append(o.ICC, one.ofMean(m.raters))
		}
		if g.Sessions {
			o.oneRater(w.withinSD(s))
		}
		return o
	}
	g.Model = OneWayUnequal
	why := "unequal numbers of readings: raters are not told apart"
	o := Overall{Components: []Component{
		component("subject", (w.between-w.within)/w.n0, s),
		component("residual", w.within, s),
	}}
	o.oneRater(w.withinSD(s))
	o.Meaning = "readings by these raters, not told apart"
	o.RandomSD, o.SEMSame, o.MDCSame = absent(s.unit, why), absent(s.unit, why), absent(s.unit, why)
	if !g.Sessions && m.cellDF() == 0 { // else what differs may be one rater's readings
		o.Reproducibility = o.MDC
	}
	o.ICC = []ICC{first}
	return o
}

func component(of string, v float64, s settings) Component {
	floor := math.Max(0, v)
	return Component{of, Number(floor), Number(v), Number(math.Sqrt(floor)), s.unit, squared(s.unit)}
}

// bySubject is all readings of each subject.
func (g *grid) bySubject() [][]float64 {
	var out [][]float64
	for _, row := range g.cell {
		var all []float64
		for _, c := range row {
			all = append(all, c...)
		}
		out = append(out, all)
	}
	return out
}

// newRater is rater j on his own, with the ICC of his replicates where he has them.
func newRater(g *grid, j int, s settings) Rater {
	var all []float64
	var cells [][]float64
	repeated := 0
	for _, row := range g.cell {
		if c := row[j]; len(c) > 0 {
			all, cells = append(all, c...), append(cells, c)
			if len(c) > 1 {
				repeated++
			}
		}
	}
	r := Rater{Name: g.Raters[j], Readings: len(all), Mean: none, SD: none, Unit: s.unit}
	if len(all) > 0 {
		r.Mean = Number(mean(all))
	}
	if len(all) > 1 {
		r.SD = Number(math.Sqrt(variance(all)))
	}
	if repeated < fewest {
		r.WithinSD = absent(s.unit, "fewer than 3 subjects have replicates by this rater")
		r.Repeat = r.WithinSD
		return r
	}
	w := newOneWay(cells)
	r.WithinSD = w.withinSD(s)
	r.Repeat = r.WithinSD.times(twoReadings)
	icc := unequalICC(w, s)
	icc.Meaning = "replicates by this rater: absolute agreement of one reading"
	r.ICC = &icc
	return r
}

// fewRaters says what the interval of ICC(2,1) is worth with two or three raters; "" where there are more.
// Both figures: TestFewRatersAreSaid, and docs/agreement.md.
func (r *Result) fewRaters() string {
	k := len(r.Design.Raters)
	if k > 3 || r.Design.Sessions || r.Design.Model == OneWayUnequal {
		return ""
	}
	return fmt.Sprintf("%d raters say little of all raters: what is said of any rater rests on %s of freedom, and where raters differ by as much as the error or more, the 95 %% interval of ICC(2,1) held the truth in %d to 93 %% of simulated tables",
		k, [...]string{2: "1 degree", 3: "2 degrees"}[k], [...]int{2: 70, 3: 79}[k])
}
