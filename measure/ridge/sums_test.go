package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// blurredWall is a wall with a fitted blur and its standard uncertainty, mm.
func blurredWall(blur, sd float64) *SurfacePatch {
	w := &SurfacePatch{active: []int{pSigma}, cov: mat.NewSymDense(1, []float64{sd * sd})}
	w.p[pG0], w.p[pG1], w.p[pSigma] = soft, cortex, blur
	return w
}

// A scan that is the mean of two copies D apart shows walls of √(σ² + D²/4) one way: D comes back, less three standard uncertainties, or 5 % of each
// blur. By hand for σ 0.3 and D 0.6: walls of 0.3 and √0.18 = 0.424 mm, taken as 0.315 and 0.403: 2·√(0.403² − 0.315²) = 0.503.
func TestSmearOfTwoCopies(t *testing.T) {
	field := scene{voxel: 0.3, min: reformat.UV{U: -1, V: -1}, max: reformat.UV{U: 1, V: 1}, depth: 1}.field(t, func(reformat.UV) float64 { return soft })
	smear := func(walls ...*SurfacePatch) (siteTrust, *Ridge) {
		o := (&Outline{field: field}).Fit()
		o.walls = walls
		o.weigh()
		return o.site, o
	}
	wide := math.Sqrt(0.18)
	want := 2 * math.Sqrt(math.Pow(0.95*wide, 2)-math.Pow(1.05*0.3, 2))
	most, one := []*SurfacePatch{blurredWall(0.3, 0.001)}, []*SurfacePatch{blurredWall(wide, 0.001)}
	for range 3 {
		most, one = append(most, blurredWall(wide, 0.001)), append(one, blurredWall(0.3, 0.001))
	}
	for _, walls := range [][]*SurfacePatch{most, one} {
		got, o := smear(walls...)
		require.InDelta(t, want, got.smear, 1e-9)
		require.Equal(t, 4, got.sampled)
		require.Zero(t, got.wide)
		require.NoError(t, o.Trusted())
		require.Len(t, o.Cautions(), 1)
	}
	alike, o := smear(blurredWall(0.3, 0.001), blurredWall(0.31, 0.001), blurredWall(0.3, 0.001))
	require.Zero(t, alike.smear)
	require.Empty(t, o.Cautions())
	sure, _ := smear(blurredWall(0.3, 0.01), blurredWall(wide, 0.02), blurredWall(wide, 0.02), blurredWall(wide, 0.02))
	require.InDelta(t, 2*math.Sqrt(math.Pow(wide-0.06, 2)-0.33*0.33), sure.smear, 1e-9, "three standard uncertainties where they are more than 5 %")
	two, _ := smear(blurredWall(0.3, 0.001), blurredWall(wide, 0.001))
	require.Zero(t, two.smear, "two walls tell nothing")
	unsure, _ := smear(blurredWall(0.3, 0.001), blurredWall(wide, 0.3*wide), blurredWall(wide, 0.3*wide), blurredWall(0.3, 0.001), blurredWall(0.3, 0.001))
	require.Zero(t, unsure.smear, "a blur known to a third tells nothing")
	// Three walls of more than 1.7 times the sharpest blur, and there is no number; two, and there is one.
	for n, bad := range map[int]bool{2: false, 3: true} {
		walls := []*SurfacePatch{blurredWall(0.3, 0.001), blurredWall(0.3, 0.001), blurredWall(0.3, 0.001), blurredWall(0.3, 0.001)}
		for range n {
			walls = append(walls, blurredWall(0.52, 0.001))
		}
		got, o := smear(walls...)
		require.Equal(t, n, got.wide)
		o.site.smear = 0.6
		if bad {
			require.ErrorIs(t, o.Trusted(), ErrDisturbed)
		} else {
			require.NoError(t, o.Trusted())
			o.site.smear = 0.61
			require.ErrorIs(t, o.Trusted(), ErrDisturbed)
		}
	}
	// The sharpest counts as no sharper than half a voxel of 0.3 mm: √(0.2² − 0.15²)·2 at most.
	fine, _ := smear(blurredWall(0.05, 0.001), blurredWall(0.2, 0.001), blurredWall(0.2, 0.001), blurredWall(0.2, 0.001))
	require.InDelta(t, 2*math.Sqrt(0.19*0.19-0.15*0.15), fine.smear, 1e-9)
}

// What a fit leaves beyond the series' noise, and what that moves an edge, by hand: √(60² − (1.3·30)²) = 45.6; 1.5·45.6·0.3·√(2π)/1540 = 0.0334 mm.
func TestMisfitBeyondTheNoise(t *testing.T) {
	m := ImageModel{Edges: 9, Cortex: cortex, Soft: soft, Noise: 30}
	w := blurredWall(0.3, 0.001)
	w.noise = 60
	require.InDelta(t, math.Sqrt(60*60-39*39), w.misfit(m), 1e-9)
	require.Zero(t, w.misfit(ImageModel{Noise: 30}))
	o := (&Outline{model: m}).Fit()
	edge := 1.5 * math.Sqrt(60*60-39*39) * 0.3 * math.Sqrt(2*math.Pi) / (cortex - soft)
	require.InDelta(t, edge, o.shift(w), 1e-9)
	o.site.smear = 0.4
	require.InDelta(t, math.Hypot(edge, 0.05*0.4), o.shift(w), 1e-9)
	w.noise, o.site.smear = 30, 0
	require.Zero(t, o.shift(w))
	// Metal is no steeper edge than one and a half of bone.
	o.site.disturbance = 100
	w.p[pG1] = 9000
	require.InDelta(t, 1.5*100*0.3*math.Sqrt(2*math.Pi)/(1.5*(cortex-soft)), o.shift(w), 1e-9)
	require.Len(t, o.Cautions(), 1, "more than 2 % of the step")
	o.site.disturbance = 0.019 * (cortex - soft)
	require.Empty(t, o.Cautions())
}

// Correlation from its sums: product/count over power/n; what chance gives (0.05, or three over the root of the pairs), too few pairs and no power
// are none. The first distance without any ends an axis.
func TestCorrelationFromItsSums(t *testing.T) {
	l := lags{power: 200, n: 100} // a variance of 2
	set := func(a, d int, product, count float64) { l.product[a][d], l.count[a][d] = product, count }
	set(0, 0, 10000, 10000)  // 0.5
	set(0, 1, 1200, 10000)   // 0.06
	set(0, 2, 900, 10000)    // 0.045: less than 0.05
	set(1, 0, 100, 100)      // 0.5
	set(1, 1, 50, 100)       // 0.25, less than 3/√100
	set(1, 2, 100, 100)      // past one without
	set(2, 0, 29, 29)        // 29 pairs
	set(0, 3, 3*10000, 9999) // more than 1
	require.InDelta(t, 0.5, l.rho(0, 0), 1e-12)
	require.InDelta(t, 0.06, l.rho(0, 1), 1e-12)
	require.Zero(t, l.rho(0, 2))
	require.Equal(t, 1.0, l.rho(0, 3))
	require.Equal(t, correlation{{1, 0.5, 0.06, 0}, {1, 0.5, 0, 0}, {1, 0, 0, 0}}, l.correlation())
	require.InDelta(t, 40, l.disturbance(40), 1e-9, "over the far distance, where neighbours are alike")
	set(0, 3, 0.36*2*10000, 10000)
	require.InDelta(t, 24, l.disturbance(40), 1e-9, "√0.36")
	set(0, 0, 0, 10000)
	require.Zero(t, l.disturbance(40), "without neighbours alike it is chance")
	var sum lags
	sum.add(l)
	sum.add(l)
	require.InDelta(t, 2*l.power, sum.power, 1e-12)
	require.InDelta(t, 2*l.n, sum.n, 1e-12)
	require.InDelta(t, 2*l.product[1][1], sum.product[1][1], 1e-12)
	require.InDelta(t, 2*l.count[2][0], sum.count[2][0], 1e-12)
	require.Zero(t, (&lags{}).rho(0, 0))
}

// Half of the voxels around one whose noise is like its own, with the product of the axes' correlations: of 3 × 3 × 3 the thirteen behind it.
func TestNeighboursAreHalfOfThoseAround(t *testing.T) {
	c := correlation{{1, 0.5}, {1, 0.4}, {1, 0.2}}
	strides := [3]int{1, 100, 10000}
	got := map[int]float64{}
	for _, n := range c.neighbours(strides) {
		require.NotContains(t, got, -n.away)
		got[n.away] = n.rho
	}
	require.Len(t, got, 13)
	for away, want := range map[int]float64{1: 0.5, 100: 0.4, 10000: 0.2, 101: 0.2, 99: 0.2, 10001: 0.1, 9999: 0.1, 10100: 0.08, 9900: 0.08, 10101: 0.04, 10099: 0.04, 9901: 0.04, 9899: 0.04} {
		require.InDelta(t, want, got[away], 1e-12, "%d", away)
	}
	require.Empty(t, correlation{{1}, {1}, {1}}.neighbours(strides))
	for a, stride := range strides { // three voxels along each axis
		far := correlation{{1}, {1}, {1}}
		far[a] = [lagMost + 1]float64{1, 0.5, 0.4, 0.3}
		require.ElementsMatch(t, []neighbour{{stride, 0.5}, {2 * stride, 0.4}, {3 * stride, 0.3}}, far.neighbours(strides))
	}
	require.Len(t, correlation{{1, 0.5, 0.019}, {1}, {1}}.neighbours(strides), 1, "less than 0.02 is none")
}

// What differs from wall to wall, by hand: of 4 walls with a scatter of 10 and fits of 6: √(10² − 6²) = 8 and 1.2533·10/2 = 6.27, together 10.16, a
// quarter more for a few.
func TestWhatVariesFromWallToWall(t *testing.T) {
	require.InDelta(t, 1.25*math.Hypot(8, 6.2665), varies(10, 6, 0, 4), 1e-9)
	require.InDelta(t, 1.25*20, varies(10, 6, 20, 4), 1e-9, "never less than the least")
	require.InDelta(t, 1.25*6.2665, varies(10, 12, 0, 4), 1e-9)
	require.InDelta(t, 2*5, varies(0, 0, 5, 0), 1e-9)
}

// The dimmest kind that a quarter as many show as the commonest: 10 % of the step from soft tissue is one kind.
func TestDimmestCommonKind(t *testing.T) {
	c := coarseLevels{soft: 0, cortex: 1000}
	for _, k := range []struct {
		sorted []float64
		want   float64
	}{
		{nil, 0}, {[]float64{1000}, 1000}, {[]float64{980, 1000, 1020}, 1000},
		{[]float64{1000, 1010, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000}, 1005},                   // two of eight: a quarter
		{[]float64{1000, 1010, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000, 2000}, 2000},             // two of nine: some dim ones
		{[]float64{500, 1000, 1000, 1000, 1000, 1000}, 1000}, {[]float64{1000, 1000, 1120, 1120}, 1000}, // 12 % apart are two kinds
	} {
		require.InDelta(t, k.want, c.kind(k.sorted), 1e-9, "%v", k.sorted)
	}
	walls := []*SurfacePatch{toldWall(0, 400), toldWall(0, 1000), toldWall(0, 1000), toldWall(0, 1090), toldWall(0, 1110), toldWall(0, 1000)}
	got := c.cortical(walls)
	require.Equal(t, []*SurfacePatch{walls[1], walls[2], walls[3], walls[5]}, got, "neither skin at 0.4 of the step nor what is brighter by more than a tenth")
	skin := []*SurfacePatch{toldWall(0, 400), toldWall(0, 410), toldWall(0, 400), toldWall(0, 1000), toldWall(0, 1010)}
	require.Equal(t, skin[3:], c.cortical(skin), "however common skin is")
}

// What was learnt is believed from 0.6 to 3 times the coarse step, with blurs that agree to a half, and from a wall at every fifth station.
func TestCoarsePassConfirmsWhatWasLearnt(t *testing.T) {
	c := coarseLevels{soft: 100, cortex: 1100, stations: 20}
	good := ImageModel{Soft: 100, Cortex: 1400, Blur: 0.3, BlurSD: 0.1, Edges: 4}
	require.True(t, c.confirms(good))
	for name, k := range map[string]struct {
		change func(*ImageModel)
		ok     bool
	}{
		"dim":       {func(m *ImageModel) { m.Cortex = 690 }, false},
		"less dim":  {func(m *ImageModel) { m.Cortex = 710 }, true},
		"bright":    {func(m *ImageModel) { m.Cortex = 3110 }, false},
		"as bright": {func(m *ImageModel) { m.Cortex = 3090 }, true},
		"blurs":     {func(m *ImageModel) { m.BlurSD = 0.151 }, false},
		"three":     {func(m *ImageModel) { m.Edges = 3 }, false},
	} {
		m := good
		k.change(&m)
		require.Equal(t, k.ok, c.confirms(m), name)
	}
	require.False(t, coarseLevels{soft: 100, cortex: 100}.confirms(good))
}

// A wall tells where its blur is known to a quarter; where its plate is thinner than 3.5 sigma, only with a brightness known to a tenth.
func TestWallsThatTell(t *testing.T) {
	wall := func(blurSD, tau, greySD float64) *SurfacePatch {
		w := &SurfacePatch{plate: tau > 0, active: []int{pSigma, pG1}, cov: mat.NewSymDense(2, []float64{blurSD * blurSD, 0, 0, greySD * greySD})}
		w.p[pG0], w.p[pG1], w.p[pSigma], w.p[pTau] = 0, 1000, 0.2, tau
		return w
	}
	for _, c := range []struct {
		w    *SurfacePatch
		tell bool
	}{{wall(0.049, 0, 500), true}, {wall(0.051, 0, 1), false}, {wall(0.01, 0.71, 500), true}, {wall(0.01, 0.69, 500), false}, {wall(0.01, 0.69, 99), true}, {wall(0.01, 0.69, 101), false}} {
		require.Equal(t, c.tell, c.w.tells(), "%+v", c.w.p)
	}
}
