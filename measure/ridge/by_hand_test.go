package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// Closed forms of what the fits begin from and what is made of them.

// In a field whose grey value is linear, along the arch too, the mean about a place is the grey value there, whichever way the axis runs.
func TestCoreOfALinearField(t *testing.T) {
	grey := func(p reformat.UV) float64 { return 300*p.U + 200*p.V }
	s := scene{voxel: 0.25, min: reformat.UV{U: -4, V: -8}, max: reformat.UV{U: 4, V: 2}, depth: 2, shear: 0.5}
	o := &Outline{field: s.field(t, grey)}
	for _, dir := range []reformat.UV{down, {U: 0.6, V: -0.8}} {
		for _, depth := range []float64{0.5, 2, 3.25} {
			a := Axis{Crest: reformat.UV{U: 0.3, V: -0.2}, Dir: dir}
			require.InDelta(t, grey(a.At(depth)), o.core(a, depth), 1)
		}
	}
}

// What noise may hide of a lining is as wide as the blur times the fourth part of what is seen: twice the blur, twice as much.
func TestUnseenLiningGrowsWithTheBlur(t *testing.T) {
	w := &SurfacePatch{noise: 50, count: 300}
	w.p[pG1], w.p[pG0] = 1000, -1000
	for _, sigma := range []float64{0.2, 0.4} {
		w.p[pSigma] = sigma
		require.InDelta(t, sigma*math.Sqrt(4*50/10./2000/0.005), w.unseenLining(-1000), 1e-12)
	}
}

// A rectangle's base lies its height below its crest, along a leaning axis as far as that line runs in it.
func TestBaseOfARectangle(t *testing.T) {
	corners := []reformat.UV{{U: -4, V: -20}, {U: 4, V: -20}, {U: 4}, {U: -4}}
	o := &Outline{Points: evenly(corners, 0.1)}
	o.Cut = make([]bool, len(o.Points))
	o.pace = 1 / o.longest()
	require.InDelta(t, 20, o.base(Axis{Crest: reformat.UV{U: 1}, Dir: down}), 0.02)
	require.InDelta(t, 20, o.reach(Axis{Crest: reformat.UV{U: 1}, Dir: down}), 0.02, "no cavity is known of")
	require.InDelta(t, 5/0.6, o.base(Axis{Crest: reformat.UV{U: -1}, Dir: reformat.UV{U: 0.6, V: -0.8}}), 0.05)
	require.Zero(t, o.base(Axis{Crest: reformat.UV{U: 9}, Dir: down}), "beside it")
	var depths []float64
	for d, h := range o.across(Axis{Crest: reformat.UV{U: 1}, Dir: down}) {
		depths = append(depths, d)
		require.InDelta(t, -5, h[0].s, 0.02)
		require.InDelta(t, 3, h[1].s, 0.02)
	}
	require.Equal(t, []float64{1, 2, 3, 4, 5, 6, 7, 8}, depths)
	for _, m := range o.coarseMids(Axis{Crest: reformat.UV{U: 1}, Dir: down}) {
		require.InDelta(t, 0, m.U, 0.02)
	}
	low := &Outline{Points: evenly([]reformat.UV{{U: -4, V: -5.5}, {U: 4, V: -5.5}, {U: 4}, {U: -4}}, 0.1)}
	low.Cut = make([]bool, len(low.Points))
	depths = nil
	for d := range low.across(Axis{Dir: down}) {
		depths = append(depths, d)
	}
	require.Equal(t, []float64{1, 2, 3, 4}, depths, "1 mm over the base at most")
}

// A ridge whose middle runs to buccal by 0.2 mm a mm along the arch, 4 mm from the curve: the section moved by 1 mm finds its middles 0.2 mm farther, turned by
// φ it finds them 0.2·4·φ farther, for there it lies 4·φ along. One that widens evenly about its middle moves none along, and turned by its width.
func TestMiddlesMoveWithTheirWalls(t *testing.T) {
	s := scene{voxel: 0.3, noise: 20, min: reformat.UV{U: -5, V: -16}, max: reformat.UV{U: 13, V: 5}, depth: 2, shear: 0.2}
	grey := bony(stadium(3.5, 20), inset(3.5, 20, 1.5), 0.25)
	r := learnt(t, s, func(p reformat.UV) float64 { return grey(sub(p, reformat.UV{U: 4})) })
	a, err := r.FindAxis(nil)
	require.NoError(t, err)
	m := r.middles(a)
	require.GreaterOrEqual(t, len(m.at), 6)
	sign := math.Copysign(1, m.moves[0].along)
	for i, v := range m.moves {
		require.InDelta(t, 4, m.at[i].U, 0.1)
		require.InDelta(t, 0.2*sign, v.along, 0.03)
		require.InDelta(t, 0.8*sign, v.turn, 0.1)
		low, high := m.chords[i].low, m.chords[i].high // the middle of two places is half as unsure as both together
		require.InDelta(t, math.Sqrt(low.sd*low.sd+high.sd*high.sd)/2, m.noise[i], 1e-12)
		rule := math.Hypot(r.layerTerm(m.chords[i].lowWall)/low.square, r.layerTerm(m.chords[i].highWall)/high.square)
		require.InDelta(t, rule/2, m.rule[i], 1e-12)
		shift := math.Hypot(r.shift(m.chords[i].lowWall)/low.square, r.shift(m.chords[i].highWall)/high.square)
		require.InDelta(t, shift/2, m.shift[i], 1e-12)
	}
}

// inset is a stadium's inside, that much behind its surface.
func inset(r, height, by float64) shape {
	in := stadium(r-by, height-2*by)
	return shape{in.base - by, in.top - by, func(v float64) (lo, hi float64) { return in.row(v + by) }}
}

// The spread of an axis through mid-points 1 mm apart, each ± s: s/√Σx²; half of what a rule may be off and three times of what a disturbance
// may be, in squares.
func TestSpreadOfAnAxisThroughItsMiddles(t *testing.T) {
	var m middles
	for d := range 5 {
		m.at = append(m.at, reformat.UV{V: -float64(d)})
		m.noise, m.rule, m.shift = append(m.noise, 0.1), append(m.rule, 0), append(m.shift, 0)
	}
	a := Axis{Dir: down, pivot: reformat.UV{V: -2}}
	require.InDelta(t, 0.1/math.Sqrt(10), m.spread(a), 1e-12)
	for i := range m.at {
		m.rule[i], m.shift[i] = 0.2, 0.3
	}
	require.InDelta(t, math.Sqrt((0.01+0.5*0.04+3*0.09)/10), m.spread(a), 1e-12)
	moves := make([]move, 5)
	for i := range moves {
		moves[i] = move{0.1 * float64(i), -0.3 * float64(i)}
	}
	along, turn := turnOfLine(m.at, moves, down, reformat.UV{V: -2})
	require.InDelta(t, 0.1, along, 1e-12)
	require.InDelta(t, -0.3, turn, 1e-12)
	along, turn = turnOfLine(m.at[:1], moves[:1], down, m.at[0])
	require.Zero(t, along)
	require.Zero(t, turn)
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
	require.InDelta(t, -600*39/39.*40/26000, func() float64 { return l.product[0][0] / l.count[0][0] * l.n / l.power }(), 1e-12)
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
	require.InDelta(t, math.Sqrt(4-4+36), w.spread(both), 1e-12)
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

// A hole just as wide as one must be, and a rim just as thick as one may.
func TestHoleOnItsBounds(t *testing.T) {
	a := Axis{Dir: down}
	width, _, ok := comb(-7, [3]float64{-4, -0.75, 0}, [3]float64{0.75, 4, 0}).Socket(a)
	require.True(t, ok)
	require.InDelta(t, 1.5, width, 0)
	_, _, ok = comb(-7, [3]float64{-10, -2, 0}, [3]float64{2, 4, 0}).Socket(a)
	require.True(t, ok, "8 mm thick")
	_, _, ok = comb(-7, [3]float64{0, 4, 0}, [3]float64{8, 10, 0}).Socket(a)
	require.False(t, ok, "4 mm aside")
	_, depth, ok := comb(-2.75, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}).Socket(a)
	require.True(t, ok)
	require.InDelta(t, 2.5, depth, 0.26)
}

// A hole is followed for 15 mm.
func TestHoleDeeperThanItIsFollowed(t *testing.T) {
	_, depth, ok := comb(-18, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}).Socket(Axis{Dir: down})
	require.True(t, ok)
	require.InDelta(t, 14.5, depth, 1e-12, "from 0.25 to 14.75 mm")
}

// An axis is where it stays: through its own mid-points again, it turns by less than any number shows. A ridge that leans and narrows takes
// more than one step to come there.
func TestAxisStaysWhereItIsFound(t *testing.T) {
	grey := turned(bony(tapered(20), tapered(18.5), 0.25), 0.35)
	o := learnt(t, around(20, 0.3, 20), grey)
	a, err := o.FindAxis(nil)
	require.NoError(t, err)
	turn, pull := o.settle(a, o.middles(a))
	require.InDelta(t, 0, turn, 1e-6, "pull %g", pull)
	crest := a
	require.NoError(t, o.fineCrest(&crest, a.pivot))
	require.InDelta(t, 0, norm(sub(crest.Crest, a.Crest)), 1e-6)
}

// tapered is a ridge that widens from 4 to 10 mm over its height, bent to one side.
func tapered(height float64) shape {
	return shape{-height, height - 20, func(v float64) (lo, hi float64) {
		d := height - 20 - v
		half := math.Min(1, d) * (2 + 3*d/20)
		middle := 0.01 * d * d
		return middle - half, middle + half
	}}
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

// The foot of a place on a regular polygon lies on its side, and the bone's outward direction there is the middle's.
func TestFootOnAPolygon(t *testing.T) {
	o := &Outline{}
	for i := range 12 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 12)
		o.Points = append(o.Points, reformat.UV{U: 4 * cos, V: 4 * sin})
	}
	o.Cut = make([]bool, 12)
	for _, f := range []float64{0.25, 0.5, 0.9} {
		q := add(scale(1-f, o.Points[2]), scale(f, o.Points[3]))
		square := unit(add(o.Points[2], o.Points[3]))
		at, out, away := o.foot(add(q, scale(1.5, square)))
		require.InDelta(t, 1.5, away, 1e-9)
		require.InDelta(t, 0, norm(sub(at, q)), 1e-9)
		require.InDelta(t, 1, dot(out, unit(q)), 1e-12)
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

// raster is a section of w by h pixels of step mm, its middle the origin, whose grey value is known at every place.
func raster(w, h int, step float64, grey func(p reformat.UV) float64) reformat.Section {
	s := reformat.Section{Width: w, Height: h, Step: step, Corner: reformat.UV{U: -step * float64(w-1) / 2, V: step * float64(h-1) / 2}, Grey: make([]float32, w*h)}
	s.Frame.U.X, s.Frame.V.Z, s.Frame.T.Y = 1, 1, 1
	for i := range s.Grey {
		s.Grey[i] = float32(grey(s.Place(float64(i%w), float64(i/w))))
	}
	return s
}

// A cortex of 2 mm around dark marrow, open by 0.8 mm on one side, is closed and filled: all of the bone, not its ring alone. As much of one that is
// open by 6 mm is the ring.
func TestOpenCortexIsFilled(t *testing.T) {
	ringed := func(gap float64) float64 {
		s := raster(100, 100, 0.25, func(p reformat.UV) float64 {
			if d := norm(p); d < 6 && d > 4 && !(p.U > 0 && math.Abs(p.V) < gap/2) {
				return 1000
			}
			return 0
		})
		filled, level, ok := bone(newCoarse(s), math.Inf(-1))
		require.True(t, ok)
		require.True(t, level > 0 && level < 1000, level)
		return float64(filled.count()) * 0.25 * 0.25
	}
	require.InEpsilon(t, math.Pi*36, ringed(0.8), 0.05)
	require.Less(t, ringed(6), 0.8*math.Pi*36)
}

// The coarse line runs where the grey value passes its level, all round, also where the bone ends just at the raster's border.
func TestCoarseLineOnAllSides(t *testing.T) {
	box := func(p reformat.UV) float64 { // linear over the last mm: 500 at U ± 4, V ± 7
		return 1000 * math.Max(0, math.Min(1, math.Min(4-math.Abs(p.U), 7-math.Abs(p.V))+0.5))
	}
	s := raster(60, 80, 0.25, box)
	o := &Outline{level: 500, seen: s}
	filled, _ := newCoarse(s).boneAt(500, 0)
	require.NoError(t, o.draw(s, filled))
	low, high := reformat.UV{U: 99, V: 99}, reformat.UV{U: -99, V: -99}
	for i, p := range o.Points {
		low = reformat.UV{U: math.Min(low.U, p.U), V: math.Min(low.V, p.V)}
		high = reformat.UV{U: math.Max(high.U, p.U), V: math.Max(high.V, p.V)}
		require.False(t, o.Cut[i])
	}
	for got, want := range map[float64]float64{low.U: -4, high.U: 4, low.V: -7, high.V: 7} {
		require.InDelta(t, want, got, 0.02)
	}
	require.InEpsilon(t, 8*14., area(o.Points), 0.01)
	narrow := raster(32, 80, 0.25, box) // 8 mm: to the middles of its last pixels the bone fills it
	filled, _ = newCoarse(narrow).boneAt(500, 0)
	o = &Outline{level: 500, seen: narrow}
	require.NoError(t, o.draw(narrow, filled))
	for i, p := range o.Points {
		if math.Abs(p.V) < 6 {
			require.Equal(t, math.Abs(p.U) > 3.5, o.Cut[i], "two pixels: %v", p)
		}
	}
}
