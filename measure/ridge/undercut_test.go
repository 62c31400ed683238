package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// By hand: half of U is none, with a U of 1.5; a fifth more than U reaches down to none; twice U stands.
func TestSmallHollowsHeldAgainstTheirU(t *testing.T) {
	for _, c := range [][4]float64{{0.5, 1, 0, 1.5}, {1.2, 1, 1.2, 1.2}, {2, 1, 2, 1}, {0, 1, 0, 1}} {
		u := Undercut{Depth: 9}
		u.Value, u.Budget = c[0], uncertainty.Budget{{Name: "touch", Std: c[1] / 2}}
		u.standOut()
		require.InDelta(t, c[2], u.Value, 1e-12)
		require.InDelta(t, c[3], u.U(), 1e-12, "%v", c)
	}
}

// lipped is a ridge 8 mm wide whose buccal wall runs outward from 5 to 21 mm below the crest, with a
// hollow 1 mm deep half-way: the line that touches it below does so 21 mm below the crest.
func lipped(v float64) (lo, hi float64) {
	lo, hi = stadium(4, 40).row(v)
	if v > -5 {
		return lo, hi
	}
	d := math.Min(16, -v-5)
	return lo, hi + 0.09*d - math.Pow(math.Sin(math.Pi*d/16), 2)
}

// A hollow is given where its wall is seen; where the field cuts it, or a wall that shows none before
// 20 mm, there is none to give; where it ends a little past the stretch that is followed, nor.
func TestWallsThatTheFieldOrTheJawCuts(t *testing.T) {
	outer := shape{-40, 0, lipped}
	inner := shape{-38.5, -1.5, func(v float64) (lo, hi float64) { lo, hi = lipped(v); return lo + 1.5, hi - 1.5 }}
	grey := bony(outer, inner, 0.25)
	measure := func(end, most float64) (Undercut, error) {
		s := scene{voxel: 0.3, noise: 30, min: reformat.UV{U: -9, V: end}, max: reformat.UV{U: 11, V: 5}, depth: 2}
		o, a := trace(t, s.field(t, grey))
		return o.Undercut(a, true, most, Placement{})
	}
	u, err := measure(-30, math.Inf(1))
	require.NoError(t, err)
	require.InDelta(t, 1, u.Value, 0.08, "the sine's height, less what the slope of the line takes")
	require.InDelta(t, 13, u.Depth, 1)
	for end, why := range map[float64]string{-17: "runs out of it", -8: "no hollow as far as it shows it"} {
		_, err = measure(end, math.Inf(1))
		require.ErrorIs(t, err, ErrCutWall, "field to %g mm", end)
		require.ErrorContains(t, err, why)
	}
	_, err = measure(-30, UpperWall)
	require.ErrorIs(t, err, ErrFlare)
}

// A hollow's depth is that of its deepest point below a line: the two places where the line touches share one part, the deepest point has the other. A
// ridge that as a whole runs to buccal along the arch has the same hollow everywhere, and its place along the arch adds nothing.
func TestHollowsBudget(t *testing.T) {
	s := around(26, 0.35, 20)
	s.shear = 0.3
	o, a := trace(t, s.field(t, arched()))
	h := Placement{Position: 1, Rotation: 0.04, Scale: 0.005}
	u, err := o.Undercut(a, false, math.Inf(1), h)
	require.NoError(t, err)
	require.InDelta(t, 8-math.Sqrt(48), u.Value, 0.15)
	part := func(name string) uncertainty.Term { return term(t, u.Budget, name) }
	require.InDelta(t, 1, part("upper touch").Sensitivity+part("lower touch").Sensitivity, 1e-9)
	require.InDelta(t, 0.5, part("upper touch").Sensitivity, 0.2, "the deepest point lies half-way")
	require.InDelta(t, -1, part("deepest point").Sensitivity, 1e-9)
	require.InDelta(t, 0, part("section place along the arch").Contribution(), 0.1, "of 0.3 mm that each point moves by")
	require.InDelta(t, 0.04*u.Value/2, part("section direction").Contribution(), 1e-9)
	require.InDelta(t, uncertainty.Rectangular(0.005)*u.Value, part("scale of the scan").Contribution(), 1e-9)
	for _, name := range []string{"upper touch", "lower touch", "deepest point"} {
		require.Greater(t, part(name).Std, 0.002, name)
	}
}
