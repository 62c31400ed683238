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
		end, err := o.End(a, Hand{})
		require.NoError(t, err)
		require.Equal(t, c.through, end.Through, "%+v", c)
		require.InDelta(t, c.length, end.Value, math.Max(0.06, end.U()), "%+v", c)
	}
}
