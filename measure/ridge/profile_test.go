package ridge

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// A profile along the normal, by hand: bins of 0.1 mm from −2, their middles at −1.95, −1.85 …
func TestProfileByHand(t *testing.T) {
	p := profile{low: -2, step: 0.1, grey: make([]float64, 40)}
	for i := range p.grey {
		require.InDelta(t, -1.95+0.1*float64(i), p.at(i), 1e-12)
		require.Equal(t, i, p.bin(p.at(i)))
		require.Equal(t, i, p.bin(-2+0.1*float64(i)), "a border belongs to the bin above it")
		p.grey[i] = 100 * math.Max(0, math.Min(1, (p.at(i)-0.2)/0.8)) // rises from 0.2 to 1.0 mm
	}
	require.Equal(t, 0, p.bin(-9))
	require.Equal(t, 39, p.bin(9))
	edge := p.steepest(-1.5, 1.5)
	require.True(t, p.at(edge) > 0.2 && p.at(edge) < 0.6, "of edges as steep the one nearest to where it was expected: %g", p.at(edge))
	for _, from := range []int{edge, edge + 2} {
		require.InDelta(t, 0.6, p.crossing(from, 50), 1e-9)
		require.InDelta(t, 0.4, p.crossing(from, 25), 1e-9)
	}
	require.InDelta(t, p.at(3), p.crossing(3, 500), 1e-12, "no such level: where it was looked for")
	require.GreaterOrEqual(t, p.at(p.climb(edge, +1, 1.5)), 0.95)
	require.LessOrEqual(t, p.at(p.descend(edge, -1, 1.5)), 0.25)
	require.LessOrEqual(t, p.at(p.climb(edge, +1, 0.3)), p.at(edge)+0.3+1e-9, "no farther than its reach")
	require.Equal(t, -1, p.steepest(-1.5, -0.5), "flat")
	slices.Reverse(p.grey)
	require.Equal(t, -1, p.steepest(-1.5, 1.5), "a fall is no edge")
	// Two edges: one as steep farther off is passed over, one half again as steep is not.
	for factor, want := range map[float64]float64{1: 0, 1.5: 1} {
		for i := range p.grey {
			p.grey[i] = 50*math.Tanh(p.at(i)/0.1) + factor*50*math.Tanh((p.at(i)-1)/0.1)
		}
		require.InDelta(t, want, p.at(p.steepest(-1.2, 1.2)), 0.11, "%g", factor)
	}
}

// Means of bins, empty ones on the straight line between their neighbours, smoothed by 1-2-1: a straight profile stays as it is.
func TestAverageOfSamples(t *testing.T) {
	var all []reformat.VoxelSample
	for i := range 10 {
		n := 0.05 + 0.1*float64(i)
		if i == 4 || i == 5 || i == 0 {
			continue
		}
		all = append(all, reformat.VoxelSample{N: n, Grey: 10*float64(i) + 3}, reformat.VoxelSample{N: n, Grey: 10*float64(i) - 3})
	}
	all = append(all, reformat.VoxelSample{N: -0.01, Grey: 9999}, reformat.VoxelSample{N: 1.001, Grey: 9999})
	p := average(all, 0, 1, 0.1)
	require.Len(t, p.grey, 10)
	want := []float64{10, 10, 20, 30, 40, 50, 60, 70, 80, 90} // the first as the first full one
	for i := range want {
		smooth := (want[max(0, i-1)] + 2*want[i] + want[min(9, i+1)]) / 4
		require.InDelta(t, smooth, p.grey[i], 1e-9, "%d", i)
	}
	q := profile{grey: []float64{math.NaN(), 4, math.NaN(), math.NaN(), 10, math.NaN()}}
	q.bridge()
	require.Equal(t, []float64{4, 4, 6, 8, 10, 10}, q.grey)
}

// Where the profile is flat the samples scatter about it by the noise. The scatter of ±20 about a level, as an SD of normal noise, is 20/0.6745.
func TestNoiseOfAProfile(t *testing.T) {
	p := profile{low: 0, step: 0.1, grey: make([]float64, 20)}
	var all []reformat.VoxelSample
	for i := range p.grey {
		p.grey[i] = 100 * math.Max(0, float64(i-10))
		spread := 20.0
		if i >= 10 {
			spread = 500 // on the slope: not looked at
		}
		all = append(all, reformat.VoxelSample{N: p.at(i), Grey: p.grey[i] + spread}, reformat.VoxelSample{N: p.at(i), Grey: p.grey[i] - spread})
	}
	require.InDelta(t, 20/0.6745, p.noise(all), 0.01)
}

// Layers read off a drawn profile: soft tissue, a plate of 1.5 mm from 0.1 mm, marrow; the same without marrow; with air
// far outside; with the bone's other side near.
func TestFirstGuessReadsTheLayers(t *testing.T) {
	step := func(n, at float64) float64 { return 0.5 * math.Erfc((at-n)/0.2/math.Sqrt2) }
	read := func(inner, outside, depth float64, m ImageModel) (*estimate, bool) {
		var all []reformat.VoxelSample
		for n := -2.5; n < 5; n += 0.02 {
			g := soft + (cortex-soft)*step(n, 0.1) + (marrow-cortex)*step(n, inner) + (air-soft)*(1-step(n, outside)) - (cortex-soft)*step(n, 0.1+depth)
			all = append(all, reformat.VoxelSample{N: n, Grey: g})
		}
		return initialEstimate(all, depth, 1, m)
	}
	o, ok := read(1.6, -9, 9, ImageModel{})
	require.True(t, ok)
	require.True(t, o.plate && !o.mucosa)
	require.InDelta(t, 0.1, o.p[pE], 0.1)
	require.InDelta(t, 1.5, o.p[pTau], 0.15)
	require.InDelta(t, soft, o.p[pG0], 0.05*(cortex-soft), "enough to begin from")
	require.InDelta(t, cortex, o.p[pG1], 0.05*(cortex-soft))
	require.InDelta(t, marrow, o.p[pG2], 0.05*(cortex-soft))
	require.True(t, o.low < -1.5 && o.high > 1.9 && o.high < 3)
	o, ok = read(9, -9, 9, ImageModel{})
	require.True(t, ok && !o.plate && !o.mucosa)
	require.InDelta(t, 0.1+1.3, o.high, 0.15)
	o, ok = read(1.6, -1.9, 9, ImageModel{})
	require.True(t, ok && !o.mucosa, "air far off ends what is looked at")
	require.True(t, o.low > -1.9 && o.low < -1, o.low)
	o, ok = read(9, -9, 2, ImageModel{})
	require.True(t, ok && !o.plate, "the other surface is no inner one")
	require.Less(t, o.high, 2.1)
	known := ImageModel{Edges: 9, Blur: 0.31, Cortex: 1900}
	o, ok = read(1.6, -9, 9, known)
	require.True(t, ok)
	require.InDelta(t, 0.31, o.p[pSigma], 1e-12)
	require.InDelta(t, 1900, o.p[pG1], 1e-12)
	_, ok = initialEstimate(make([]reformat.VoxelSample, 29), 9, 1, known)
	require.False(t, ok)
	flat := make([]reformat.VoxelSample, 100)
	for i := range flat {
		flat[i].N = -2 + 0.06*float64(i)
	}
	_, ok = initialEstimate(flat, 9, 1, known)
	require.False(t, ok, "no edge, no guess")
}

// A second edge begins where the one blurred edge passes half-way from air to soft tissue, and from there to bone.
func TestGuessOfAMucosa(t *testing.T) {
	p := profile{low: -2, step: 0.1, grey: make([]float64, 40)}
	for i := range p.grey {
		p.grey[i] = -1000 + 2600*math.Max(0, math.Min(1, p.at(i)/2+0.5)) // −1000 at −1 mm to 1600 at 1 mm: 1300 a mm
	}
	o := &estimate{seen: p, edge: 20}
	o.p[pG0], o.p[pG1], o.p[pSigma] = -1000, 1600, 0.5
	bare := o.withMucosa(ImageModel{})
	require.True(t, bare.mucosa && !o.mucosa)
	require.InDelta(t, 40, bare.p[pG0], 1e-9, "0.4 of the way")
	require.InDelta(t, -1000, bare.p[pGA], 1e-9)
	require.InDelta(t, (820-300)/1300., bare.p[pE], 1e-9)
	require.InDelta(t, (820+480)/1300., bare.p[pGamma], 1e-9)
	require.InDelta(t, 0.3, bare.p[pSigma], 1e-9)
	told := o.withMucosa(ImageModel{Edges: 9, Soft: 200})
	require.InDelta(t, 200, told.p[pG0], 1e-9)
	require.InDelta(t, 0.5, told.p[pSigma], 1e-9)
	for _, s := range []float64{-500, -480, 820, 900} {
		require.InDelta(t, 40, o.withMucosa(ImageModel{Edges: 9, Soft: s}).p[pG0], 1e-9, "no soft tissue of this edge")
	}
}
