package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// The doubt whether a floor has a lining is in its budget whichever way the fit decided, and does not jump where the
// decision falls. The closed form of what noise may hide is 0.25 mm here: 0.25·√(4·50/√(700/3)/2600/0.005).
func TestDoubtOfALiningKnowsNoSwitch(t *testing.T) {
	tissue := ImageModel{Soft: 50, Cortex: 1600, Marrow: 400, Edges: 20}
	floor := func(begin estimate, outside, air, thick float64) float64 {
		w := SurfacePatch{active: begin.active(), noise: 50, count: 700}
		w.p[pG0], w.p[pG1], w.p[pGA], w.p[pGamma], w.p[pSigma] = outside, 1600, air, thick, 0.25
		return w.liningTerm(tissue, 0.2)
	}
	lined := func(thick float64) float64 { return floor(estimate{mucosa: true}, 50, -1000, thick) }
	bare := floor(estimate{}, -1000, -1000, beyondReach)
	require.InDelta(t, 0.25/2/math.Sqrt(3), bare, 0.001)
	require.InDelta(t, bare, lined(0.001), 1e-6, "as the lining gets thin")
	require.InDelta(t, bare, lined(0.3), 0.3*bare, "thinner than a voxel and a half")
	require.Greater(t, lined(0.3), lined(0.6))
	require.Less(t, lined(2), 0.01*bare, "a thick one is no doubt")
	require.Zero(t, floor(estimate{}, 50, 50, beyondReach), "soft tissue as far as the fit sees")
}

// A layer on the bone is mucosa where it is thicker than three quarters of the coarsest voxel, and as bright as the series' soft tissue to one and a half of
// its spread; another stack of layers is tried where the fit leaves 1.5 % of its step beyond the noise, or a blur three spreads off.
func TestLayerThatMayBeMucosa(t *testing.T) {
	f := scene{voxel: 0.4, min: reformat.UV{U: -1, V: -1}, max: reformat.UV{U: 1, V: 1}, depth: 1}.field(t, func(reformat.UV) float64 { return soft })
	m := ImageModel{Edges: 9, Soft: 60, SoftSD: 80, Cortex: 1600, Blur: 0.3, BlurSD: 0.02, Noise: 30}
	layer := func(thick, grey float64) *SurfacePatch {
		w := &SurfacePatch{}
		w.p[pGamma], w.p[pG0], w.p[pG1], w.p[pSigma] = thick, grey, 1600, 0.3
		return w
	}
	for _, c := range []struct {
		thick, grey float64
		known, any  bool
	}{{0.31, 60, true, true}, {0.29, 60, false, false}, {1, 179, true, true}, {1, 181, false, true}, {1, -59, true, true}, {1, -61, false, true}} {
		require.Equal(t, c.known, layer(c.thick, c.grey).isMucosa(f, m), "%+v", c)
		require.Equal(t, c.any, layer(c.thick, c.grey).isMucosa(f, ImageModel{}), "%+v", c)
	}
	quiet := &estimate{noise: 30}
	w := layer(1, 100) // a step of 1500: 1.5 % are 22.5
	w.noise = math.Hypot(30, 22)
	require.False(t, w.misfits(quiet, m, quick))
	w.noise = math.Hypot(30, 23)
	require.True(t, w.misfits(quiet, m, quick))
	w.noise = 30
	require.False(t, w.misfits(quiet, ImageModel{}, quick))
	require.True(t, w.misfits(quiet, ImageModel{}, thorough), "before the series is known")
	for sigma, want := range map[float64]bool{0.241: false, 0.239: true, 0.359: false, 0.361: true} {
		w.p[pSigma] = sigma
		require.Equal(t, want, w.misfits(quiet, m, thorough), "%g", sigma)
	}
	w.p[pSigma], w.noise = 0.3, math.Hypot(33, 23)
	require.True(t, w.misfits(&estimate{noise: 90}, m, quick), "no more noise than the series and a tenth")
	w.noise = math.Hypot(33, 22)
	require.False(t, w.misfits(&estimate{noise: 90}, m, quick))
	require.Equal(t, [2]float64{30, 16}, [2]float64{mucosaGain(ImageModel{}), mucosaGain(m)})
}
