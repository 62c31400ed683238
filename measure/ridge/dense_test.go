package ridge

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// roundBody is a region of the section bounded by a circle.
func roundBody(middle reformat.UV, r float64) shape {
	return shape{middle.V - r, middle.V + r, func(v float64) (lo, hi float64) {
		half := math.Sqrt(math.Max(0, r*r-(v-middle.V)*(v-middle.V)))
		return middle.U - half, middle.U + half
	}}
}

// with is the grey profile with a body of the given grey value set into it.
func with(grey func(reformat.UV) float64, s shape, value float64) func(reformat.UV) float64 {
	in := s.blurred(0.22)
	return func(p reformat.UV) float64 { x := in(p); return grey(p)*(1-x) + value*x }
}

// A root inside the bone is told of where it stands, with about its area πr²: the half-level of a
// body whose contrast to marrow is 1750 lies inside it at the level asked for. The ridge is still
// measured.
func TestRootInTheSectionIsReported(t *testing.T) {
	const r = 2.0
	o := learnt(t, around(20, 0.3, 40), with(ridgeOf(20), roundBody(reformat.UV{U: 0.2, V: -8}, r), 2200))
	b := Bodies(o.field, o.tissue, func(Body) bool { return true })
	require.Len(t, b, 1)
	require.InDelta(t, 0.2, b[0].Middle.U, 0.2)
	require.InDelta(t, -8, b[0].Middle.V, 0.2)
	require.InDelta(t, math.Pi*r*r, b[0].Area, 0.3*math.Pi*r*r)
	a, err := o.FindAxis(nil)
	require.NoError(t, err)
	require.Contains(t, strings.Join(o.Notes(a), "; "), "denser than cortical bone")
}

// A crown on the ridge is no crest: there is no axis until the plan gives the crest. What bone is
// like the series must know from another site; a crown alone teaches enamel.
func TestTopOfACrownIsNoCrest(t *testing.T) {
	bare := NewStation(around(20, 0.3, 40).field(t, ridgeOf(20)))
	crowned := around(20, 0.3, 40).field(t, with(ridgeOf(20), roundBody(reformat.UV{V: 1.5}, 3.2), 2700))
	outline, err := Trace(crowned, Learn([]Station{bare, NewStation(crowned)}))
	require.NoError(t, err)
	o := outline.Weigh()
	_, err = o.FindAxis(nil)
	require.ErrorIs(t, err, ErrBody)
	a, err := o.FixAxis(reformat.UV{}, &reformat.UV{V: -1})
	require.NoError(t, err)
	w, err := o.Width(a, 8, Placement{})
	require.NoError(t, err)
	require.InDelta(t, 7, w.Value, w.U())
}

// Bone alone holds no body and no socket, however bright its cortex and however noisy the scan.
func TestBoneHoldsNoBody(t *testing.T) {
	for _, noise := range []float64{0, 150} {
		o := learnt(t, around(20, 0.3, noise), ridgeOf(20))
		a, err := o.FindAxis(nil)
		require.NoError(t, err)
		require.Empty(t, o.Notes(a))
	}
}

// A hole in the crest 4 mm wide and 7 mm deep, as an extraction leaves it, is told of: beside it
// where the site lies on its rim, as the reason where it lies in the hole itself.
func TestOpenSocketIsReported(t *testing.T) {
	outer, inner := hollow(5, 22, 1.2)
	for _, at := range []float64{-1.7, 0} {
		slot := shape{-7, 1, func(float64) (lo, hi float64) { return at, at + 4 }}
		o := learnt(t, around(22, 0.3, 40), with(bony(outer, inner, 0.22), slot, soft))
		a, err := o.FindAxis(nil)
		text := strings.Join(o.Notes(a), "; ")
		if err != nil {
			text = err.Error()
		} else {
			width, depth, ok := o.Socket(a)
			require.True(t, ok)
			require.InDelta(t, 4, width, 0.6)
			require.InDelta(t, 6.5, depth, 1.5, "from where both rims stand")
		}
		require.Contains(t, text, "socket")
	}
}

// Beside a ridge that leans away from it the palate's bone runs toward the midline: what lies between them
// is the mouth and no socket, however high the palate.
func TestMouthBesideTheRidgeIsNoSocket(t *testing.T) {
	outer, inner := hollow(3.5, 26, 1.2)
	for _, height := range []float64{-5, -8, -11} {
		for _, end := range []float64{-25, -15, -9.5} { // of the palate, mm: past the search, at a midline, a short shelf
			shelf := shape{height - 3, height, func(float64) (lo, hi float64) { return end, 0 }}
			s := around(26, 0.4, 40)
			s.min.U = -22
			o := learnt(t, s, with(turned(bony(outer, inner, 0.3), -0.2), shelf, cortex))
			a, err := o.FindAxis(nil)
			require.NoError(t, err)
			width, depth, ok := o.Socket(a)
			require.False(t, ok, "palate at %g to %g mm: %.1f mm wide, %.1f mm deep", height, end, width, depth)
		}
	}
}
