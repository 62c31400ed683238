package main

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// A height without an end has NaN there; the picture still shows the bone.
func TestExtentOfASiteWithoutHeight(t *testing.T) {
	nan := reformat.UV{U: math.NaN(), V: math.NaN()}
	low, high := extent(measure.SiteResult{Outline: []reformat.UV{{U: -3, V: -10}, {U: 4, V: -10}, {V: 9}}, Crest: reformat.UV{V: 9}, HeightEnd: nan})
	require.Equal(t, reformat.UV{U: -3 - aroundBone, V: -10 - aroundBone}, low)
	require.Equal(t, reformat.UV{U: 4 + aroundBone, V: 9 + aroundBone}, high)
}

// The bone of ridgeVolume at (20, −4) is a wall 8 mm wide and 25 mm high. A box of 12 mm along a tangent of
// the parabola y = x²/25 − 20 holds very nearly 12·8·25 mm³ of it: the wall bends away by at most 0.24 mm at
// the box's ends (curvature 2/25/(1+1.6²)^1.5), inside the box. Coordinates are the patient's.
func TestBoneAroundASiteIsClosedAndInThePatient(t *testing.T) {
	v := ridgeVolume()
	along := r3.Unit(r3.Vec{X: 1, Y: 1.6})
	s := measure.SiteResult{ID: "36", Frame: reformat.Frame{Origin: r3.Vec{X: 20, Y: -4, Z: 20}, U: r3.Vec{X: along.Y, Y: -along.X}, V: r3.Vec{Z: 1}, T: along}}
	for v := -20.0; v <= 5; v++ { // both sides, as an outline has them
		s.Outline = append(s.Outline, reformat.UV{U: -4, V: v}, reformat.UV{U: 4, V: v})
	}
	bone := boneAround(v, &measure.Result{Sites: []measure.SiteResult{s}})["36"]
	require.NotNil(t, bone)
	require.NoError(t, bone.Validate(), "closed, and its triangles face outwards")
	length := 12 + finest // a lid stands half a step outside the outermost values
	require.InEpsilon(t, length*8*25, bone.Volume(), 0.02)
	for _, p := range bone.Points {
		q, off := s.Frame.Section(p)
		require.LessOrEqual(t, math.Abs(off), alongArch+finest)
		require.LessOrEqual(t, math.Abs(q.U), 4.6)
		// The bone stands on z = 0 and ends at 25 mm; at the rims of the lids it flares by half a step.
		require.InDelta(t, 12.5, p.Z, 12.5+finest/2+0.05)
	}
}
