package main

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
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
	_, err := bone.Shape()
	require.NoError(t, err, "closed, and its triangles face outwards")
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

// The surface holds the bone's whole volume, marrow and canal too. The truth is the jaw's own shape, before any
// imaging, sampled every 0.4 mm between the outermost edges across the arch. The surface goes through
// values 0.5 mm apart of a scan with blur and noise: 2 % of the volume is 0.07 mm over the bone's whole surface.
func TestBoneAroundASiteHasTheVolumeOfTheJaw(t *testing.T) {
	o := phantom.Demo(phantom.Mandible)
	o.Scan.Voxel, o.Scan.Size = [3]float64{0.4}, [3]int{}
	o, err := o.Small(36, 44)
	require.NoError(t, err)
	// Marrow is far below the level of the outlines: a hollow shell unless it is filled.
	o.Grey = phantom.Levels{Air: -1000, Fat: -100, Soft: 50, Marrow: 250, Cortex: 1600, Dentine: 2000, Enamel: 2700}
	jaw, err := phantom.New(o)
	require.NoError(t, err)
	v, err := jaw.Volume(t.Context(), nil)
	require.NoError(t, err)
	at := jaw.Plan().Sites[0].At
	sec, _ := jaw.SectionAt(at)
	along := r3.Cross(sec.Up, sec.Buccal)
	s := measure.SiteResult{ID: "36", Frame: reformat.Frame{Origin: at, U: sec.Buccal, V: sec.Up, T: along}}
	const h = 0.4
	length := 12 + finest // a lid stands half a step outside the outermost values
	want := 0.0
	for off := -length/2 + h/2; off < length/2; off += h {
		for v := -35.0; v < 12; v += h {
			first, last := math.NaN(), math.NaN()
			for u := -14.0; u < 14; u += h {
				if p := r3.Add(s.Frame.Patient(reformat.UV{U: u, V: v}), r3.Scale(off, along)); jaw.Grey(p) > 150 {
					if math.IsNaN(first) {
						first = u
					}
					last = u
				}
			}
			if math.IsNaN(first) {
				continue
			}
			want += (last - first + h) * h * h
			if math.Abs(off) < h {
				s.Outline = append(s.Outline, reformat.UV{U: first - h/2, V: v}, reformat.UV{U: last + h/2, V: v})
			}
		}
	}
	bone := boneAround(v, &measure.Result{Sites: []measure.SiteResult{s}})["36"]
	_, err = bone.Shape()
	require.NoError(t, err)
	t.Logf("bone %.0f mm³, jaw %.0f mm³", bone.Volume(), want)
	require.InEpsilon(t, want, bone.Volume(), 0.02)
}
