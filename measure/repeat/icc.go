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

// forms names the six, in the order ICC(1,1) (2,1) (3,1) (1,k) (2,k) (3,k), of readings that are
// single or themselves means.
func forms(k int, of string) [6]ICC {
	one, many := "one reading", fmt.Sprintf("the mean of %d readings", k)
	if of != singles {
		one, many = "one of the "+of, fmt.Sprintf("the mean of %d %s", k, of)
	}
	name := [3]string{"ICC(%s)", "ICC(A,%s)", "ICC(C,%s)"}
	what := [3]string{
		"each subject read by other raters: absolute agreement of ",
		"raters stand for all raters: absolute agreement of ",
		"these raters only: consistency of ",
	}
	var out [6]ICC
	for i := range out {
		of, n := one, "1"
		if i >= 3 {
			of, n = many, fmt.Sprint(k)
		}
		out[i] = ICC{Form: fmt.Sprintf("ICC(%d,%s)", i%3+1, n), Name: fmt.Sprintf(name[i%3], n), Meaning: what[i%3] + of}
	}
	return out
}

// iccs are the six of a two-way table, with Q a quantile of F and B, J, E, W the mean squares between
// subjects, between raters, of the residual and within subjects.
//
//	(1,1)  (B−W)/(B+(k−1)W)                  (1,k)  (B−W)/B
//	(2,1)  (B−E)/(B+(k−1)E+k(J−E)/n)         (2,k)  (B−E)/(B+(J−E)/n)
//	(3,1)  (B−E)/(B+(k−1)E)                  (3,k)  (B−E)/B
//
// Source: Shrout PE, Fleiss JL. Psychol Bull 1979;86:420–428. doi:10.1037/0033-2909.86.2.420;
// McGraw KO, Wong SP. Psychol Methods 1996;1:30–46 (from memory).
func iccs(a meanSquares, of string, s settings) []ICC {
	out := forms(int(a.k), of)
	dfB, dfW, dfE := a.n-1, a.n*(a.k-1), (a.n-1)*(a.k-1)
	out[0].Estimate, out[3].Estimate = ratioICC(a.between, a.within, dfB, dfW, a.k, s)
	out[1].Estimate, out[4].Estimate = agreementICC(a, s)
	out[2].Estimate, out[5].Estimate = ratioICC(a.between, a.residual, dfB, dfE, a.k, s)
	for i := range out {
		e, df := a.residual, dfE
		if i%3 == 0 {
			e, df = a.within, dfW
		}
		out[i].test(a.between, e, dfB, df)
	}
	return out[:]
}

// test fills F = B/E, unless nothing varies.
func (c *ICC) test(b, e, df1, df2 float64) {
	f := b / e
	c.F, c.DF1, c.DF2, c.P = Number(f), Number(df1), Number(df2), none
	if !math.IsNaN(f) {
		c.P = Number(fTail(f, df1, df2))
	}
}

// ratioICC are the forms that rest on one F ratio, for one reading and for the mean of k. Exact:
//
//	F_L = F/Q(1−α/2; df1, df2)    F_U = F·Q(1−α/2; df2, df1)    (F−1)/(F+k−1)    1 − 1/F
func ratioICC(b, e, df1, df2, k float64, s settings) (one, mean Estimate) {
	switch {
	case b == 0 && e == 0:
		return absent("1", subjectsAlike), absent("1", subjectsAlike)
	case e == 0:
		return exactly(1, "1", noError), exactly(1, "1", noError)
	case b == 0:
		why := "the subjects' means do not differ"
		return exactly(-1/(k-1), "1", why), absent("1", why)
	}
	f := b / e
	low, high := f/fQuantile(1-s.tail(), df1, df2), f*fQuantile(1-s.tail(), df2, df1)
	of := func(f float64) float64 { return (f - 1) / (f + k - 1) }
	return between(of(f), of(low), of(high), "1"), between(1-1/f, 1-1/low, 1-1/high, "1")
}

// agreementICC are ICC(2,1) and ICC(2,k). The error is a mix of J and E, whose degrees of freedom v
// are Satterthwaite's, so the interval is approximate. With ρ the estimate, and both scaled by n(1−ρ):
//
//	a = kρ    b = n(1−ρ) + kρ(n−1)
//	v = (aJ + bE)²/((aJ)²/(k−1) + (bE)²/((n−1)(k−1)))
//	low  = n(B − Q₁E)/(Q₁(kJ + (kn−k−n)E) + nB)      Q₁ = Q(1−α/2; n−1, v)
//	high = n(Q₂B − E)/(kJ + (kn−k−n)E + nQ₂B)        Q₂ = Q(1−α/2; v, n−1)
//
// The bounds of the mean of k are those of one reading stepped up: kρ/(1+(k−1)ρ).
func agreementICC(m meanSquares, s settings) (one, mean Estimate) {
	n, k, b, j, e := m.n, m.k, m.between, m.raters, m.residual
	rho := (b - e) / (b + (k-1)*e + k*(j-e)/n) // the divisor is positive for n ≥ 3, k ≥ 2
	switch {
	case b == 0 && e == 0 && j == 0:
		return absent("1", subjectsAlike), absent("1", subjectsAlike)
	case e == 0 && j == 0:
		return exactly(1, "1", noError), exactly(1, "1", noError)
	}
	low, high, ok := satterthwaite(m, rho, s)
	one, mean = between(rho, low, high, "1"), absent("1", "the variance of a mean of the raters was estimated at or below zero")
	if !ok {
		one = exactly(rho, "1", noSatterthwaite)
	}
	if whole := b + (j-e)/n; whole > slack*(b+j+e) {
		mean = between((b-e)/whole, stepUp(low, k), stepUp(high, k), "1")
		if !ok {
			mean = exactly((b-e)/whole, "1", noSatterthwaite)
		}
	}
	return one, mean
}

// satterthwaite are the bounds of ICC(2,1), and whether they can be given.
func satterthwaite(m meanSquares, rho float64, s settings) (low, high float64, ok bool) {
	n, k, b, j, e := m.n, m.k, m.between, m.raters, m.residual
	p, q := k*rho, n*(1-rho)+k*rho*(n-1)
	v := math.Pow(p*j+q*e, 2) / (math.Pow(p*j, 2)/(k-1) + math.Pow(q*e, 2)/((n-1)*(k-1)))
	if !(v > leastDF) {
		return rho, rho, false
	}
	q1, q2 := fQuantile(1-s.tail(), n-1, v), fQuantile(1-s.tail(), v, n-1)
	mix := k*j + (k*n-k-n)*e
	low, high = n*(b-q1*e)/(q1*mix+n*b), n*(q2*b-e)/(mix+n*q2*b)
	return math.Min(low, rho), math.Max(high, rho), low <= rho+slack && high >= rho-slack
}

// stepUp is the ICC of the mean of k from that of one; none where that one is too low to have it.
func stepUp(r, k float64) float64 {
	if 1+(k-1)*r <= slack {
		return math.Inf(-1)
	}
	return k * r / (1 + (k-1)*r)
}

// unequalICC is ICC(1,1) where the subjects were read unequally often, and an approximate interval
// that takes the subjects' means with equal weight and the harmonic mean h of the numbers of readings.
//
//	ICC = (B − W)/(B + (n₀−1)W)    F = h·spread/W    θ = (F/Q − 1)/h    bound = θ/(1 + θ)
//
// Source: Thomas JD, Hultquist RA. Ann Stat 1978;6:582–587 (from memory); coverage in TestUnequalICCCovers.
func unequalICC(w oneWay, s settings) ICC {
	out := forms(1, singles)[0]
	df1, df2 := w.df()
	out.test(w.between, w.within, df1, df2)
	rho := (w.between - w.within) / (w.between + (w.n0-1)*w.within)
	switch {
	case w.between == 0 && w.within == 0:
		out.Estimate = absent("1", subjectsAlike)
	case w.within == 0:
		out.Estimate = exactly(1, "1", noError)
	case w.between == 0:
		out.Estimate = exactly(rho, "1", "the subjects' means do not differ")
	default:
		f := w.harmonic * w.spread / w.within
		bound := func(q float64) float64 { t := (f/q - 1) / w.harmonic; return t / (1 + t) }
		low, high := bound(fQuantile(1-s.tail(), df1, df2)), bound(fQuantile(s.tail(), df1, df2))
		out.Estimate = between(rho, math.Min(low, rho), math.Max(high, rho), "1")
		if !(low <= rho+slack && rho-slack <= high) { // rests on equal weights, the figure on n₀
			out.Estimate = exactly(rho, "1", "no interval: the numbers of readings differ too much")
		}
	}
	return out
}
