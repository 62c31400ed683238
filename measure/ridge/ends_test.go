package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// Where an axis leaves a stadium 7 mm wide and 24 mm high, and through what, by hand. Leaning by 20° from
// the middle it meets the side 3.5/sin 20° = 10.23 mm along. Upright and u mm beside the middle
// it meets the round base where the outward normal lies asin(u/3.5) off it: 38.9° for 2.2 mm is the base,
// 53.1° for 2.8 mm a wall; the limit is 45°.
func TestAxisLeavesThroughBaseOrWall(t *testing.T) {
	const r, height = 3.5, 24.0
	outer, inner := hollow(r, height, 1.5)
	o, _ := trace(t, around(height, 0.25, 40).field(t, bony(outer, inner, 0.22)))
	lean := func(deg float64) reformat.UV { return turnBy(down, deg*math.Pi/180) }
	round := func(u float64) float64 { return height - 4 - r + math.Sqrt(r*r-u*u) } // from 4 mm below the crest
	for _, c := range []struct {
		crest, dir reformat.UV
		through    Surface
		length     float64
	}{
		{reformat.UV{}, lean(0), Base, height - 4},
		{reformat.UV{}, lean(20), BuccalWall, r / math.Sin(math.Pi/9)},
		{reformat.UV{}, lean(-20), LingualWall, r / math.Sin(math.Pi/9)},
		{reformat.UV{U: 2.2}, down, Base, round(2.2)},
		{reformat.UV{U: -2.2}, down, Base, round(2.2)},
		{reformat.UV{U: 2.8}, down, BuccalWall, round(2.8)},
		{reformat.UV{U: -2.8}, down, LingualWall, round(2.8)},
	} {
		c.crest.V = -4 // below the crest's rounding
		a, err := o.FixAxis(c.crest, &c.dir)
		require.NoError(t, err)
		end, err := o.End(a, Placement{})
		require.NoError(t, err)
		require.Equal(t, c.through, end.Through, "%+v", c)
		require.InDelta(t, c.length, end.Value, math.Max(0.06, end.U()), "%+v", c)
	}
}

// A base that is a half circle of 2.5 mm under a cortex of 3 mm: its inner surface lies past the circle's centre. The height
// is as drawn, and the surface as round. Fitted together with the inner one its curvature comes out at 0.25/mm, and the height
// 0.013 mm short at a blur of 0.2 mm.
func TestBaseUnderACortexThickerThanItsRadius(t *testing.T) {
	const r, height, thick = 2.5, 20.0, 3.0
	in := stadium(1, height-1.5-thick)
	inner := shape{-height + thick, -1.5, func(v float64) (float64, float64) { return in.row(v + 1.5) }}
	for _, sigma := range []float64{0.2, 0.3} {
		o, a := trace(t, around(height, 0.25, 5).field(t, bony(stadium(r, height), inner, sigma)))
		end, err := o.End(a, Placement{})
		require.NoError(t, err)
		require.InDelta(t, height, end.Value, 0.01, "blur %g mm", sigma)
		_, b, ok := o.span(a.At(0.3), a.Dir)
		require.True(t, ok)
		_, w, err := o.outerEdge(a.At(0.3), a.Dir, b)
		require.NoError(t, err)
		require.InDelta(t, 1/r, w.p[pCXX], 0.05, "blur %g mm", sigma)
	}
}
