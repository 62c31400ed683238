// Package fit holds the numerics that several rooms ask: [Golden] finds the least value of a
// function of one number, [Descend] that of a sum of squares in many, with [Huber] where a few residuals are foreign;
// [Median], [Scatter] and [Quantile] describe a sample.
//
// Nothing here knows what is measured; units are those of what is handed in.
package fit

// Golden returns the x between lo and hi at which f is least, to within tol, and f(x); both in the
// units of what was handed in. Where f has several minima it returns one of them; it never looks
// outside, so for a slope it comes to within tol of the lower end.
//
// The interval shrinks by the golden ratio at each step, and one of its two inner points serves
// again in the next: one question to f a step. Near a smooth minimum f is flat, so x is no better
// than √ε of the interval, 1e-8, however small tol is.
//
// Source: Kiefer J. Proc Am Math Soc 1953;4:502–506. doi:10.1090/S0002-9939-1953-0055639-3 (from memory).
func Golden(lo, hi, tol float64, f func(float64) float64) (x, least float64) {
	const ratio = 0.6180339887498949 // (√5 − 1)/2
	a, b := hi-ratio*(hi-lo), lo+ratio*(hi-lo)
	fa, fb := f(a), f(b)
	for hi-lo > tol && lo < a && b < hi {
		if fa <= fb {
			hi, b, fb = b, a, fa
			a = hi - ratio*(hi-lo)
			fa = f(a)
		} else {
			lo, a, fa = a, b, fb
			b = lo + ratio*(hi-lo)
			fb = f(b)
		}
	}
	return a, fa
}
