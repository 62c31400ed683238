package ridge

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// Closed forms of what a fit begins from and of what is made of it.

// What noise may hide of a lining is as wide as the blur times the fourth part of what is seen: twice the blur, twice as much.
func TestUnseenLiningGrowsWithTheBlur(t *testing.T) {
	w := &SurfacePatch{noise: 50, count: 300}
	w.p[pG1], w.p[pG0] = 1000, -1000
	for _, sigma := range []float64{0.2, 0.4} {
		w.p[pSigma] = sigma
		require.InDelta(t, sigma*math.Sqrt(4*50/10./2000/0.005), w.unseenLining(-1000), 1e-12)
	}
}

// layered is a profile in bins of 0.1 mm from −2.5 mm with these levels, each from a place on.
func layered(first float64, from ...[2]float64) profile {
	p := profile{low: -2.5, step: 0.1, grey: make([]float64, 75)}
	for i := range p.grey {
		p.grey[i] = first
		for _, f := range from {
			if p.at(i) > f[0] {
				p.grey[i] = f[1]
			}
		}
	}
	return p
}

// How far a fit looks inward: to a little past the plate's inner surface where one is seen, as far as the next plate, short of the bone's other
// side; an inner surface nowhere near touching the outer one is left out when only that is asked for.
func TestHowFarInwardAFitLooks(t *testing.T) {
	start := func() *estimate {
		o := &estimate{}
		o.p[pG1], o.p[pG2], o.p[pTau], o.p[pSigma] = 1000, 1000, beyondReach, 0.25
		return o
	}
	plate := layered(0, [2]float64{0, 1000}, [2]float64{1.5, 400})
	peak := plate.bin(0.05)
	o := start()
	o.inside(plate, peak, 0, 1000, 1)
	require.True(t, o.plate)
	require.InDelta(t, 400, o.p[pG2], 0)
	require.InDelta(t, 1.55, o.p[pTau], 1e-9)
	require.InDelta(t, 1.55+0.35, o.high, 1e-9, "two bins past the lowest, and no less than 0.35 mm")
	slope := layered(0, [2]float64{0, 1000}, [2]float64{1.5, 700}, [2]float64{1.7, 500}, [2]float64{2, 400})
	o = start()
	o.inside(slope, peak, 0, 1000, 1)
	require.InDelta(t, 1.55, o.p[pTau], 1e-9, "where the grey value is no more than half-way: 700")
	require.InDelta(t, 2.25, o.high, 1e-9, "the lowest bin at 2.05 mm, and two more")
	whole := layered(0, [2]float64{0, 1000}, [2]float64{1.5, 851})
	o = start()
	o.inside(whole, peak, 0, 1000, 1)
	require.False(t, o.plate, "a dip of 149 of 1000 is none")
	require.InDelta(t, 1.3, o.high, 1e-9)
	far := layered(0, [2]float64{0, 1000}, [2]float64{1.5, 600}, [2]float64{2, 900}, [2]float64{2.5, 100})
	o = start()
	o.inside(far, peak, 0, 1000, 1)
	require.InDelta(t, 600, o.p[pG2], 0, "not past the next plate")
	require.Equal(t, []bool{true, false}, []bool{(&params{pTau: 2.1, pSigma: 0.25}).deep(1), (&params{pTau: 2, pSigma: 0.25}).deep(1)}, "1.3 mm and three sigma")
	for tau, want := range map[float64]bool{2.1: false, 2: true} {
		o = start()
		o.plate, o.high, o.p[pTau], o.p[pG2], o.p[pE] = true, 9, tau, 400, 0.1
		o.leaveInner(1)
		require.Equal(t, want, o.plate)
		require.InDelta(t, map[bool]float64{true: 9, false: 1.4}[want], o.high, 1e-12)
		require.InDelta(t, map[bool]float64{true: 400, false: 1000}[want], o.p[pG2], 0)
	}
	for other, want := range map[float64]bool{2.25: true, 2.05: false} { // 0.6 mm behind an inner surface at 1.6 mm: that is 2.2
		o = start()
		o.plate, o.high, o.p[pTau], o.p[pG2] = true, 9, 1.5, 400
		o.opposite(other, 0.1, 1)
		require.Equal(t, want, o.plate, "%g", other)
		require.InDelta(t, other-0.5, o.high, 1e-12, "two sigma before it")
	}
	o = start()
	o.high = 9
	o.opposite(0.3, 0.1, 1)
	require.InDelta(t, 0.35, o.high, 1e-12, "never less than a sigma past the edge")
}

// How far outward: another bone or tooth ends the window, dark tissue far off too; near, it is the air behind a layer of soft tissue.
func TestHowFarOutwardAFitLooks(t *testing.T) {
	look := func(p profile) *estimate {
		o := &estimate{}
		o.p[pSigma], o.p[pGamma] = 0.25, beyondReach
		o.outside(p, p.bin(-0.25), 0, 1000, 1)
		return o
	}
	o := look(layered(0, [2]float64{0, 1000}))
	require.InDelta(t, -2.5, o.low, 1e-12)
	o = look(layered(300, [2]float64{-1.5, 0}, [2]float64{0, 1000}))
	require.InDelta(t, -1.55+0.25, o.low, 1e-9, "something brighter")
	require.False(t, o.mucosa)
	o = look(layered(200, [2]float64{-1.5, 0}, [2]float64{0, 1000}))
	require.InDelta(t, -2.5, o.low, 1e-12, "a fifth of the rise is nothing")
	o = look(layered(-200, [2]float64{-1.5, 0}, [2]float64{0, 1000}))
	require.InDelta(t, -2.5, o.low, 1e-12)
	o = look(layered(-700, [2]float64{-1.5, 0}, [2]float64{0, 1000}))
	require.False(t, o.mucosa, "1.55 mm off, more than 2.6 sigma and half a millimetre")
	require.InDelta(t, -1.55+0.3, o.low, 1e-9)
	o = look(layered(-700, [2]float64{-0.9, 0}, [2]float64{0, 1000}))
	require.True(t, o.mucosa)
	require.InDelta(t, -700, o.p[pGA], 0)
	require.InDelta(t, 0.95, o.p[pGamma], 1e-9)
	require.InDelta(t, -0.95-0.4, o.low, 1e-9)
	o = look(layered(-700, [2]float64{-2, -600}, [2]float64{-1.2, -400}, [2]float64{-0.9, 0}, [2]float64{0, 1000}))
	require.True(t, o.mucosa)
	require.InDelta(t, -600, o.p[pGA], 100, "as dark as it gets near there")
	require.InDelta(t, 0.95, o.p[pGamma], 1e-9, "where more than half of the fall has gone")
}

// What a voxel sees far from every edge is its layer: outside, plate, marrow, or the air behind the soft tissue.
func TestPlateauOfEachLayer(t *testing.T) {
	p := params{pG0: 60, pG1: 1600, pG2: 450, pGA: -1000, pTau: 3, pGamma: 3, pSigma: 0.1}
	for n, want := range map[float64]int{-1.5: pG0, 1.5: pG1, 5: pG2, -5: pGA} {
		var s sight
		s.see(&p, reformat.VoxelSample{N: n}, p.bends())
		require.Equal(t, want, s.level, "%g", n)
		require.InDelta(t, p[want], s.value, 0)
		var only params
		only[want] = 1
		require.Equal(t, only, p.derivatives(reformat.VoxelSample{N: n}, p.bends()))
	}
}

// What a surface can be, on its bounds.
func TestParametersHeldToASurface(t *testing.T) {
	var p params
	for i := range p {
		p[i] = 99
	}
	q := p
	q.within()
	require.Equal(t, params{99, 1.5, 1.5, 2, 2, 2, 99, 99, 99, beyondReach, 2.5, 1, 99, beyondReach, 4, 2}, q)
	for i := range p {
		p[i] = -99
	}
	p.within()
	require.Equal(t, params{-99, -1.5, -1.5, -2, -2, -2, -99, -99, -99, 0.02, 0.02, -1, -99, 0.02, -4, -2}, p)
}

// The lags of residuals that alternate: neighbours at one step are opposite, at two the same, and past three noises none counts more.
func TestLagsOfAlternatingResiduals(t *testing.T) {
	w := &SurfacePatch{noise: 10}
	w.p = params{pE: 50, pSigma: 0.1, pTau: beyondReach, pGamma: beyondReach} // all voxels lie outside, grey value 0
	for i := range 40 {
		g := 20.0
		if i%2 == 1 {
			g = -100 // counts as three noises
		}
		w.seen = append(w.seen, reformat.VoxelSample{Voxel: i, Grey: g})
	}
	l := w.residualLags([3][lagMost + 1]int{{1, 2, 3, 4}, {1000, 1000, 1000, 1000}, {1000, 1000, 1000, 1000}})
	require.InDelta(t, 20*400+20*900, l.power, 1e-9)
	require.InDelta(t, 40, l.n, 0)
	require.InDelta(t, -600*39, l.product[0][0], 1e-9)
	require.InDelta(t, 39, l.count[0][0], 0)
	require.InDelta(t, 19*400+19*900, l.product[0][1], 1e-9)
	require.Zero(t, l.count[1][0])
	require.Zero(t, l.rho(0, 0), "the opposite is no likeness")
	require.InDelta(t, 1, l.rho(0, 1), 1e-12, "650 a pair, of 650 a voxel")
	var both lags
	both.add(l)
	both.add(l)
	require.InDelta(t, 2*l.power, both.power, 1e-9)
	require.InDelta(t, 2*l.product[0][1], both.product[0][1], 1e-9)
	require.InDelta(t, 80, both.n, 0)
}

// Texture behind a plate counts past 1.5 sigma behind its inner surface alone, and beyond the noise: ± 50 there is 50/0.6745 as an SD.
func TestTextureBehindAPlateByHand(t *testing.T) {
	w := &SurfacePatch{plate: true, noise: 40}
	w.p = params{pG1: 1000, pG2: 400, pTau: 1, pSigma: 0.1, pGamma: beyondReach, pE: 0.5}
	for i := range 200 {
		n := 1.66 + 0.01*float64(i) // 0.5 + 1 + 0.15 = 1.65
		g := w.p.model(reformat.VoxelSample{N: n})
		w.seen = append(w.seen, reformat.VoxelSample{N: n, Grey: g + 50}, reformat.VoxelSample{N: n, Grey: g - 50})
		near := 1.64 - 0.003*float64(i)
		w.seen = append(w.seen, reformat.VoxelSample{N: near, Grey: w.p.model(reformat.VoxelSample{N: near}) + 900})
	}
	sd := 50 / 0.6745
	require.InDelta(t, math.Sqrt(sd*sd-40*40), w.texture(ImageModel{}), 0.1)
	require.InDelta(t, math.Sqrt(sd*sd-30*30), w.texture(ImageModel{Edges: 9, Noise: 30}), 0.1, "the series' noise where it is less")
	require.InDelta(t, math.Sqrt(sd*sd-40*40), w.texture(ImageModel{Edges: 9, Noise: 60}), 0.1)
	w.plate = false
	require.Zero(t, w.texture(ImageModel{}))
	w.marrow, w.p[pSigma] = 0, 0.3
	require.Zero(t, w.marrowTerm())
	w.marrow = 100
	require.InDelta(t, math.Sqrt(math.Pi/2)*0.3*100/600, w.marrowTerm(), 1e-12)
	w.marrow = 900
	require.InDelta(t, math.Sqrt(math.Pi/2)*0.3, w.marrowTerm(), 1e-12, "never more than the texture itself")
}

// The variance of a combination of parameters is jᵀ(C + M)j, M never below none.
func TestSpreadOfACombination(t *testing.T) {
	w := &SurfacePatch{active: []int{pE, pSigma}, cov: mat.NewSymDense(2, []float64{4, 1, 1, 9})}
	require.InDelta(t, 2, w.spread(only(pE)), 1e-12)
	require.InDelta(t, 3, w.spread(only(pSigma)), 1e-12)
	require.Zero(t, w.spread(only(pG1)), "held fast")
	both := params{pE: 1, pSigma: -2}
	require.InDelta(t, 6, w.spread(both), 1e-12)
	w.more = mat.NewSymDense(2, []float64{5, 0, 0, -7})
	require.InDelta(t, 3, w.spread(only(pE)), 1e-12)
	require.InDelta(t, 3, w.spread(only(pSigma)), 1e-12)
}

// The bins of a profile begin with what lies just on its low end and end before its high one.
func TestAverageOnItsEnds(t *testing.T) {
	p := average([]reformat.VoxelSample{{N: 0, Grey: 8}, {N: 1, Grey: 4}, {N: 2, Grey: 999}, {N: -0.5, Grey: 999}}, 0, 2, 1)
	require.Equal(t, []float64{7, 5}, p.grey, "8 and 4, smoothed by 1-2-1")
}

// Neighbours one, two and three voxels off, and those 0.9 mm off, along each of a grid's axes.
func TestLagsOfAGrid(t *testing.T) {
	f := scene{voxel: 0.3, min: reformat.UV{U: -3, V: -3}, max: reformat.UV{U: 3, V: 3}, depth: 1.5}.field(t, func(reformat.UV) float64 { return soft })
	got := gridLags(f)
	for a, stride := range f.Strides() {
		require.Equal(t, [lagMost + 1]int{stride, 2 * stride, 3 * stride, 3 * stride}, got[a])
	}
	f = scene{voxel: 1, min: reformat.UV{U: -3, V: -3}, max: reformat.UV{U: 3, V: 3}, depth: 1.5}.field(t, func(reformat.UV) float64 { return soft })
	require.Equal(t, 2*f.Strides()[1], gridLags(f)[1][lagMost], "never the next voxel, which is like its neighbour by blur")
}

// What is known before a fit scales with the voxels: curvatures by 1/mm, their change by 1/mm², thicknesses by mm; what the series taught does not.
func TestPriorsScaleWithTheVoxels(t *testing.T) {
	begin := &estimate{}
	begin.p[pTau], begin.p[pGamma], begin.p[pSigma], begin.p[pG1] = 1.5, 2, 0.3, 900
	of := func(size float64, m ImageModel) (sds map[int][]float64) {
		sds = map[int][]float64{}
		for _, k := range priors(begin, 1000, size, m) {
			sds[k.param] = append(sds[k.param], k.sd)
		}
		return sds
	}
	taught := ImageModel{Edges: 9, Blur: 0.25, BlurSD: 0.01, Cortex: 1500, CortexSD: 80, SoftSD: 70}
	one, two := of(1, taught), of(2, taught)
	for param, by := range map[int]float64{pCXX: 0.5, pCXT: 0.5, pCTT: 0.5, pCub: 0.25, pTauXX: 0.5, pTauX: 1, pTau: 2, pGamma: 2, pG0: 1, pG1: 1, pG2: 1, pGA: 1, pSigma: 1} {
		for i := range one[param] {
			require.InDelta(t, by*one[param][i], two[param][i], 1e-12, "%d", param)
		}
	}
	require.Equal(t, []float64{0.01}, one[pSigma])
	require.Equal(t, []float64{2000, 80}, one[pG1])
	require.Equal(t, []float64{2000, 70}, one[pG0])
	require.Equal(t, []float64{3}, one[pTau])
	require.Equal(t, []float64{2}, one[pGamma])
	require.Equal(t, []float64{0.3}, of(1, ImageModel{})[pSigma], "its own guess, to its size")
}

// A station whose places have no wall has tried them all, and teaches nothing.
func TestStationWithoutWalls(t *testing.T) {
	var st Station
	st.learn(2)
	require.Equal(t, len(stationWalls), st.tried)
	require.Zero(t, st.telling())
	st = Station{}
	for k := range st.fitted {
		st.fitted[k] = toldWall(soft, cortex)
	}
	st.learn(2)
	require.Equal(t, 2, st.tried, "two that tell are enough")
	require.Len(t, st.walls, 2)
}

// Everything twice as large, voxels too: the first guess of a fit is twice as large, its grey values the same.
func TestFirstGuessScalesWithTheVoxels(t *testing.T) {
	edge := func(n, at float64) float64 { return 0.5 * math.Erfc((at-n)/0.25/math.Sqrt2) }
	stacks := map[string]func(n float64) float64{
		"a plate":            func(n float64) float64 { return 1540*edge(n, 0.1) - 1150*edge(n, 1.6) },
		"whole bone":         func(n float64) float64 { return 1540 * edge(n, 0.1) },
		"mucosa under air":   func(n float64) float64 { return 1000*edge(n, -0.9) + 1540*edge(n, 0.1) - 1150*edge(n, 1.6) },
		"air far off":        func(n float64) float64 { return 1000*edge(n, -1.9) + 1540*edge(n, 0.1) },
		"a tooth far off":    func(n float64) float64 { return 900 - 900*edge(n, -1.7) + 1540*edge(n, 0.1) },
		"a thin ridge":       func(n float64) float64 { return 1540*edge(n, 0.1) - 1540*edge(n, 2.3) },
		"an edge 0.9 mm off": func(n float64) float64 { return 1540*edge(n, -0.9) - 1150*edge(n, 0.6) },
	}
	for name, grey := range stacks {
		var first *estimate
		for _, s := range []float64{1, 1.5, 3} {
			var all []reformat.VoxelSample
			for i := range 770 {
				n := -2.6 + 0.01*float64(i) + 0.0005
				all = append(all, reformat.VoxelSample{N: n * s, Grey: grey(n)})
			}
			o, ok := initialEstimate(all, 2.2*s, s, ImageModel{})
			require.True(t, ok, name)
			if first == nil {
				first = o
				continue
			}
			require.Equal(t, first.plate, o.plate, name)
			require.Equal(t, first.mucosa, o.mucosa, name)
			for param, by := range map[int]float64{pE: s, pTau: s, pGamma: s, pSigma: s, pG0: 1, pG1: 1, pG2: 1, pGA: 1} {
				if first.p[param] != beyondReach {
					require.InDelta(t, by*first.p[param], o.p[param], 1e-6*math.Max(1, math.Abs(o.p[param])), "%s: %d at %g", name, param, s)
				}
			}
			require.InDelta(t, s*first.low, o.low, 1e-6, "%s at %g", name, s)
			require.InDelta(t, s*first.high, o.high, 1e-6, "%s at %g", name, s)
		}
	}
}

// A level that a profile has just at a bin is crossed there.
func TestCrossingJustAtABin(t *testing.T) {
	p := profile{low: 0, step: 1, grey: []float64{0, 0, 50, 100, 100}}
	require.InDelta(t, 2.5, p.crossing(0, 50), 1e-12)
	require.InDelta(t, 2.5, p.crossing(4, 50), 1e-12)
	require.InDelta(t, 3, p.crossing(2, 75), 1e-12)
}

// The lattice by which voxels are thinned is centred on the one nearest to the patch's middle, and on both where two are as near.
func TestLatticeIsCentredOnTheNearestVoxel(t *testing.T) {
	const n = 7
	of := func(middle [3]float64) [3]int {
		var all []reformat.VoxelSample
		for v := range n * n * n {
			all = append(all, reformat.VoxelSample{N: float64(v%n) - middle[0], X: float64(v/n%n) - middle[1], T: float64(v/(n*n)) - middle[2], Voxel: v})
		}
		return newLattice(all, [3]int{1, n, n * n}).twice
	}
	require.Equal(t, [3]int{2, 4, 8}, of([3]float64{1, 2, 4}))
	require.Equal(t, [3]int{2, 4, 9}, of([3]float64{1, 2, 4.5}))
	require.Equal(t, [3]int{10, 3, 2}, of([3]float64{5, 1.5, 1}))
}

// The patch that a fit sees, by hand: 0.65 mm across and 1.2 times as long for voxels of 0.2 mm, hardly longer than wide for those of 0.9 mm, and
// coarse along one direction alone as the cube root of all three has it.
func TestPatchOnAField(t *testing.T) {
	of := func(voxel float64) patch {
		return patchOn(scene{voxel: voxel, min: reformat.UV{U: -4, V: -4}, max: reformat.UV{U: 4, V: 4}, depth: 2}.field(t, func(reformat.UV) float64 { return soft }))
	}
	require.InDelta(t, 0.65, of(0.2).across, 1e-9)
	require.InDelta(t, 0.78, of(0.2).along, 1e-9)
	require.InDelta(t, 2*0.8375*1.1, of(0.9).across, 1e-9)
	require.InDelta(t, 2*0.8375*1.1*1.0375, of(0.9).along, 1e-9)
	require.InDelta(t, 4*0.8375*1.15, of(1.8).along, 1e-9, "round")
	all := []reformat.VoxelSample{{X: 0.5}, {X: -0.5}, {T: 1}, {T: -1}, {X: 0.3, T: 0.8}, {X: 0.51}, {T: 1.01}, {X: 0.4, T: 0.8}}
	require.Len(t, patch{0.5, 1}.part(1, all, nil), 5)
	require.Len(t, patch{1, 2}.part(0.5, all, nil), 5, "half of twice as much")
}

// As many voxels as a fit may see are all seen, and those just at the ends of what it looks at too.
func TestVoxelsAtTheEndsOfAFit(t *testing.T) {
	var all []reformat.VoxelSample
	for v := range 27 {
		all = append(all, reformat.VoxelSample{N: float64(v%3) - 1, X: float64(v/3%3) - 1, T: float64(v/9) - 1, Voxel: v})
	}
	strides := [3]int{1, 3, 9}
	require.Len(t, thin(slices.Clone(all), strides, 27), 27)
	require.Less(t, len(thin(slices.Clone(all), strides, 26)), 26)
	o := &estimate{low: -1, high: 1, most: 99}
	o.p[pSigma] = 1
	require.Len(t, o.choose(all, strides), 27)
	require.Len(t, o.window(all), 27)
	o.low = -0.9
	require.Len(t, o.choose(all, strides), 18)
	require.Len(t, o.window(all), 18)
	o.low, o.high = -9, 9
	o.p[pSigma] = 0.1 // 5.5 times 0.2 mm at least: 1.1 mm
	o.p[pE] = 2.05
	require.Len(t, o.choose(all, strides), 9, "from 0.95 on")
	o.plate, o.p[pTau] = true, -1 // an inner surface at 1.05
	require.Len(t, o.choose(all, strides), 18)
	o.plate, o.mucosa, o.p[pGamma] = false, true, 1
	require.Len(t, o.choose(all, strides), 18)
	o.mucosa = false
	require.Len(t, o.choose(all, strides), 9, "a layer that the fit has not is not looked at")
	o.p[pE], o.p[pCXX] = 1.6, 0.9 // bends back by 0.45 mm at 1 mm aside
	require.Len(t, o.choose(all, strides), 9, "at 1 mm and from there on, straight ahead and aside")
}
