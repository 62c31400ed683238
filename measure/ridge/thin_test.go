package ridge

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// A block of voxels whose middle plane lies half-way between two layers, stored one way and the other:
// the same places are kept, and the two halves mirror each other.
func TestThinKeepsTheSamePlacesHoweverTheGridIsStored(t *testing.T) {
	const n = 12
	strides := [3]int{1, n, n * n}
	places := func(flip bool) (kept [][3]float64) {
		var all []reformat.VoxelSample
		for v := range n * n * n {
			at := [3]int{v % n, v / n % n, v / (n * n)}
			if flip {
				at[2] = n - 1 - at[2]
			}
			all = append(all, reformat.VoxelSample{N: 0.2 * float64(at[0]-5), X: 0.2 * float64(at[1]-6), T: 0.2 * (float64(at[2]) - 5.5), Voxel: v})
		}
		for _, g := range thin(all, strides, 300) {
			kept = append(kept, [3]float64{g.N, g.X, g.T})
		}
		slices.SortFunc(kept, func(a, b [3]float64) int { return slices.Compare(a[:], b[:]) })
		return kept
	}
	once, again := places(false), places(true)
	require.Equal(t, once, again)
	require.InDelta(t, n*n*n/7, len(once), 60, "one in seven or so")
	for _, p := range once {
		require.Contains(t, once, [3]float64{p[0], p[1], -p[2]})
	}
}
