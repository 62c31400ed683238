package report

// How numbers are written.
//
//	tables   fixed point, four decimals: 0.1 µm, far below any scan, so that a recomputation can
//	         be compared and no rounding of ours is seen in a statistic
//	people   U to two significant digits, at most two decimals, rounded up; the value to the same
//	         decimal. A number whose rounding would change its verdict gets one more decimal.
//
// Source of the second rule: JCGM 100:2008 (GUM), 7.2.6.

import (
	"math"
	"strconv"
	"strings"
)

const minus = "−"

// plain writes x in as few digits as say it exactly: the depths and names of columns.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// decimals returns how many decimals a person is shown of a value with expanded uncertainty U.
func decimals(U float64) int {
	if U >= 1 {
		return 1
	}
	return 2
}

// rounded writes x with n decimals and a true minus sign.
func rounded(x float64, n int) string {
	if math.IsNaN(x) {
		return "no value"
	}
	text := strconv.FormatFloat(math.Abs(x), 'f', n, 64)
	if x < 0 && strings.Trim(text, "0.") != "" {
		return minus + text
	}
	return text
}

// signed is [rounded] with the sign of what is more than 0 as written.
func signed(x float64, n int) string {
	text := rounded(x, n)
	if x > 0 && strings.Trim(text, "0.") != "" {
		return "+" + text
	}
	return text
}

// roundUp writes x ≥ 0 with n decimals, never smaller than it is: an uncertainty is not rounded
// away.
func roundUp(x float64, n int) string { return strconv.FormatFloat(ceil(x, n), 'f', n, 64) }

func ceil(x float64, n int) float64 {
	scale := math.Pow(10, float64(n))
	return math.Ceil(x*scale-1e-9) / scale
}

// nearest returns x as n decimals print it: by the same rounding, so that a check meets what is read.
func nearest(x float64, n int) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'f', n, 64), 64)
	if err != nil {
		return x
	}
	return y
}

// reading is a value with its uncertainty as a person reads it.
type reading struct{ Value, U string }

// read rounds value and its expanded uncertainty U (same unit) for a person.
func read(value, U float64) reading { return readTo(value, U, decimals(U)) }

func readTo(value, U float64, n int) reading {
	if math.IsNaN(value) {
		return reading{}
	}
	if math.IsNaN(U) || U <= 0 {
		return reading{Value: rounded(value, max(2, n))}
	}
	return reading{rounded(value, n), roundUp(U, n)}
}

// readAgainst rounds like read, but to as many decimals (four at most) as the rounded numbers need
// to say of the margin what the numbers say: held if value − U ≥ margin, not held if value + U <
// margin.
func readAgainst(value, U, margin float64) reading {
	n := decimals(U)
	for n < 4 && side(nearest(value, n), ceil(U, n), margin) != side(value, U, margin) {
		n++
	}
	return readTo(value, U, n)
}

// side is 1 where the margin holds, −1 where it does not, else 0.
func side(value, U, margin float64) int {
	switch {
	case value-U >= margin:
		return 1
	case value+U < margin:
		return -1
	}
	return 0
}

// String returns "12.34 ± 0.27", or the value alone where no uncertainty is known.
func (r reading) String() string {
	if r.U == "" {
		return r.Value
	}
	return r.Value + " ± " + r.U
}
