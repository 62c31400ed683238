package repeat

import "math"

// part is a mean square with its share in a variance.
type part struct {
	weight float64 // pure number
	ms, df float64 // unit squared; degrees of freedom
}

// combination is a variance made of independent mean squares, Σ weight·ms.
type combination []part

// value is the variance, unit squared.
func (c combination) value() float64 {
	v := 0.0
	for _, p := range c {
		v += p.weight * p.ms
	}
	return v
}

// df is Satterthwaite's degrees of freedom, a pure number.
//
//	(Σ w·ms)² / Σ (w·ms)²/df
func (c combination) df() float64 {
	below := 0.0
	for _, p := range c {
		below += p.weight * p.ms * p.weight * p.ms / p.df
	}
	v := c.value()
	return v * v / below
}

// sd is the standard deviation with its interval. Of one mean square it is the χ² interval, exact; of several it is
// the modified large-sample interval, which keeps its level however many of them have few degrees of freedom:
//
//	variance − √Σ((1 − df/χ²(1−α/2))·w·ms)²   …   variance + √Σ((df/χ²(α/2) − 1)·w·ms)²
//
// Source: Graybill FA, Wang CM. J Am Stat Assoc 1980;75:869–873 (from memory); coverage in TestIntervalsOfAnyRaterCover.
func (c combination) sd(s settings) Estimate {
	v, below, above := c.value(), 0.0, 0.0
	if s.bare {
		return Estimate{Value: Number(math.Sqrt(v)), Interval: Interval{none, none}, Unit: s.unit}
	}
	for _, p := range c {
		x := p.weight * p.ms
		below += math.Pow(x*(1-p.df/chi2Quantile(1-s.tail(), p.df)), 2)
		above += math.Pow(x*(p.df/chi2Quantile(s.tail(), p.df)-1), 2)
	}
	low := math.Max(0, v-math.Sqrt(below)) // never below 0 but by rounding: each factor is under 1
	return between(math.Sqrt(v), math.Sqrt(low), math.Sqrt(v+math.Sqrt(above)), s.unit)
}

// meanSquare is a mean square with its degrees of freedom; unit squared.
type meanSquare struct{ ms, df float64 }

// crossed is n subjects × k raters × m replicates by their mean squares, which expect
//
//	subject  σ²e + mσ²sr + kmσ²s        rest  σ²e + mσ²sr
//	rater    σ²e + mσ²sr + nmσ²r        cell  σ²e           (none where m = 1)
//
// Of an unequal table n, k and m are those of the equal one that would tell as much: see [mixed].
type crossed struct {
	n, k, m                    float64
	subject, rater, rest, cell meanSquare
}

// once is the table x[subject][rater] of single values, or of cell means taken as such.
func (a meanSquares) once() crossed {
	between := a.n - 1
	return crossed{n: a.n, k: a.k, m: 1, subject: meanSquare{a.between, between}, rater: meanSquare{a.raters, a.k - 1},
		rest: meanSquare{a.residual, between * (a.k - 1)}}
}

// repeated is the table of which a holds the cell means: m readings each, with their own mean square.
func (a meanSquares) repeated(m float64, cell meanSquare) crossed {
	c := a.once()
	c.m, c.cell = m, cell
	for _, x := range []*meanSquare{&c.subject, &c.rater, &c.rest} {
		x.ms *= m
	}
	return c
}

// shares are what a variance takes of the mean squares rater, rest and cell.
type shares struct{ rater, rest, cell float64 }

// anyRater are σ²r + σ²sr + σ²e: single readings of one subject by raters drawn from all.
func (c crossed) anyRater() shares { return shares{1 / (c.n * c.m), (1 - 1/c.n) / c.m, 1 - 1/c.m} }

// theseRaters are σ²sr + σ²e: what is left when constant differences between raters are taken off.
func (c crossed) theseRaters() shares { return shares{0, 1 / c.m, 1 - 1/c.m} }

// combine leaves out what has no share.
func (c crossed) combine(w shares) combination {
	var out combination
	for _, p := range []part{{w.rater, c.rater.ms, c.rater.df}, {w.rest, c.rest.ms, c.rest.df}, {w.cell, c.cell.ms, c.cell.df}} {
		if p.weight != 0 {
			out = append(out, p)
		}
	}
	return out
}

// components are subject, rater, subject × rater (where m > 1) and residual, by equating mean squares
// with what they expect.
//
// Source: Searle SR, Casella G, McCulloch CE. Variance Components, 1992, section 4.7 (from memory).
func (c crossed) components(s settings) []Component {
	out := []Component{
		component("subject", (c.subject.ms-c.rest.ms)/(c.k*c.m), s),
		component("rater", (c.rater.ms-c.rest.ms)/(c.n*c.m), s),
	}
	if c.m == 1 {
		return append(out, component("residual", c.rest.ms, s))
	}
	return append(out, component("subject × rater", (c.rest.ms-c.cell.ms)/c.m, s), component("residual", c.cell.ms, s))
}
