package repeat

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// The distributions behind the intervals. Tail probabilities go through the incomplete beta function
// directly: 1 − CDF would lose a small p.

// tQuantile is the quantile p of Student's t on df degrees of freedom; a pure number.
func tQuantile(p, df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(p)
}

// normalQuantile is the quantile p of the standard normal distribution; a pure number.
func normalQuantile(p float64) float64 { return distuv.UnitNormal.Quantile(p) }

// normalCDF is the probability of z or less under the standard normal distribution; a pure number.
func normalCDF(z float64) float64 { return distuv.UnitNormal.CDF(z) }

// tTest is the two-sided test of estimate/se on df degrees of freedom. A zero se gives no test.
func tTest(estimate, se, df float64) Test {
	t := estimate / se
	if math.IsNaN(t) || math.IsInf(t, 0) {
		return Test{T: none, DF: Number(df), P: none}
	}
	return Test{T: Number(t), DF: Number(df), P: Number(mathext.RegIncBeta(df/2, 0.5, df/(df+t*t)))}
}

// fQuantile is the quantile p of F on d1 and d2 degrees of freedom; a pure number.
func fQuantile(p, d1, d2 float64) float64 { return distuv.F{D1: d1, D2: d2}.Quantile(p) }

// fTail is the probability of an F of f or more; a pure number.
func fTail(f, d1, d2 float64) float64 {
	if math.IsInf(f, 1) {
		return 0
	}
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// chi2Quantile is the quantile p of χ² on df degrees of freedom; a pure number.
func chi2Quantile(p, df float64) float64 { return distuv.ChiSquared{K: df}.Quantile(p) }

// nodes of the quadrature: the integrand is some 30 of its own widths wide, so 240 Gauss–Legendre
// nodes leave nothing but rounding; 120 already agree to 1e-12.
const nodes = 240

// noncentralT is the noncentral t distribution with df degrees of freedom and noncentrality delta.
// With w = √(χ²/df) its distribution function is the mean of a normal probability:
//
//	P(T ≤ t) = ∫ Φ(t·w − δ) f(w) dw,   f(w) ∝ w^(df−1) · exp(−df·w²/2)
//
// w has mean about 1 and SD about 1/√(2·df); twelve of them to each side hold all but 1e-30 of it.
// f is divided by its own integral over the same nodes, which spares its constant.
//
// Source: Johnson NL, Kotz S, Balakrishnan N. Continuous Univariate Distributions 2, 2nd ed., ch. 31
// (from memory).
type noncentralT struct {
	df, delta float64
	w, f      []float64 // nodes, and their share of the probability
}

func newNoncentralT(df, delta float64) noncentralT {
	n := noncentralT{df, delta, make([]float64, nodes), make([]float64, nodes)}
	reach := 12 / math.Sqrt(2*df)
	quad.Legendre{}.FixedLocations(n.w, n.f, math.Max(0, 1-reach), 1+reach)
	whole := 0.0
	for i, w := range n.w {
		n.f[i] *= math.Exp((df-1)*math.Log(w) - df*(w*w-1)/2)
		whole += n.f[i]
	}
	for i := range n.f {
		n.f[i] /= whole
	}
	return n
}

// cdf is the probability of t or less; a pure number.
func (n noncentralT) cdf(t float64) float64 {
	p := 0.0
	for i, w := range n.w {
		p += n.f[i] * math.Erfc((n.delta-t*w)/math.Sqrt2) / 2
	}
	return p
}

// quantile is the t at which the distribution reaches p; a pure number. Bisection to the last bit: the
// function is monotone, and halving is safe where Newton's steps are not.
func (n noncentralT) quantile(p float64) float64 {
	low, high := n.delta-1, n.delta+1
	for step := 1.0; n.cdf(low) > p; step *= 2 {
		low -= step
	}
	for step := 1.0; n.cdf(high) < p; step *= 2 {
		high += step
	}
	for {
		mid := low + (high-low)/2
		if mid <= low || mid >= high {
			return mid
		}
		if n.cdf(mid) < p {
			low = mid
		} else {
			high = mid
		}
	}
}
