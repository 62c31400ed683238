package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// A ridge 7 mm wide, its walls at ±3.5 mm: an axis that runs 0.2 mm beside the bone is taken for its wall's, at 0.5 mm it has no width; 3 mm beside
// it nothing meets the bone. Where an outline is the field's end there is no width and no bone beside.
func TestLinesBesideTheBoneHaveNoNumber(t *testing.T) {
	o := learnt(t, around(20, 0.25, 40), ridgeOf(20))
	at := func(u float64) Axis { return Axis{Crest: reformat.UV{U: u}, Dir: down} }
	for u, want := range map[float64]bool{0: true, 3: true, 3.7: true, 4: false, -3.7: true, -4: false, 7: false} {
		w, err := o.Width(at(u), 9, Placement{})
		if !want {
			require.ErrorIs(t, err, ErrNoWidth, "%g", u)
			continue
		}
		require.NoError(t, err, "%g", u)
		require.InDelta(t, 7, w.Value, w.U())
		require.InDelta(t, 3.5, w.Buccal.U, 0.05)
		require.InDelta(t, -3.5, w.Lingual.U, 0.05)
	}
	right := reformat.UV{U: 1}
	for u, want := range map[float64]float64{0: 3.5, 2: 1.5, 4.5: -1, -6: 9.5, -6.6: math.NaN(), 6.6: math.NaN()} {
		l, err := o.Beside(reformat.UV{U: u, V: -9}, right, 0, Placement{})
		if math.IsNaN(want) {
			require.ErrorIs(t, err, ErrNoWidth, "%g", u)
			continue
		}
		require.NoError(t, err, "%g", u)
		require.InDelta(t, want, l.Value, 0.05, "%g", u)
	}
	_, err := o.End(at(7), Placement{})
	require.ErrorIs(t, err, ErrNoWidth)
	_, err = o.UsableCrest(at(0), 7.5, Placement{})
	require.ErrorIs(t, err, ErrNoWidth)
	given, err := o.FixAxis(reformat.UV{U: 0.5, V: -1}, &reformat.UV{U: 0.2, V: -2})
	require.NoError(t, err)
	require.Equal(t, reformat.UV{U: 0.5, V: -1}, given.Crest)
	require.InDelta(t, 1, norm(given.Dir), 1e-12)
	require.Zero(t, given.CrestSD)
	found, err := o.FixAxis(reformat.UV{U: 0.5, V: -1}, nil)
	require.NoError(t, err)
	require.InDelta(t, 0, found.Tilt(), 2, "the direction is the ridge's own")
	cut := *o.Outline
	cut.Cut = make([]bool, len(cut.Points))
	for i, p := range cut.Points {
		cut.Cut[i] = p.U > 3 // the buccal wall is the field's end
	}
	r := cut.Fit()
	_, err = r.Width(at(0), 9, Placement{})
	require.ErrorIs(t, err, ErrNoWidth)
	_, err = r.Beside(reformat.UV{V: -9}, right, 0, Placement{})
	require.ErrorIs(t, err, ErrNoEdge)
	_, err = r.Beside(reformat.UV{V: -9}, scale(-1, right), 0, Placement{})
	require.NoError(t, err)
	for i, p := range cut.Points {
		cut.Cut[i] = p.V < -15
	}
	_, err = cut.Fit().End(at(0), Placement{})
	require.ErrorIs(t, err, ErrNoEnd)
	for i, p := range cut.Points {
		cut.Cut[i] = p.V > -3 // the crest is the field's end
	}
	r = cut.Fit()
	_, err = r.FixAxis(reformat.UV{V: -1}, nil)
	require.ErrorIs(t, err, ErrNoRidge)
	given, err = r.FixAxis(reformat.UV{V: -1}, &reformat.UV{V: -3})
	require.NoError(t, err, "who gives crest and direction needs no crest of the image")
	require.Equal(t, Axis{Crest: reformat.UV{V: -1}, Dir: down, pivot: reformat.UV{V: -1}}, Axis{Crest: given.Crest, Dir: given.Dir, pivot: given.pivot})
	o.site.smear = 2
	_, err = o.FindAxis(nil)
	require.ErrorIs(t, err, ErrDisturbed)
	_, err = o.FixAxis(reformat.UV{}, &reformat.UV{V: -1})
	require.ErrorIs(t, err, ErrDisturbed, "a given crest makes no image better")
}

// The height to a floor 12 mm below the crest, level or sloping by 20° under an upright line, is 12 mm within its U; what the section's turn and the
// scale add is what they move it by.
func TestHeightToACavity(t *testing.T) {
	const height = 12.0
	bone := shape{-30, 0, func(float64) (float64, float64) { return -8, 8 }}.blurred(0.25)
	for _, slope := range []float64{0, math.Pi / 9} {
		o, _ := trace(t, around(24, 0.3, 10).field(t, func(p reformat.UV) float64 {
			in := phiOf((p.V + height - math.Tan(slope)*p.U) * math.Cos(slope) / 0.25)
			return air*(1-in) + in*soft*(1-bone(p)) + in*bone(p)*cortex
		}))
		at, l, err := o.Cavity(Axis{Dir: down}, Placement{Scale: 0.005, Tilt: 0.05})
		require.NoError(t, err)
		require.InDelta(t, height, l.Value, math.Min(l.U(), 0.1))
		require.InDelta(t, -height, at.V, 0.1)
		require.InDelta(t, uncertainty.Rectangular(0.005)*height, term(t, l.Budget, "scale of the scan").Contribution(), 1e-3)
		// Turned by a small angle about its crest the line meets a floor that slopes by s at height·tan(s) a radian farther or nearer.
		require.InDelta(t, 0.05*height*math.Tan(slope), math.Abs(term(t, l.Budget, "axis direction").Contribution()), 0.02)
		require.Greater(t, term(t, l.Budget, "edge noise, floor").Std, 0.0)
	}
	full := learnt(t, around(20, 0.3, 40), ridgeOf(20))
	_, _, err := full.Cavity(Axis{Dir: down}, Placement{})
	require.ErrorIs(t, err, ErrNoCavity)
}

// Walls are sorted by the way that they face in the patient, whichever way the section lies: the base by its place, the others left or right, front or
// back. A blur counts where it is known and its wall like the stations' bone.
func TestWallsByTheWayTheyFace(t *testing.T) {
	wall := func(outside, inside, blurSD float64) *SurfacePatch {
		w := toldWall(outside, inside)
		w.in = reformat.UV{U: -1}
		w.cov.SetSym(0, 0, blurSD*blurSD)
		return w
	}
	field := around(2, 0.5, 0).field(t, func(reformat.UV) float64 { return 0 })
	station := func(angle float64, walls ...*SurfacePatch) Station {
		s, c := math.Sincos(angle)
		field.Frame = reformat.Frame{U: r3.Vec{X: c, Y: s}, V: r3.Vec{Z: 1}, T: r3.Vec{X: -s, Y: c}}
		st := Station{outline: &Outline{field: field}, soft: soft, cortex: cortex}
		for k, w := range walls {
			st.asked[k], st.fitted[k] = true, w
		}
		return st
	}
	good := wall(soft, cortex, 0.01)
	all := []Station{
		station(0, good, good), station(0.7, good, nil), station(0.9, good), station(1.6, nil), // a wall not fitted has no way but at the base
		station(math.Pi, wall(soft, 1.4*cortex, 0.01)), station(0, wall(soft, cortex, 0.04)), station(0, wall(soft+500, cortex, 0.01)),
	}
	got := facings(all)
	require.Equal(t, 2, got[faceBase].asked)
	require.Len(t, got[faceBase].blur, 1)
	require.Equal(t, 5, got[faceAside].asked)
	require.Equal(t, []float64{0.25, 0.25}, got[faceAside].blur, "not one far brighter, of unknown blur, or beside other tissue")
	require.Equal(t, 1, got[faceAhead].asked)
	require.Len(t, got[faceAhead].blur, 1)
	require.Empty(t, Motion(all, true))
	many := append([]Station{}, all...)
	for range 40 {
		many = append(many, station(0, wall(soft, 2*cortex, 0.01)), station(1.57, good))
	}
	require.Contains(t, Motion(many, false), "none of a single, sharp bone")
}
