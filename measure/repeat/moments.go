package repeat

import (
	"math"
	"slices"
)

// sum adds with Neumaier's compensation: the small parts lost at each step are kept apart and
// added at the end, so that 1001 values near 10⁷ still give their mean to 15 digits.
//
// Source: Neumaier A. Z Angew Math Mech 1974;54:39–51 (from memory).
func sum(xs []float64) float64 {
	var s, lost float64
	for _, x := range xs {
		t := s + x
		if math.Abs(s) >= math.Abs(x) {
			lost += (s - t) + x
		} else {
			lost += (x - t) + s
		}
		s = t
	}
	return s + lost
}

// mean is the arithmetic mean, in the unit of xs.
func mean(xs []float64) float64 { return sum(xs) / float64(len(xs)) }

// squares is the sum of squared deviations from the mean, in the unit squared. The second sum takes
// off what the rounded mean leaves behind.
//
// Source: Chan TF, Golub GH, LeVeque RJ. Am Stat 1983;37:242–247 (corrected two-pass; from memory).
func squares(xs []float64) float64 {
	if slices.Min(xs) == slices.Max(xs) {
		return 0 // exactly, whatever the mean rounds to
	}
	m := mean(xs)
	d, d2 := make([]float64, len(xs)), make([]float64, len(xs))
	for i, x := range xs {
		d[i] = x - m
		d2[i] = d[i] * d[i]
	}
	rest := sum(d)
	return math.Max(0, sum(d2)-rest*rest/float64(len(xs)))
}

// variance has the divisor n−1, in the unit squared.
func variance(xs []float64) float64 { return squares(xs) / float64(len(xs)-1) }

// products is the sum of products of deviations of x and y from their means.
func products(x, y []float64) float64 {
	mx, my := mean(x), mean(y)
	p := make([]float64, len(x))
	for i := range x {
		p[i] = (x[i] - mx) * (y[i] - my)
	}
	return sum(p)
}

// sumOfSquares is Σx², in the unit squared.
func sumOfSquares(xs []float64) float64 {
	p := make([]float64, len(xs))
	for i, x := range xs {
		p[i] = x * x
	}
	return sum(p)
}

// rounding is how far apart two numbers may be, relative to the readings they come from, and still be
// equal: sixteen times the last bit. 12.4 − 12.3 and 10.1 − 10.0 differ by less.
const rounding = 0x1p-48

// settled makes differences or means that only rounding tells apart the same number, so that no test
// is made of the last bits of a float64. scale is the largest reading, in the unit of xs.
func settled(xs []float64, scale float64) []float64 {
	if slices.Max(xs)-slices.Min(xs) > rounding*scale {
		return xs
	}
	return slices.Repeat([]float64{xs[0]}, len(xs))
}

// magnitude is the largest |x|, in the unit of xs.
func magnitude(xs ...[]float64) float64 {
	var m float64
	for _, list := range xs {
		for _, x := range list {
			m = math.Max(m, math.Abs(x))
		}
	}
	return m
}
