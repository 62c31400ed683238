package ridge

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// A ridge 7 mm wide with plates of 1.5 mm has outer edges at u = ±3.5 and inner ones at ±2: the edge near a place is the nearer of the two, square to
// the wall, with a normal out of the bone. Farther than what was asked there is none, and none where the field ends first.
func TestEdgeNearAPlace(t *testing.T) {
	o := learnt(t, around(20, 0.25, 40), ridgeOf(20))
	for _, side := range []float64{1, -1} {
		for _, c := range []struct {
			u, most, edge float64
			inner         bool
		}{{4.2, 1, 3.5, false}, {3.1, 1, 3.5, false}, {2.3, 1, 2, true}, {1.4, 1, 2, true}, {2.9, 1, 3.5, false}, {2.6, 1, 2, true}} {
			e, err := o.EdgeNear(reformat.UV{U: side * c.u, V: -9}, c.most)
			require.NoError(t, err)
			require.Equal(t, c.inner, e.Inner, "%g", c.u)
			require.InDelta(t, side*c.edge, e.At.U, 2*e.Std)
			require.InDelta(t, -9, e.At.V, 0.05)
			require.InDelta(t, side, e.Normal.U, 0.01)
			require.True(t, e.Std > 0.003 && e.Std < 0.06, "%g mm", e.Std)
		}
		_, err := o.EdgeNear(reformat.UV{U: side * 5, V: -9}, 1)
		require.ErrorIs(t, err, ErrNoEdge)
		_, err = o.EdgeNear(reformat.UV{U: side * 4.6, V: -9}, 1)
		require.ErrorIs(t, err, ErrNoEdge, "1.1 mm")
		_, err = o.EdgeNear(reformat.UV{U: side * 12, V: -9}, 1)
		require.ErrorIs(t, err, ErrNoEdge)
	}
	// What is asked of a copy the ridge does not know, and the copy knows what the ridge was asked before.
	before := len(o.walls)
	c := o.Clone()
	require.Len(t, c.walls, before)
	_, err := c.EdgeNear(reformat.UV{V: 0.2}, 1)
	require.NoError(t, err)
	require.Greater(t, len(c.walls), before)
	require.Len(t, o.walls, before)
	cut := *o.Outline
	cut.Cut = make([]bool, len(cut.Points))
	for i := range cut.Cut {
		cut.Cut[i] = true
	}
	_, err = cut.Fit().EdgeNear(reformat.UV{U: 3.5, V: -9}, 1)
	require.ErrorIs(t, err, ErrNoEdge)
}
