package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"ridgerule/measure/reformat"
)

// hollow returns the stadium of radius r and its marrow behind a cortex of thickness tau.
func hollow(r, height, tau float64) (outer, inner shape) {
	outer = stadium(r, height)
	in := stadium(r-tau, height-2*tau)
	inner = shape{in.base - tau, in.top - tau, func(v float64) (float64, float64) { return in.row(v + tau) }}
	return outer, inner
}

// trace outlines the scene and measures with what it has learnt itself, as a run does.
func trace(t testing.TB, f reformat.Field) (*Ridge, Axis) {
	outline, err := Trace(f, EstimateImage([]Station{NewStation(f)}))
	require.NoError(t, err)
	o := outline.Weigh()
	a, err := o.FindAxis(nil)
	require.NoError(t, err)
	return o, a
}

// The width of a ridge with a round crest of radius r is the chord of the circle at depth d above
// its middle, 2·√(d·(2r−d)), and 2r below it. Source: Euclid III.35. Grid turned and shifted;
// 0.2 mm voxels, sigma 0.2 mm, noise 50: the mean of six scans is within 0.015 mm, each within
// 0.04 mm, and the plates of 1.5 mm likewise.
func TestWidthsOfARoundedRidge(t *testing.T) {
	const r, height, tau = 3.5, 22.0, 1.5
	outer, inner := hollow(r, height, tau)
	grey := bony(outer, inner, 0.2)
	errs := map[float64][]float64{}
	var crest, plates, heights, tilts []float64
	for n := range 6 {
		s := around(height, 0.2, 50)
		s.seed, s.turn, s.offset = uint64(n), 0.13*float64(n), reformat.UV{U: 0.37 * float64(n), V: 0.21 * float64(n)}
		o, a := trace(t, s.field(t, grey))
		crest = append(crest, a.Crest.V)
		tilts = append(tilts, a.Tilt())
		for _, d := range []float64{1, 3, 5, 10} {
			want := 2 * r
			if d < r {
				want = 2 * math.Sqrt(d*(2*r-d))
			}
			w, err := o.Width(a, d, Placement{})
			require.NoError(t, err)
			errs[d] = append(errs[d], w.Value-want)
			if d >= 5 {
				plates = append(plates, w.Plates[0].Value-tau, w.Plates[1].Value-tau)
				require.NoError(t, w.Plates[0].Err)
			}
		}
		h, err := o.End(a, Placement{})
		require.NoError(t, err)
		heights = append(heights, h.Value-height)
	}
	check := func(what string, e []float64, bias, each float64) {
		m, sd := stat.MeanStdDev(e, nil)
		t.Logf("%s: bias %+.4f SD %.4f", what, m, sd)
		require.InDelta(t, 0, m, bias, what)
		for _, v := range e {
			require.InDelta(t, 0, v, each, what)
		}
	}
	for d, e := range errs {
		check("width", e, 0.015, 0.03+0.03/d)
	}
	check("crest", crest, 0.015, 0.03)
	check("plate", plates, 0.015, 0.04)
	check("height", heights, 0.015, 0.04)
	check("tilt", tilts, 0.2, 0.8)
}

// A jaw whose base lies past the field's end keeps its width wherever the field ends: its marrow, open
// there, is inside it. Once, where the field ended about 13 mm below the site and aslant, a single plate
// was taken for the ridge.
func TestWidthWhereverTheFieldEnds(t *testing.T) {
	const r, tau = 5.0, 1.5
	outer, inner := hollow(r, 40, tau)
	grey := bony(outer, inner, 0.25)
	for _, end := range []float64{-9, -11, -12.94, -13.06, -13.18, -13.42, -15, -17.5, -20} {
		for _, turn := range []float64{0, 0.05, -0.05, 0.3} {
			s := scene{voxel: 0.3, noise: 30, min: reformat.UV{U: -9, V: end}, max: reformat.UV{U: 9, V: 9}, depth: 2, turn: turn}
			o, a := trace(t, s.field(t, grey))
			for _, d := range []float64{3, 6} {
				want := 2 * math.Sqrt(min(d, r)*(2*r-min(d, r)))
				w, err := o.Width(a, d, Placement{})
				require.NoError(t, err, "field to %g mm, turned by %g", end, turn)
				require.InDelta(t, want, w.Value, 0.06, "field to %g mm, turned by %g, depth %g", end, turn, d)
			}
		}
	}
}

// Where the field ends below the crest there is no ridge to measure, however much bone is seen; where
// it ends beside the axis' widths there is no direction to speak of.
func TestFieldThatCutsTheCrest(t *testing.T) {
	outer, inner := hollow(4, 25, 1.5)
	grey := bony(outer, inner, 0.25)
	find := func(top, side float64) (Axis, error) {
		s := scene{voxel: 0.3, noise: 30, min: reformat.UV{U: -9, V: -20}, max: reformat.UV{U: side, V: top}, depth: 2}
		f := s.field(t, grey)
		outline, err := Trace(f, EstimateImage([]Station{NewStation(f)}))
		require.NoError(t, err)
		o := outline.Weigh()
		return o.FindAxis(nil)
	}
	for _, top := range []float64{0.2, -0.5, -1, -4} {
		_, err := find(top, 9)
		require.ErrorIs(t, err, ErrNoRidge, "field to %g mm", top)
		require.ErrorContains(t, err, "field ends before its crest", "field to %g mm", top)
	}
	a, err := find(3, 4)
	require.NoError(t, err)
	require.Greater(t, a.DirSD, 0.1)
}

// A turned ridge is tilted by that angle; seen in a mirror it has the same widths and the opposite
// tilt; moved by whole voxels it keeps every number.
func TestMirrorAndShift(t *testing.T) {
	outer, inner := hollow(3, 18, 1.2)
	measure := func(by float64, shift reformat.UV) (Axis, []float64) {
		grey := turned(bony(outer, inner, 0.2), by)
		o, a := trace(t, around(18, 0.25, 0).field(t, func(p reformat.UV) float64 { return grey(sub(p, shift)) }))
		var w []float64
		for _, d := range []float64{2, 5, 8} {
			x, err := o.Width(a, d, Placement{})
			require.NoError(t, err)
			w = append(w, x.Value)
		}
		return a, w
	}
	right, wr := measure(0.2, reformat.UV{})
	mirrored, wm := measure(-0.2, reformat.UV{})
	require.InDelta(t, 0.2*180/math.Pi, right.Tilt(), 0.2, "a base turned toward buccal is a positive tilt")
	require.InDelta(t, -right.Tilt(), mirrored.Tilt(), 0.1)
	require.InDeltaSlice(t, wr, wm, 0.01)
	shifted, ws := measure(0.2, reformat.UV{U: 0.5, V: 0.25})
	require.InDelta(t, right.Tilt(), shifted.Tilt(), 0.05)
	require.InDeltaSlice(t, wr, ws, 0.01)
	require.InDelta(t, right.Crest.U+0.5, shifted.Crest.U, 0.01)
}

// A ridge narrower at the crest: the width reaches W at a depth that the circle gives in closed
// form, d = r − √(r² − W²/4).
func TestUsableCrestOfARoundedRidge(t *testing.T) {
	const r, want = 3.5, 6.0
	outer, inner := hollow(r, 20, 1.2)
	o, a := trace(t, around(20, 0.2, 30).field(t, bony(outer, inner, 0.2)))
	d, err := o.UsableCrest(a, want, Placement{})
	require.NoError(t, err)
	require.InDelta(t, r-math.Sqrt(r*r-want*want/4), d.Value, 0.03)
	_, err = o.UsableCrest(a, 9, Placement{})
	require.ErrorIs(t, err, ErrNoWidth)
}

// arched is the usual ridge 26 mm high with a hollow of one circular arc in its lingual wall, r 8 mm, chord 8 mm, 13 mm below the crest.
func arched() func(reformat.UV) float64 {
	outer, inner := hollow(3.5, 26, 0.8)
	const r, middle = 8.0, -13.0
	hollowed := func(s shape) shape {
		return shape{s.base, s.top, func(v float64) (float64, float64) {
			lo, hi := s.row(v)
			if d := v - middle; math.Abs(d) < 4 {
				lo += math.Sqrt(r*r-d*d) - math.Sqrt(r*r-16)
			}
			return lo, hi
		}}
	}
	return bony(hollowed(outer), hollowed(inner), 0.2)
}

// A wall with a hollow of one circular arc: depth below the tangent line is the arc's sagitta less
// nothing, for the arc meets the upright wall at its two ends: 8 − √48.
func TestUndercutIsTheSagitta(t *testing.T) {
	o, a := trace(t, around(26, 0.2, 50).field(t, arched()))
	u, err := o.Undercut(a, false, math.Inf(1), Placement{})
	require.NoError(t, err)
	require.InDelta(t, 8-math.Sqrt(48), u.Value, 0.1)
	require.InDelta(t, 13, u.Depth, 1)
	other, err := o.Undercut(a, true, math.Inf(1), Placement{})
	require.NoError(t, err)
	require.Less(t, other.Value, 0.1)
}

// No bone, no ridge: an empty field, and one where nothing is brighter than its surroundings.
func TestNoRidgeIsAnError(t *testing.T) {
	for _, noise := range []float64{0, 60} {
		_, err := Trace(around(15, 0.4, noise).field(t, func(reformat.UV) float64 { return soft }), ImageModel{})
		if err == nil {
			o, _ := Trace(around(15, 0.4, noise).field(t, func(reformat.UV) float64 { return soft }), ImageModel{})
			_, err = o.Fit().FindAxis(nil)
		}
		require.Error(t, err, "noise %g", noise)
	}
}
