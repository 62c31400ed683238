package ridge

import "slices"

// median returns the median of x in x's unit and reorders x; 0 for an empty x.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	slices.Sort(x)
	n := len(x)
	if n%2 == 1 {
		return x[n/2]
	}
	return (x[n/2-1] + x[n/2]) / 2
}

// quantile returns the value below which a share q of x lies, in x's unit; x keeps its order.
func quantile(x []float64, q float64) float64 {
	if len(x) == 0 {
		return 0
	}
	sorted := slices.Sorted(slices.Values(x))
	return sorted[int(q*float64(len(x)-1)+0.5)]
}
