package repeat

import "math"

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

	// MDC is the least change between two single readings by any raters that is more than error (95 %);
	// MDCSame is the same where one rater reads both times, or a constant difference cancels.
	MDC     Estimate `json:"mdc"`
	MDCSame Estimate `json:"mdc_same_rater"`

	ICC []ICC  `json:"icc"`
	Of  string `json:"icc_of"` // "single readings" or "means of 2 replicates"
}

// newOverall analyses the grid by its model.
func newOverall(g *grid, s settings) Overall {
	switch g.Model {
	case TwoWay:
		return overallTwoWay(twoWay(g.means()), s)
	case TwoWayReplicates:
		return overallReplicates(g, s)
	}
	return overallUnequal(g.bySubject(), s)
}

// overallTwoWay: subject, rater, residual.
//
//	σ²subject = (B−E)/k    σ²rater = (J−E)/n    σ²residual = E    within-subject SD = √W
//
// W = E + (J−E)/n: the within-subject variance is residual and rater together, so that the minimal
// detectable change for any two raters and the repeatability coefficient are one number.
func overallTwoWay(a meanSquares, s settings) Overall {
	var o Overall
	o.Components = []Component{
		component("subject", (a.between-a.residual)/a.k, s),
		component("rater", (a.raters-a.residual)/a.n, s),
		component("residual", a.residual, s),
	}
	e := math.Sqrt(a.residual)
	o.WithinSD, o.Meaning = a.balanced().withinSD(s), "readings by any of the raters"
	o.RandomSD = Estimate{Value: Number(e), Interval: sdInterval(e, (a.n-1)*(a.k-1), s.confidence), Unit: s.unit}
	o.Repeat = o.WithinSD.times(normal95 * math.Sqrt2)
	o.MDC, o.MDCSame = o.Repeat, o.RandomSD.times(normal95*math.Sqrt2)
	o.ICC, o.Of = iccs(a, singles, s), singles
	return o
}

// overallReplicates: subject, rater, subject × rater, residual, from m replicates a cell. S, R, I are
// the mean squares of the two-way table of means, times m; E is that within cells, df nk(m−1).
//
//	σ²residual = E    σ²subject×rater = (I−E)/m    σ²rater = (R−I)/(nm)    σ²subject = (S−I)/(km)
//
// Source: Searle SR, Casella G, McCulloch CE. Variance Components, 1992, section 4.7 (from memory).
func overallReplicates(g *grid, s settings) Overall {
	a, m := twoWay(g.means()), float64(g.Replicates)
	var cells [][]float64
	for _, row := range g.cell {
		cells = append(cells, row...)
	}
	e, df, _ := withinCells(cells)
	parts := []Component{
		component("subject", (a.between-a.residual)/a.k, s),
		component("rater", (a.raters-a.residual)/a.n, s),
		component("subject × rater", a.residual-e/m, s),
		component("residual", e, s),
	}
	sd := math.Sqrt(e)
	o := Overall{Components: parts, Meaning: "replicates of one subject by one rater"}
	o.WithinSD = Estimate{Value: Number(sd), Interval: sdInterval(sd, df, s.confidence), Unit: s.unit}
	o.RandomSD = absent(s.unit, "replicates: the residual is the within-subject SD")
	o.Repeat = o.WithinSD.times(normal95 * math.Sqrt2)
	between := parts[1].Variance + parts[2].Variance + parts[3].Variance
	o.MDC = exactly(normal95*math.Sqrt(2*float64(between)), s.unit, "no interval: a sum of three components")
	o.MDCSame = o.Repeat
	o.Of = "means of " + plural(g.Replicates, "replicate")
	o.ICC = iccs(a, o.Of, s)
	return o
}

// overallUnequal: subject and the rest, one-way.
//
//	σ²subject = (B−W)/n₀    σ²residual = W
func overallUnequal(groups [][]float64, s settings) Overall {
	w := newOneWay(groups)
	why := "unequal numbers of readings: raters are not told apart"
	o := Overall{Components: []Component{
		component("subject", (w.between-w.within)/w.n0, s),
		component("residual", w.within, s),
	}}
	o.WithinSD, o.Meaning = w.withinSD(s), "readings by any of the raters"
	o.RandomSD, o.MDCSame = absent(s.unit, why), absent(s.unit, why)
	o.Repeat = o.WithinSD.times(normal95 * math.Sqrt2)
	o.MDC = o.Repeat
	o.ICC, o.Of = []ICC{unequalICC(w, s)}, singles
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
	r.Repeat = r.WithinSD.times(normal95 * math.Sqrt2)
	icc := unequalICC(w, s)
	icc.Meaning = "replicates by this rater: absolute agreement of one reading"
	r.ICC = &icc
	return r
}
