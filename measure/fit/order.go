package fit

import "slices"

// Nth returns the value that would stand at k (from 0) were x sorted, in x's unit, and reorders x:
// nothing before k is larger, nothing after it smaller. No value may be NaN.
//
// Method: quickselect (Hoare CAR. Commun ACM 1961;4:321–322, from memory).
func Nth(x []float64, k int) float64 {
	for low, high := 0, len(x)-1; low < high; {
		pivot, i, j := x[(low+high)/2], low, high
		for i <= j {
			for x[i] < pivot {
				i++
			}
			for x[j] > pivot {
				j--
			}
			if i <= j {
				x[i], x[j] = x[j], x[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			high = j
		case k >= i:
			low = i
		default:
			return x[k]
		}
	}
	return x[k]
}

// Median returns the median of x, in x's unit, and reorders x: the mean of the two in the middle where their number is
// even; 0 for an empty x.
func Median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	n := len(x)
	upper := Nth(x, n/2)
	if n%2 == 1 {
		return upper
	}
	return (slices.Max(x[:n/2]) + upper) / 2
}

// MADToSD is the SD of a normal distribution over the median of its absolute deviations.
const MADToSD = 1.4826

// Scatter returns the SD that normal deviations of these sizes have, in their unit, and reorders them: [MADToSD] times
// their median, which a few outliers do not move.
func Scatter(sizes []float64) float64 { return MADToSD * Median(sizes) }

// Quantile returns the value of x below which a share q (0 to 1) of x lies, in x's unit; x keeps its order. Between two
// values it is the nearer one, of two as near the upper one: at 0.5 a median that is one of the values. 0 for an empty x.
func Quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return Nth(slices.Clone(x), int(q*float64(len(x)-1)+0.5))
}
