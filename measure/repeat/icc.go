package repeat

import (
	"fmt"
	"math"
)

// ICC is one intraclass correlation with its interval and the F test of "no correlation".
type ICC struct {
	Form    string `json:"form"`    // Shrout and Fleiss: ICC(2,1)
	Name    string `json:"name"`    // McGraw and Wong: ICC(A,1)
	Meaning string `json:"meaning"` // what it is an ICC of
	Of      string `json:"of"`      // "single readings" or "means of replicates"
	Estimate
	F   Number `json:"f"`
	DF1 Number `json:"df1"`
	DF2 Number `json:"df2"`
	P   Number `json:"p"`
}

const (
	subjectsAlike = "the subjects do not differ and the readings do not either"
	noError       = "no interval: the readings leave no error"

	noSatterthwaite = "no interval: Satterthwaite's degrees of freedom fail on these mean squares"
)

// leastDF is where Satterthwaite's degrees of freedom have failed: of a sum with a negative weight they
// can come near zero, and a quantile of F has no meaning there. Our choice.
const leastDF = 0.01

// slack is what rounding may put between an ICC and its bound where the two are one number.
const slack = 1e-9

// form names ICC(i,1), or ICC(i,k) of the mean of many, of readings that are single or themselves means.
func form(i, many int, of string) ICC {
	letter := [...]string{"", "A,", "C,"}[i-1]
	what := [...]string{
		"each subject read by other raters: absolute agreement of ",
		"raters stand for all raters: absolute agreement of ",
		"these raters only: consistency of ",
	}[i-1]
	switch {
	case many > 1 && of == singles:
		what += fmt.Sprintf("the mean of %d readings", many)
	case many > 1:
		what += fmt.Sprintf("the mean of %d %s", many, of)
	case of == singles:
		what += "one reading"
	default:
		what += "one of the " + of
	}
	return ICC{Form: fmt.Sprintf("ICC(%d,%d)", i, many), Name: fmt.Sprintf("ICC(%s%d)", letter, many), Meaning: what, Of: of}
}

// iccs are the six of a two-way table, in the order ICC(1,1) (2,1) (3,1) (1,k) (2,k) (3,k), with B, J, E, W
// the mean squares between subjects, between raters, of the residual and within subjects.
//
//	(1,1)  (B−W)/(B+(k−1)W)                  (1,k)  (B−W)/B
//	(2,1)  (B−E)/(B+(k−1)E+k(J−E)/n)         (2,k)  (B−E)/(B+(J−E)/n)
//	(3,1)  (B−E)/(B+(k−1)E)                  (3,k)  (B−E)/B
//
// Source: Shrout PE, Fleiss JL. Psychol Bull 1979;86:420–428. doi:10.1037/0033-2909.86.2.420;
// McGraw KO, Wong SP. Psychol Methods 1996;1:30–46 (from memory).
func iccs(a meanSquares, of string, s settings) []ICC {
	one := a.balanced().crossed()
	out := append([]ICC{one.icc(1, of, shares{rest: 1}, s)}, a.once().iccs(of, s)...)
	for i := range out {
		out = append(out, out[i].ofMean(int(a.k)))
	}
	return out
}

// iccs are forms 2 and 3 of one reading.
func (c crossed) iccs(of string, s settings) []ICC {
	return []ICC{c.icc(2, of, c.anyRater(), s), c.icc(3, of, c.theseRaters(), s)}
}

// icc is σ²s/(σ²s + noise), with θ the ratio of the two. Given θ the mean square between subjects B expects what
// a sum of the others does, and their ratio is an F whose second degrees of freedom are Satterthwaite's; with one
// mean square in the noise they and the interval are exact. Q is a quantile of F, R the mean square of the rest:
//
//	θ = (B − R)/(km·noise)    B expects R + km·θ·noise, on v degrees of freedom
//	low  (B/Q(1−α/2; n−1, v) − R)/(km·noise)    high  (B·Q(1−α/2; v, n−1) − R)/(km·noise)    ICC = θ/(1+θ)
//
// With rater and rest in the noise and m = 1 it is the interval of McGraw and Wong.
func (c crossed) icc(i int, of string, noise shares, s settings) ICC {
	out := form(i, 1, of)
	b, r := c.subject, c.rest
	out.test(b.ms, r.ms, b.df, r.df)
	q := c.k * c.m * c.combine(noise).value()
	whole := b.ms - r.ms + q // above 0 for n ≥ 3, k ≥ 2
	icc := (b.ms - r.ms) / whole
	switch {
	case b.ms == 0 && q == 0:
		out.Estimate = absent("1", subjectsAlike)
	case q == 0:
		out.Estimate = exactly(1, "1", noError)
	case b.ms == 0:
		out.Estimate = exactly(icc, "1", "the subjects' means do not differ")
	case s.bare:
		out.Estimate = exactly(icc, "1", "")
	default:
		out.Estimate = c.interval(icc, q, noise, s)
	}
	return out
}

// interval is the ICC with its bounds, or with the reason why it has none.
func (c crossed) interval(icc, q float64, w shares, s settings) Estimate {
	b, r := c.subject, c.rest
	by := c.k * c.m * (b.ms - r.ms) / q // km·θ
	v := c.combine(shares{by * w.rater, 1 + by*w.rest, by * w.cell}).df()
	if !(v > leastDF) {
		return exactly(icc, "1", noSatterthwaite)
	}
	of := func(b float64) float64 { return (b - r.ms) / (b - r.ms + q) }
	low, high := of(b.ms/fQuantile(1-s.tail(), b.df, v)), of(b.ms*fQuantile(1-s.tail(), v, b.df))
	if !(low <= icc+slack && high >= icc-slack) {
		return exactly(icc, "1", noSatterthwaite)
	}
	return between(icc, math.Min(low, icc), math.Max(high, icc), "1")
}

// ofMean is the ICC of the mean of k such readings: kρ/(1+(k−1)ρ), its bounds alike.
func (c ICC) ofMean(k int) ICC {
	i := int(c.Form[len("ICC(")] - '0')
	out := form(i, k, c.Of)
	out.Estimate, out.F, out.DF1, out.DF2, out.P = c.Estimate, c.F, c.DF1, c.DF2, c.P
	out.Value, out.Low, out.High = stepUp(c.Value, k), stepUp(c.Low, k), stepUp(c.High, k)
	if c.Value.Known() && !out.Value.Known() {
		out.Estimate = absent("1", "the variance of a mean of the raters was estimated at or below zero")
	}
	return out
}

// stepUp is the ICC of the mean of k from that of one; none where that one is too low to have it.
func stepUp(r Number, k int) Number {
	below := 1 + float64(k-1)*float64(r)
	if below <= slack {
		return none
	}
	return Number(float64(k) * float64(r) / below)
}

// test fills F = B/E, unless nothing varies.
func (c *ICC) test(b, e, df1, df2 float64) {
	f := b / e
	c.F, c.DF1, c.DF2, c.P = Number(f), Number(df1), Number(df2), none
	if !math.IsNaN(f) {
		c.P = Number(fTail(f, df1, df2))
	}
}

// unequalICC is ICC(1,1) where the subjects were read unequally often, and an approximate interval
// that takes the subjects' means with equal weight and the harmonic mean h of the numbers of readings.
//
//	ICC = (B − W)/(B + (n₀−1)W)    h·spread in the place of B, h in that of k in the interval
//
// Source: Thomas JD, Hultquist RA. Ann Stat 1978;6:582–587 (from memory); coverage in TestUnequalICCCovers.
func unequalICC(w oneWay, s settings) ICC {
	c := w.crossed()
	out := c.icc(1, singles, shares{rest: 1}, s)
	df1, df2 := w.df()
	out.test(w.between, w.within, df1, df2)
	rho := Number((w.between - w.within) / (w.between + (w.n0-1)*w.within))
	if !out.Value.Known() || out.Reason == noError {
		return out
	}
	out.Value = rho
	if out.Low > rho+slack || rho-slack > out.High { // the interval rests on equal weights, the figure on n₀
		out.Estimate = exactly(float64(rho), "1", "no interval: the numbers of readings differ too much")
	}
	out.Low, out.High = min(out.Low, rho), max(out.High, rho)
	return out
}
