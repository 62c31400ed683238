package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ridgerule/measure/reformat"
)

// Points that are passed over must hide no crossing: the walk against the look at every edge.
func TestCrossingsAreThoseOfEveryEdge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		o := &Outline{}
		wave, lobes, n := f(0, 0.5, "wave"), rapid.IntRange(2, 7).Draw(t, "lobes"), rapid.IntRange(8, 250).Draw(t, "n")
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := 8 * (1 + wave*math.Sin(2*math.Pi*float64(i*lobes)/float64(n)))
			o.Points, o.Cut = append(o.Points, reformat.UV{U: r * cos, V: 1.7 * r * sin}), append(o.Cut, false)
		}
		p, d := reformat.UV{U: f(-9, 9, "u"), V: f(-15, 15, "v")}, turnBy(down, f(0, 7, "turn"))
		want := o.hits(p, d)
		o.pace = 1 / o.longest()
		require.Equal(t, want, o.hits(p, d))
	})
}

// A ridge of 8 mm under a mucosa of 4 mm, open below to a sinus: the mucosa makes a more whole shape than the bone does.
// Where the series has taught its grey values, the width is the bone's all the same.
func TestMucosaIsNotTakenForBone(t *testing.T) {
	const r, height, sigma = 4.0, 22.0, 0.45
	outer := stadium(r, height)
	lining := stadium(r+4, height+8)
	mucosa := shape{lining.base + 4, lining.top + 4, func(v float64) (float64, float64) { return lining.row(v - 4) }}
	sinus := shape{-60, -8, func(float64) (lo, hi float64) { return -2.2, 2.2 }}
	bone, covered, open := outer.blurred(sigma), mucosa.blurred(sigma), sinus.blurred(sigma)
	grey := func(p reformat.UV) float64 {
		tissue := air + (soft-air)*covered(p) + (cortex-soft)*bone(p)
		return tissue + (air-tissue)*open(p)
	}
	f := around(height+10, 0.4, 50).field(t, grey)

	plain, err := Trace(f, ImageModel{})
	require.NoError(t, err)
	require.Less(t, plain.level, soft, "the scene is to be one where the mucosa bounds the more whole shape")

	taught := ImageModel{Edges: 9, Soft: soft, SoftSD: 40, Cortex: cortex, CortexSD: 160, Blur: sigma, BlurSD: 0.05}
	o, err := Trace(f, taught)
	require.NoError(t, err)
	ridge := o.Weigh()
	a, err := ridge.FindAxis(nil)
	require.NoError(t, err)
	for _, d := range []float64{5, 6, 7} {
		w, err := ridge.Width(a, d, Placement{})
		require.NoError(t, err)
		require.InDelta(t, 2*r, w.Value, 0.1, "%g mm below the crest", d)
	}
}
