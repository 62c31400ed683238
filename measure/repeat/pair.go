package repeat

import (
	"math"
	"slices"
)

// Pair is two raters compared on the subjects both have read. A difference is first − second; where a
// rater has read a subject more than once, the mean of those readings stands for them.
type Pair struct {
	First    string `json:"first"`
	Second   string `json:"second"`
	Subjects int    `json:"subjects"` // read by both
	Of       string `json:"of"`       // "single readings" or "means of replicates"
	Reason   string `json:"reason,omitempty"`

	Bias        Estimate  `json:"bias"`        // mean difference
	SD          Estimate  `json:"sd"`          // of the difference of two single readings
	BiasTest    Test      `json:"bias_test"`   // paired t: is the bias zero?
	LowerLimit  Limit     `json:"lower_limit"` // bias − factor·SD
	UpperLimit  Limit     `json:"upper_limit"` // bias + factor·SD
	Slope       Estimate  `json:"slope"`       // of difference on mean: unit per unit
	SlopeTest   Test      `json:"slope_test"`  // proportional bias: is the slope zero?
	WithinSD    Estimate  `json:"within_sd"`   // within-subject SD, the bias in it
	Dahlberg    Estimate  `json:"dahlberg"`    // √(Σd²/2n): the same number, as the trade knows it
	RandomSD    Estimate  `json:"random_sd"`   // SD/√2: what is left when the bias is taken off
	Repeat      Estimate  `json:"repeat"`      // repeatability coefficient, 1.96·√2·within-subject SD
	Concordance Estimate  `json:"concordance"` // Lin's coefficient
	Correlation Number    `json:"correlation"` // Pearson's r: its precision part; pure number
	Accuracy    Number    `json:"accuracy"`    // C_b: its accuracy part; pure number
	x, y        []float64 // the paired values, unit of the table
	known       bool      // y is a reference, taken as without error
}

// What a pair or an ICC is of.
const (
	singles        = "single readings"
	replicateMeans = "means of replicates"
)

// Limit is a limit of agreement with two intervals: the exact one, and the usual approximation.
type Limit struct {
	Value  Number   `json:"value"`
	Exact  Interval `json:"exact"`
	Approx Interval `json:"approx"`
	Unit   string   `json:"unit"`
	Reason string   `json:"reason,omitempty"` // why the exact one is absent
}

// newPair compares raters a and b of the grid.
func newPair(g *grid, a, b int, s settings) Pair {
	p := Pair{First: g.Raters[a], Second: g.Raters[b], Of: singles, known: s.reference != "" && g.Raters[b] == s.reference}
	var cx, cy [][]float64
	for _, row := range g.cell {
		if len(row[a]) > 0 && len(row[b]) > 0 {
			cx, cy = append(cx, row[a]), append(cy, row[b])
			p.x, p.y = append(p.x, mean(row[a])), append(p.y, mean(row[b]))
		}
	}
	p.Subjects = len(p.x)
	if p.Subjects < fewest {
		return p.blank("fewer than 3 subjects were read by both", s)
	}
	many := func(c []float64) bool { return len(c) > 1 }
	if slices.ContainsFunc(cx, many) || slices.ContainsFunc(cy, many) {
		p.Of = replicateMeans
	}
	p.differences(cx, cy, s)
	if p.known {
		p.oneSided(s)
	}
	p.proportional(s)
	p.lin(s)
	return p
}

// blank is a pair that cannot be compared: every figure absent, with the reason.
func (p Pair) blank(reason string, s settings) Pair {
	p.Reason = reason
	for _, e := range []*Estimate{&p.Bias, &p.SD, &p.WithinSD, &p.Dahlberg, &p.RandomSD, &p.Repeat} {
		*e = absent(s.unit, reason)
	}
	p.Slope, p.Concordance = absent("1", reason), absent("1", reason)
	nowhere := Interval{none, none}
	p.LowerLimit = Limit{none, nowhere, nowhere, s.unit, reason}
	p.UpperLimit = p.LowerLimit
	p.BiasTest, p.SlopeTest = Test{none, none, none}, Test{none, none, none}
	p.Correlation, p.Accuracy = none, none
	return p
}

// differences fills bias, SD, limits and the error figures.
//
//	d = x − y    bias = Σd/n    SD² = Σ(d − bias)²/(n−1)    t = bias/(SD/√n), df n−1
//
// Source: Bland JM, Altman DG. Lancet 1986;327:307–310.
func (p *Pair) differences(cx, cy [][]float64, s settings) {
	n := float64(p.Subjects)
	d, _ := p.points()
	bias, v := mean(d), variance(d)
	half := s.t(n-1) * math.Sqrt(v/n)
	p.Bias = between(bias, bias-half, bias+half, s.unit)
	p.BiasTest = tTest(bias, math.Sqrt(v/n), n-1)
	if p.Of == singles {
		p.single(d, bias, v, s)
	} else {
		p.replicated(cx, cy, bias, v, s)
	}
}

// points are the differences and the means of the pairs, in the unit of the table; of a reference, it in the place of the
// mean: a mean would bring the rater's own error to both axes.
//
// Source: Krouwer JS. Stat Med 2008;27:778–780 (from memory).
func (p *Pair) points() (d, m []float64) {
	d, m = make([]float64, len(p.x)), make([]float64, len(p.x))
	for i := range d {
		d[i], m[i] = p.x[i]-p.y[i], p.x[i]/2+p.y[i]/2
		if p.known {
			m[i] = p.y[i]
		}
	}
	scale := magnitude(p.x, p.y)
	return settled(d, scale), settled(m, scale)
}

// single fills what single readings allow: exact limits, and the within-subject figures.
func (p *Pair) single(d []float64, bias, v float64, s settings) {
	n, sd := float64(len(d)), math.Sqrt(v)
	p.SD = combination{{1, v, n - 1}}.sd(s)
	p.LowerLimit, p.UpperLimit = limits(bias, sd, n, s)
	p.RandomSD = p.SD.times(math.Sqrt2 / 2)
	p.WithinSD = combination{{1, sumOfSquares(d) / (2 * n), n}}.sd(s)
	p.Dahlberg = p.WithinSD
	p.Repeat = p.WithinSD.times(twoReadings)
}

// normal95 is the two-sided 95 % point of the normal distribution as the literature rounds it.
const normal95 = 1.96

// limits are the limits of agreement of n single pairs and their intervals. The limit is a percentile
// of a normal distribution, whose exact interval comes from the noncentral t with noncentrality c·√n:
//
//	upper limit = bias + c·s       exact  bias + s·t'(p; n−1, c√n)/√n,  p = α/2 and 1 − α/2
//	                               approx upper limit ± t(1−α/2; n−1)·√(3s²/n)
//
// The lower limit is the mirror image. √(3/n) is the paper's rounding of √(1/n + c²/(2(n−1))).
//
// Source: Carkeet A. Optom Vis Sci 2015;92:e71–e80 (exact; from memory);
// Bland JM, Altman DG. Lancet 1986;327:307–310 (approximate).
func limits(bias, s, n float64, o settings) (lower, upper Limit) {
	tail, c := o.tail(), o.factor
	low, high := bias-c*s, bias+c*s
	nowhere := Interval{none, none}
	if o.bare {
		return Limit{Number(low), nowhere, nowhere, o.unit, ""}, Limit{Number(high), nowhere, nowhere, o.unit, ""}
	}
	t := newNoncentralT(n-1, c*math.Sqrt(n))
	inner, outer := s*t.quantile(tail)/math.Sqrt(n), s*t.quantile(1-tail)/math.Sqrt(n)
	rough := o.t(n-1) * s * math.Sqrt(3/n)
	lower = Limit{Number(low), pairOf(bias-outer, bias-inner), pairOf(low-rough, low+rough), o.unit, ""}
	upper = Limit{Number(high), pairOf(bias+inner, bias+outer), pairOf(high-rough, high+rough), o.unit, ""}
	return lower, upper
}

func pairOf(low, high float64) Interval { return Interval{Number(low), Number(high)} }

// replicated fills what means of replicates allow. The SD of a difference of two single readings is
// larger than that of two means, and is put back from the replicates:
//
//	SD² = v + (1 − h_x)·w_x² + (1 − h_y)·w_y²
//
// with v the variance of the differences of means, w² the variance within a cell and h the mean of 1/m
// over the subjects, m replicates each. The variance of a limit is that of the bias plus c² times that
// of SD, by the delta method with each part's own degrees of freedom.
//
// Source: Bland JM, Altman DG. Stat Methods Med Res 1999;8:135–160, section 5 (from memory).
func (p *Pair) replicated(cx, cy [][]float64, bias, v float64, s settings) {
	n := float64(p.Subjects)
	total, spread := v, 2*v*v/(n-1)
	for _, cells := range [][][]float64{cx, cy} {
		w, df, h := withinCells(cells)
		if df > 0 {
			total += (1 - h) * w
			spread += 2 * (1 - h) * (1 - h) * w * w / df
		}
	}
	sd := math.Sqrt(total)
	why := "means of replicates: the exact interval holds for single readings"
	p.SD = exactly(sd, s.unit, why)
	rough := s.t(n-1) * math.Sqrt(v/n+s.factor*s.factor*spread/(4*total))
	low, high := bias-s.factor*sd, bias+s.factor*sd
	p.LowerLimit = Limit{Number(low), Interval{none, none}, pairOf(low-rough, low+rough), s.unit, why}
	p.UpperLimit = Limit{Number(high), Interval{none, none}, pairOf(high-rough, high+rough), s.unit, why}
	why = "means of replicates: see each rater's own repeatability"
	for _, e := range []*Estimate{&p.WithinSD, &p.Dahlberg, &p.RandomSD, &p.Repeat} {
		*e = absent(s.unit, why)
	}
}

// withinCells is the pooled variance within cells (unit squared), its degrees of freedom, and the
// mean of 1/m over the cells.
func withinCells(cells [][]float64) (v, df, h float64) {
	var ss, inverse []float64
	for _, c := range cells {
		ss = append(ss, squares(c))
		df += float64(len(c) - 1)
		inverse = append(inverse, 1/float64(len(c)))
	}
	return sum(ss) / df, df, mean(inverse)
}

// proportional fits difference = intercept + slope·mean by least squares; slope·reference where there is one.
//
//	slope = S_md/S_mm    se² = (S_dd − slope·S_md)/((n−2)·S_mm)    df n−2
//
// Source: Bland JM, Altman DG. Stat Methods Med Res 1999;8:135–160, section 3.2 (from memory).
func (p *Pair) proportional(s settings) {
	n := float64(p.Subjects)
	d, m := p.points()
	smm, smd := squares(m), products(m, d)
	if smm == 0 {
		p.Slope, p.SlopeTest = absent("1", "the subjects do not differ"), Test{none, Number(n - 2), none}
		return
	}
	slope := smd / smm
	se := math.Sqrt(math.Max(0, squares(d)-slope*smd) / ((n - 2) * smm))
	half := s.t(n-2) * se
	p.Slope = between(slope, slope-half, slope+half, "1")
	p.SlopeTest = tTest(slope, se, n-2)
}

// lin fills Lin's concordance: the product of precision (Pearson's r) and accuracy (C_b), with all
// moments on the divisor n, and its interval through Fisher's z. The variance is written with C_b in the
// place of ρ_c/r, so that it holds at r = 0 too.
//
//	C_b = 2·s_x·s_y/(s_x² + s_y² + (x̄ − ȳ)²)    ρ = r·C_b    u² = (x̄ − ȳ)²/(s_x·s_y)
//	var z = [ (1−r²)C_b²/(1−ρ²) + 2ρ²C_b(1−ρ)u²/(1−ρ²)² − ρ²C_b²u⁴/(2(1−ρ²)²) ]/(n−2)
//
// Source: Lin LI. Biometrics 1989;45:255–268, the variance as corrected in 2000;56:324–325 (from memory).
func (p *Pair) lin(s settings) {
	n, scale := float64(p.Subjects), magnitude(p.x, p.y)
	x, y := settled(p.x, scale), settled(p.y, scale)
	sxx, syy, gap := squares(x)/n, squares(y)/n, mean(x)-mean(y)
	if sxx == 0 || syy == 0 {
		p.Concordance = absent("1", "a rater gave every subject the same value")
		p.Correlation, p.Accuracy = none, none
		return
	}
	both := math.Sqrt(sxx) * math.Sqrt(syy)
	r, cb, u2 := products(x, y)/n/both, 2*both/(sxx+syy+gap*gap), gap*gap/both
	rho := r * cb
	p.Correlation, p.Accuracy = Number(r), Number(cb)
	q := 1 - rho*rho
	if q <= slack {
		p.Concordance = exactly(rho, "1", "no interval at perfect concordance")
		return
	}
	vz := (1-r*r)*cb*cb/q + 2*rho*rho*cb*(1-rho)*u2/(q*q) - rho*rho*cb*cb*u2*u2/(2*q*q)
	half := normalQuantile(1-s.tail()) * math.Sqrt(math.Max(0, vz)/(n-2))
	z := math.Atanh(rho)
	p.Concordance = between(rho, math.Min(rho, math.Tanh(z-half)), math.Max(rho, math.Tanh(z+half)), "1") // tanh of atanh rounds
}
