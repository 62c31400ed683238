package fit

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// Selection against sorting, ties and all.
func TestMedianAndQuantileAreThoseOfTheSortedValues(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Map(rapid.IntRange(-9, 9), func(i int) float64 { return float64(i) / 4 }), 1, 40).Draw(t, "x")
		q := rapid.Float64Range(0, 1).Draw(t, "q")
		sorted := slices.Sorted(slices.Values(x))
		n := len(x)
		require.Equal(t, sorted[int(q*float64(n-1)+0.5)], Quantile(x, q))
		require.Equal(t, (sorted[(n-1)/2]+sorted[n/2])/2, Median(x))
	})
}
