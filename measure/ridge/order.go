package ridge

import (
	"math"
	"slices"
)

// nth returns the value that would stand at k (from 0) were x sorted, in x's unit, and reorders x:
// nothing before k is larger, nothing after it smaller.
//
// Method: quickselect (Hoare CAR. Commun ACM 1961;4:321–322, from memory).
func nth(x []float64, k int) float64 {
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

// median returns the median of x in x's unit and reorders x; 0 for an empty x.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	n := len(x)
	upper := nth(x, n/2)
	if n%2 == 1 {
		return upper
	}
	return (slices.Max(x[:n/2]) + upper) / 2
}

// scatter returns the SD that normal deviations of these sizes have, in their unit, and reorders them:
// 1.4826, the normal distribution's ratio, times their median, which a few wild ones do not move.
func scatter(sizes []float64) float64 { return 1.4826 * median(sizes) }

// beyond returns the SD that makes less to more, in their unit; 0 where more is less.
func beyond(more, less float64) float64 { return math.Sqrt(math.Max(0, more*more-less*less)) }

// quantile returns the value below which a share q of x lies, in x's unit; x keeps its order.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return nth(slices.Clone(x), int(q*float64(len(x)-1)+0.5))
}
