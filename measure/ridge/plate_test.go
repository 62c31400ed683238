package ridge

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// capped is a ridge 7 mm wide, 22 mm high, with plates of 1.5 mm and solid cortex down to cap mm.
func capped(cap float64) (outer, inner shape) {
	outer, _ = hollow(3.5, 22, 1.5)
	lower := stadium(2, 22-1.5-cap)
	down := func(v float64) (float64, float64) { return lower.row(v + cap) }
	return outer, shape{lower.base - cap, lower.top - cap, down}
}

// Under a crest that is cortex down to 3.6 mm a chord at 3 mm meets no marrow: there are no plates, though
// the fitted walls see the marrow below it. At 7 mm there are the plates that were drawn.
func TestSolidCortexHasNoPlates(t *testing.T) {
	for _, voxel := range []float64{0.2, 0.4} {
		outer, inner := capped(3.6)
		o, a := trace(t, around(22, voxel, 250*voxel).field(t, bony(outer, inner, 0.25)))
		for _, d := range []float64{1, 2, 3} {
			w, err := o.Width(a, d, Placement{})
			require.NoError(t, err)
			for _, p := range w.Plates {
				require.ErrorIs(t, p.Err, ErrSolid, "voxel %g, depth %g: %.2f mm", voxel, d, p.Value)
			}
		}
		w, err := o.Width(a, 7, Placement{})
		require.NoError(t, err)
		for _, p := range w.Plates {
			require.NoError(t, p.Err)
			require.InDelta(t, 1.5, p.Value, p.U()+0.01)
		}
	}
}

// A ridge without marrow has no plates at any depth, nor has one with plates of 1.7 mm on a width of 3.4 mm.
func TestRidgeOfCortexHasNoPlates(t *testing.T) {
	outer := stadium(1.7, 20)
	a := outer.blurred(0.2)
	grey := func(p reformat.UV) float64 { return soft + (cortex-soft)*a(p) }
	o, axis := trace(t, around(20, 0.2, 50).field(t, grey))
	for _, d := range []float64{2, 5, 9} {
		w, err := o.Width(axis, d, Placement{})
		require.NoError(t, err)
		for _, p := range w.Plates {
			require.Error(t, p.Err, "depth %g: %.2f of %.2f mm", d, p.Value, w.Value)
		}
	}
}

// The rule alone: of a width of 6.0 ± 0.2 mm, plates of 2.8 and 2.9 mm leave 0.3 mm and stand, of 2.9 and
// 3.0 mm they do not; 1.0 ± 0.5 mm stands, 1.0 ± 0.52 mm does not. Both bounds are the method's.
func TestPlatesThatCannotBeHaveNoNumber(t *testing.T) {
	plate := func(value, u float64) Plate {
		return Plate{Length: uncertainty.Length{Value: value, Budget: uncertainty.Budget{{Name: "edge noise", Std: u / 2}}}}
	}
	width := plate(6, 0.2).Length
	for _, c := range []struct {
		buccal, lingual Plate
		fails           [2]bool
	}{
		{plate(2.8, 0.1), plate(2.9, 0.1), [2]bool{}},
		{plate(2.9, 0.1), plate(3, 0.1), [2]bool{true, true}},
		{plate(1, 0.499), plate(2, 0.1), [2]bool{}},
		{plate(1, 0.52), plate(2, 0.1), [2]bool{true, false}},
		{plate(2, 0.1), plate(1, 0.52), [2]bool{false, true}},
	} {
		got := believed([2]Plate{c.buccal, c.lingual}, false, width)
		for i := range got {
			require.Equal(t, c.fails[i], got[i].Err != nil, "%g and %g mm: %v", c.buccal.Value, c.lingual.Value, got[i].Err)
		}
		for _, p := range believed([2]Plate{c.buccal, c.lingual}, true, width) {
			require.ErrorIs(t, p.Err, ErrSolid)
		}
	}
}

// The mean about a point of a grey value that rises evenly each way is the point's own, along the arch too.
func TestMeanAboutAPointIsItsOwn(t *testing.T) {
	s := around(20, 0.4, 0)
	s.shear = 0.5 // the grey value falls by 25 a mm along the arch
	f := s.field(t, func(p reformat.UV) float64 { return 300 + 50*p.U + 20*p.V })
	o := &Outline{field: f}
	for _, p := range []reformat.UV{{U: 0, V: -8}, {U: 1.3, V: -10.1}} {
		require.InDelta(t, f.Grey(p, 0), o.about(p, unit(reformat.UV{U: 1, V: 0.3})), 0.5)
	}
}
