package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// What is decided just on a bound, in numbers that a float64 holds exactly: a bound belongs to one side, and says to which.

// repeated is n times x.
func repeated(n int, x float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = x
	}
	return out
}

// Too few walls tell nothing of motion, and what is as much as a bound is not more than it.
func TestMotionOnItsBounds(t *testing.T) {
	for name, c := range map[string]struct {
		f    facing
		want float64
	}{
		"1.32 times in one of ten":    {facing{20, append(repeated(13, 1), 1.32, 1.32)}, 0},
		"more in one of ten":          {facing{20, append(repeated(13, 1), 1.33, 1.33)}, 1.33},
		"1.28 times in three of 15":   {facing{20, append(repeated(12, 1), repeated(3, 1.28)...)}, 0},
		"more in three of 15":         {facing{20, append(repeated(12, 1), repeated(3, 1.29)...)}, 1.29},
		"fourteen walls tell nothing": {facing{20, append(repeated(10, 1), repeated(4, 2)...)}, 0},
		"fifteen tell":                {facing{20, append(repeated(11, 1), repeated(4, 2)...)}, 2},
	} {
		require.InDelta(t, c.want, c.f.wide(), 1e-12, name)
	}
	require.InDelta(t, 1.25, allFacings{{9, repeated(5, 1)}, {9, repeated(5, 1.25)}}.uneven(), 1e-12)
	require.InDelta(t, 1, allFacings{{9, repeated(5, 1)}, {9, repeated(4, 1.25)}}.uneven(), 1e-12, "four of a kind")
	require.InDelta(t, 1, allFacings{}.uneven(), 1e-12)
	unlike := func(asked, of int) facing { return facing{asked, repeated(of, 1)} }
	for name, c := range map[string]struct {
		w     allFacings
		lower bool
		said  bool
	}{
		"edges 1.2 times as wide":      {allFacings{{9, repeated(5, 1)}, {9, repeated(5, 1.2)}}, false, false},
		"more":                         {allFacings{{9, repeated(5, 1)}, {9, repeated(5, 1.21)}}, false, true},
		"four of ten at the base":      {allFacings{faceBase: unlike(10, 4)}, true, false},
		"three of ten":                 {allFacings{faceBase: unlike(10, 3)}, true, true},
		"three of ten in an upper jaw": {allFacings{faceBase: unlike(10, 3)}, false, false},
		"two of nine":                  {allFacings{faceBase: unlike(9, 2)}, true, false},
		"13 of 100 in all":             {allFacings{faceAside: unlike(50, 7), faceAhead: unlike(50, 6)}, false, false},
		"12 of 100 in all":             {allFacings{faceAside: unlike(50, 6), faceAhead: unlike(50, 6)}, false, true},
		"10 of 80 in all":              {allFacings{faceAside: unlike(40, 5), faceAhead: unlike(40, 5)}, false, true},
		"10 of 79 in all":              {allFacings{faceAside: unlike(40, 5), faceAhead: unlike(39, 5)}, false, false},
		"none of twelve one way":       {allFacings{faceAside: unlike(12, 0), faceAhead: unlike(15, 6)}, false, true},
		"the other way about":          {allFacings{faceAhead: unlike(12, 0), faceAside: unlike(15, 6)}, false, true},
		"none of eleven":               {allFacings{faceAside: unlike(11, 0), faceAhead: unlike(15, 6)}, false, false},
		"beside eleven":                {allFacings{faceAside: unlike(12, 0), faceAhead: unlike(11, 6)}, false, false},
		"beside twelve":                {allFacings{faceAside: unlike(12, 0), faceAhead: unlike(12, 6)}, false, true},
		"beside few that are alike":    {allFacings{faceAside: unlike(12, 0), faceAhead: unlike(20, 7)}, false, false},
		"three of fifty one way":       {allFacings{faceAside: unlike(50, 3), faceAhead: unlike(15, 6)}, false, false},
		"two of fifty one way":         {allFacings{faceAside: unlike(50, 2), faceAhead: unlike(15, 7)}, false, true},
	} {
		require.Equal(t, c.said, c.w.motion(c.lower) != "", name)
	}
	require.InDelta(t, 0, facing{}.like(), 0, "none asked")
	require.InDelta(t, 1, facing{1, []float64{1}}.like(), 0)
}

// A wall is like the stations' where both its grey values lie within three tenths of a step; a base counts as asked whatever
// was found there, and tells where its blur is known to 15 %.
func TestWallsLikeTheStations(t *testing.T) {
	c := coarseLevels{soft: 10, cortex: 20}
	for _, v := range []struct {
		outside, inside float64
		like            bool
	}{{10, 20, true}, {10, 22.9, true}, {10, 23, false}, {10, 17, false}, {12.9, 20, true}, {13, 20, false}, {7, 20, false}} {
		require.Equal(t, v.like, c.like(toldWall(v.outside, v.inside)), "%v", v)
	}
	base := -1
	for k := range stationWalls {
		if math.IsInf(stationWalls[k].depth, 1) {
			base = k
		}
	}
	told := func(sd float64) *SurfacePatch {
		w := toldWall(10, 20)
		w.p[pSigma], w.cov = 1, mat.NewSymDense(2, []float64{sd * sd, 0, 0, 0})
		return w
	}
	for sd, want := range map[float64]int{0.125: 1, 0.25: 0} {
		st := Station{outline: &Outline{}, soft: 10, cortex: 20}
		st.fitted[base], st.asked[base] = told(sd), true
		got := facings([]Station{st})
		require.Equal(t, 1, got[faceBase].asked)
		require.Len(t, got[faceBase].blur, want, "%g", sd)
	}
}

// What a station must show to count, what is of the common kind, and what confirms what the walls taught.
func TestTeachingOnItsBounds(t *testing.T) {
	at := func(softer, brighter float64) Station {
		return Station{outline: &Outline{}, soft: softer, cortex: brighter}
	}
	c := coarseOf([]Station{at(50, 1050), at(50, 1050), at(50, 1050), at(50, 1050), at(50, 150), at(50, 0), {}})
	require.Equal(t, 4, c.stations, "a tenth of the others' step is none")
	require.InDelta(t, 1050, c.cortex, 0)
	require.InDelta(t, 50, c.soft, 0)
	c = coarseOf([]Station{at(50, 1050), at(50, 1050), at(50, 1050), at(50, 1050), at(50, 151)})
	require.Equal(t, 5, c.stations)
	flat, lifted := coarseLevels{}, coarseLevels{soft: 10}
	require.InDelta(t, 20.5, lifted.kind([]float64{20, 21}), 1e-12)
	require.InDelta(t, 20, lifted.kind([]float64{20, 21.25}), 1e-12)
	require.InDelta(t, 10.5, flat.kind([]float64{10, 11}), 1e-12, "a tenth brighter is of the kind")
	require.InDelta(t, 10, flat.kind([]float64{10, 11.25}), 1e-12)
	require.InDelta(t, 1, flat.kind([]float64{1, 1, 8, 8, 8, 8, 8, 8, 8, 8}), 1e-12, "a quarter of the commonest is common, and dimmer")
	require.InDelta(t, 8, flat.kind([]float64{1, 8, 8, 8, 8, 8, 8, 8, 8}), 1e-12)
	require.Zero(t, flat.kind(nil))
	tissue := coarseLevels{soft: 10, cortex: 26}
	var bright []float64
	for _, w := range tissue.cortical([]*SurfacePatch{toldWall(10, 26), toldWall(10, 26), toldWall(10, 26), toldWall(10, 27.5), toldWall(10, 28), toldWall(10, 18), toldWall(10, 18.5)}) {
		bright = append(bright, w.p[pG1])
	}
	require.Equal(t, []float64{26, 26, 26, 27.5}, bright)
	seen := coarseLevels{soft: 10, cortex: 20, stations: 10}
	good := ImageModel{Soft: 20, Cortex: 30, Blur: 0.5, BlurSD: 0.1, Edges: 2}
	for name, v := range map[string]struct {
		spoil func(m *ImageModel)
		ok    bool
	}{
		"as it is":                       {func(*ImageModel) {}, true},
		"0.6 of the step":                {func(m *ImageModel) { m.Cortex = 26 }, false},
		"more":                           {func(m *ImageModel) { m.Cortex = 26.1 }, true},
		"three times":                    {func(m *ImageModel) { m.Cortex = 50 }, false},
		"less":                           {func(m *ImageModel) { m.Cortex = 49.9 }, true},
		"a blur known to a half":         {func(m *ImageModel) { m.BlurSD = 0.25 }, false},
		"to a little less":               {func(m *ImageModel) { m.BlurSD = 0.249 }, true},
		"one edge of ten stations":       {func(m *ImageModel) { m.Edges = 1 }, false},
		"soft tissue as bright as bone":  {func(m *ImageModel) { m.Soft = 30 }, false},
		"grey values of another series ": {func(m *ImageModel) { m.Soft, m.Cortex = 5, 12 }, true},
	} {
		m := good
		v.spoil(&m)
		require.Equal(t, v.ok, seen.confirms(m), name)
	}
	require.False(t, coarseLevels{soft: 10, cortex: 10, stations: 1}.confirms(good), "no step was seen")
	require.InDelta(t, 4, oneOfTwo([]float64{0, 0, 4, 4}, 2, 16), 0, "a third of the step to cortex lies between the middle two")
	require.InDelta(t, 2, oneOfTwo([]float64{1, 1, 4, 4}, 2, 16), 0, "a quarter: one tissue")
	require.InDelta(t, 2, oneOfTwo([]float64{0, 0, 4, 4, 4}, 2, 16), 0, "an odd one in the middle")
	require.InDelta(t, 2, oneOfTwo(nil, 2, 16), 0)
	for edges, want := range map[int]bool{2: false, 3: true} {
		require.Equal(t, want, ImageModel{Edges: edges}.known())
	}
}

// A wall tells where its blur is known to a quarter, and where its plate is thin its brightness to a tenth of the step.
func TestWallsThatTellOnTheirBounds(t *testing.T) {
	wall := func(blurSD, greySD, tau float64) *SurfacePatch {
		w := &SurfacePatch{active: []int{pSigma, pG1}, plate: true, cov: mat.NewSymDense(2, []float64{blurSD * blurSD, 0, 0, greySD * greySD})}
		w.p[pSigma], w.p[pG0], w.p[pG1], w.p[pTau] = 1, 10, 20, tau
		return w
	}
	require.True(t, wall(0.25, 9, 3.5).tells(), "as thick as that shows its brightness")
	require.False(t, wall(0.26, 0, 3.5).tells())
	require.False(t, wall(0.25, 1, 3.4).tells())
	require.True(t, wall(0.25, 0.99, 3.4).tells())
	require.True(t, wall(0, 0, 3.4).thin() && !wall(0, 0, 3.5).thin())
}

// What tells of a disturbed site on the bound: walls as bright as a quarter of the step more tell, as dark as a quarter less too; a blur
// known to a quarter tells nothing; motion is said past 0.2 mm, and refused past 0.6 mm or from three wide walls on.
func TestTrustOnItsBounds(t *testing.T) {
	of := func(greys ...[2]float64) *Ridge {
		o := (&Outline{}).Fit()
		for _, g := range greys {
			o.walls = append(o.walls, toldWall(g[0], g[1]))
		}
		return o
	}
	plain := [2]float64{10, 20}
	require.Len(t, of(plain, plain, plain, [2]float64{10, 22.5}).alike(), 4)
	require.Len(t, of(plain, plain, plain, [2]float64{10, 22.75}).alike(), 3)
	require.Len(t, of(plain, plain, plain, [2]float64{7.5, 20}).alike(), 4)
	require.Len(t, of(plain, plain, plain, [2]float64{7.25, 20}).alike(), 3)
	wide := func(sigma, sd float64) *SurfacePatch {
		w := toldWall(0, 10)
		w.p[pSigma], w.cov = sigma, mat.NewSymDense(2, []float64{sd * sd, 0, 0, 0})
		return w
	}
	low, high := blurs([]*SurfacePatch{wide(1, 0.25), wide(1, 0.125), wide(2, 0.25)})
	require.Equal(t, []float64{1 - 0.375, 2 - 0.75}, low)
	require.Equal(t, []float64{1 + 0.375, 2 + 0.75}, high)
	for _, c := range []struct {
		site siteTrust
		ok   bool
	}{{siteTrust{smear: 0.6}, true}, {siteTrust{smear: 0.61}, false}, {siteTrust{wide: 2}, true}, {siteTrust{wide: 3}, false}} {
		r := of()
		r.site = c.site
		require.Equal(t, c.ok, r.Trusted() == nil, "%+v", c.site)
	}
	said := func(smear, disturbance float64, edges int) int {
		r := of()
		r.site, r.model = siteTrust{smear: smear, disturbance: disturbance}, ImageModel{Edges: edges, Soft: 10, Cortex: 60}
		return len(r.Cautions())
	}
	require.Equal(t, []int{0, 1, 1, 2, 0}, []int{said(0.2, 1, 9), said(0.21, 1, 9), said(0, 1.1, 9), said(0.21, 1.1, 9), said(0, 9, 2)})
	field := scene{voxel: 0.5, min: reformat.UV{U: -1, V: -1}, max: reformat.UV{U: 1, V: 1}, depth: 1}.field(t, func(reformat.UV) float64 { return soft })
	unsure := (&Outline{field: field}).Fit()
	unsure.walls = []*SurfacePatch{wide(1, 0.125), wide(1.9, 0)}
	unsure.weigh()
	require.Zero(t, unsure.site.wide, "1.125 by chance, and 1.7 times that is more than 1.9")
	unsure.walls = []*SurfacePatch{wide(1, 0), wide(1.9, 0.25)}
	unsure.weigh()
	require.Zero(t, unsure.site.wide, "1.65 by chance")
	weighed := func(sigmas ...float64) siteTrust {
		r := (&Outline{field: field}).Fit()
		for _, s := range sigmas {
			r.walls = append(r.walls, wide(s, 0))
		}
		r.weigh()
		return r.site
	}
	require.Equal(t, 0, weighed(1, 1.7).wide)
	require.Equal(t, 1, weighed(1, 1.75).wide)
	require.Equal(t, 1, weighed(0.1, 0.45).wide, "no edge is sharper than half a voxel")
	require.Zero(t, weighed(1, 2).smear, "two walls say nothing of a direction")
	got := weighed(1, 1, 2)
	require.InDelta(t, 2*math.Sqrt(1.9*1.9-1.05*1.05), got.smear, 1e-9, "one is wide and most are sharp")
	require.InDelta(t, 2*math.Sqrt(1.9*1.9-1.05*1.05), weighed(1, 2, 2).smear, 1e-9, "most are wide and one is sharp")
	require.Zero(t, weighed(1, 1.1, 1.05).smear, "nothing beyond chance")
	require.Equal(t, 3, got.sampled)
}

// The disturbance of a site is what its usual walls share: one with 1.3 times the median noise has its say, a noisier one none.
func TestSharedDisturbanceOnItsBound(t *testing.T) {
	wall := func(noise, rho float64) *SurfacePatch {
		w := &SurfacePatch{noise: noise}
		w.lags.power, w.lags.n = 10000, 10000 // of residuals of variance 1
		for a := range 3 {
			for d := range w.lags.product[a] {
				w.lags.product[a][d], w.lags.count[a][d] = 10000*rho, 10000
			}
		}
		return w
	}
	share := func(noisy float64) float64 {
		return (&Ridge{walls: []*SurfacePatch{wall(10, 0.25), wall(10, 0.25), wall(10, 0.25), wall(noisy, 0.81)}}).shared()
	}
	require.InDelta(t, 10*math.Sqrt((3*0.25+0.81)/4), share(13), 1e-9)
	require.InDelta(t, 10*math.Sqrt(0.25), share(13.01), 1e-9)
}

// Correlations under 5 %, under three standard errors, from fewer than 30 pairs or of no residual are none; past one they are one.
func TestCorrelationOnItsBounds(t *testing.T) {
	of := func(product, count, power, n float64) float64 {
		var l lags
		l.product[0][0], l.count[0][0], l.power, l.n = product, count, power, n
		return l.rho(0, 0)
	}
	require.InDelta(t, 0.5625, of(20.25, 36, 50, 50), 1e-12)
	require.InDelta(t, 0.5, of(18, 36, 50, 50), 1e-12, "three standard errors of 36 pairs")
	require.Zero(t, of(17.9, 36, 50, 50))
	require.InDelta(t, 0.75, of(22.5, 30, 50, 50), 1e-12)
	require.Zero(t, of(22, 29, 50, 50))
	require.Zero(t, of(22.5, 30, 0, 50))
	require.InDelta(t, 1, of(90, 36, 50, 50), 1e-12)
	require.InDelta(t, 0.0625, of(6250, 1e5, 1, 1), 1e-12)
	require.Zero(t, of(4900, 1e5, 1, 1))
	c := correlation{{1, 0.5, 0, 0}, {1, 0.04, 0, 0}, {1}}
	near := c.neighbours([3]int{1, 10, 100})
	require.Equal(t, []neighbour{{1, 0.5}, {9, 0.02}, {10, 0.04}, {11, 0.02}}, near, "each pair once, from 2 % on")
}

// A hollow that a line touches above and below: by hand, a wall along v = 0 … −8 with one point 1 mm in.
func TestHollowByHand(t *testing.T) {
	side := reformat.UV{U: 1}
	a := Axis{Dir: reformat.UV{V: -1}}
	wall := func(end wallEnd, past float64) sideWall {
		return sideWall{[]reformat.UV{{V: 0}, {U: -1, V: -3}, {V: -6}, {U: -0.25, V: -6 - past}}, end}
	}
	u, open := wall(away, 2).hollow(a, side)
	require.InDelta(t, 1, u.Value, 1e-12)
	require.Equal(t, []reformat.UV{{U: -1, V: -3}, {V: 0}, {V: -6}}, []reformat.UV{u.At, u.Above, u.Below})
	require.Zero(t, open)
	u, open = sideWall{[]reformat.UV{{V: 0}, {U: -1, V: -3}, {V: -6}, {V: -7.5}}, away}.hollow(a, side)
	require.Zero(t, u.Value, "1.5 mm on it is not known to touch")
	require.InDelta(t, 1, open, 1e-12)
	u, open = sideWall{[]reformat.UV{{V: 0}, {U: -1, V: -3}, {V: -6}}, atCut}.hollow(a, side)
	require.Zero(t, u.Value)
	require.InDelta(t, 1, open, 1e-12, "the field ends there")
	u, _ = sideWall{[]reformat.UV{{V: 0}, {U: -1, V: -3}, {V: -6}}, atBase}.hollow(a, side)
	require.InDelta(t, 1, u.Value, 1e-12, "the wall's own end is one")
	u, _ = sideWall{[]reformat.UV{{V: 0}, {U: -0.5, V: -0.5}, {V: -1}}, atBase}.hollow(a, side)
	require.InDelta(t, 0.5, u.Value, 1e-12, "a hollow 1 mm long is one")
	u, _ = sideWall{[]reformat.UV{{V: 0}, {U: -0.5, V: -0.375}, {V: -0.75}}, atBase}.hollow(a, side)
	require.Zero(t, u.Value, "a shorter one is the outline's unevenness")
	require.True(t, math.IsInf(wall(away, 2).seen(a), 1) && math.IsInf(wall(atBase, 2).seen(a), 1))
	require.InDelta(t, 8, wall(atCut, 2).seen(a), 1e-12)
	require.Zero(t, sideWall{end: atCut}.seen(a))
	require.Len(t, wall(atBase, 2).downTo(a, 6).points, 3, "as far as that, and no farther")
	require.Equal(t, away, wall(atBase, 2).downTo(a, 6).end)
	require.Equal(t, atBase, wall(atBase, 2).downTo(a, 8).end)
	steep := []reformat.UV{{V: -3}, {V: -3}, {V: -3}, {V: -3}, {V: -3}}
	require.False(t, turnsAway(steep[:4], reformat.UV{U: 9, V: -3}, a, side), "too short to tell")
	require.True(t, turnsAway(steep, reformat.UV{U: 9, V: -3}, a, side))
	require.False(t, turnsAway(steep, reformat.UV{U: 9, V: -2.9}, a, side), "at the crest's shoulder")
	require.True(t, turnsAway(steep, reformat.UV{U: 1.75, V: -4}, a, side), "60.3°")
	require.False(t, turnsAway(steep, reformat.UV{U: 1.7, V: -4}, a, side), "59.5°")
	require.False(t, turnsAway(steep, reformat.UV{V: -3}, a, side), "it goes nowhere")
	u = Undercut{}
	u.Value, u.Budget = 1.5, uncertainty.Budget{{Name: "touch", Std: 0.5}}
	u.standOut()
	require.InDelta(t, 1.5, u.U(), 1e-12, "on the bound U reaches down to none")
}

// A second edge is tried past the bound alone, and a layer of just that thickness or brightness is none.
func TestMucosaOnItsBounds(t *testing.T) {
	f := scene{voxel: 0.5, min: reformat.UV{U: -1, V: -1}, max: reformat.UV{U: 1, V: 1}, depth: 1}.field(t, func(reformat.UV) float64 { return soft })
	m := ImageModel{Edges: 9, Soft: 100, SoftSD: 80, Blur: 1, BlurSD: 0.25, Noise: 100}
	w := &SurfacePatch{noise: 25}
	w.p[pG1], w.p[pSigma] = 1100, 1
	for _, c := range []struct {
		thick, grey float64
		is          bool
	}{{0.375, 100, false}, {0.376, 100, true}, {1, 220, false}, {1, -20, false}, {1, 219, true}} {
		w.p[pGamma], w.p[pG0] = c.thick, c.grey
		require.Equal(t, c.is, w.isMucosa(f, m), "%+v", c)
	}
	w.p[pG0] = 100
	require.False(t, w.misfits(&estimate{noise: 20}, m, quick), "√(25² − 20²) is 1.5 % of 1000")
	require.True(t, w.misfits(&estimate{noise: 19}, m, quick))
	m.Noise = 10
	require.True(t, w.misfits(&estimate{noise: 20}, m, quick), "the series' noise is less")
	w.noise, w.p[pSigma] = 0, 1.75
	require.False(t, w.misfits(&estimate{}, m, thorough))
	w.p[pSigma] = 1.76
	require.True(t, w.misfits(&estimate{}, m, thorough))
}

// The grey value under which a cavity's air lies, on the bounds of contrast and of dark marrow; air no darker leaves no doubt of a lining.
func TestAirOnItsBounds(t *testing.T) {
	for _, c := range []struct {
		model ImageModel
		level float64
		ok    bool
	}{
		{ImageModel{Soft: 20, Cortex: 30, Marrow: 25, Noise: 1}, 17, true},
		{ImageModel{Soft: 20, Cortex: 30, Marrow: 25.5, Noise: 1}, 22.5, true},
		{ImageModel{Soft: 20, Cortex: 23, Noise: 1}, 0, false},
		{ImageModel{Soft: 20, Cortex: 24, Noise: 1}, 18.8, true},
		{ImageModel{Soft: 20, Cortex: 20}, 0, false},
	} {
		level, ok := c.model.AirLevel()
		require.Equal(t, c.ok, ok, "%+v", c.model)
		require.InDelta(t, c.level, level, 1e-12)
	}
	w := &SurfacePatch{count: 300, noise: 1}
	w.p[pG1], w.p[pSigma], w.p[pG0] = 30, 0.25, 17
	m := ImageModel{Soft: 20, Cortex: 30, Noise: 1}
	require.Zero(t, w.liningTerm(m, 0.3))
	w.p[pG0] = 16.5
	require.Positive(t, w.liningTerm(m, 0.3))
	require.InDelta(t, 21.5, ImageModel{Soft: 20, Cortex: 30}.leastBone(), 1e-12)
	require.True(t, math.IsInf(ImageModel{Soft: 20, Cortex: 20}.leastBone(), -1))
}

// Where the axis leaves the bone: at 45° to it that is the base still; straight up it is a wall.
func TestWallOrBaseOnTheBound(t *testing.T) {
	a := Axis{Dir: reformat.UV{V: -1}}
	h := math.Sqrt2 / 2
	for _, c := range []struct {
		normal reformat.UV
		want   Surface
	}{{reformat.UV{U: h, V: -h}, Base}, {reformat.UV{U: 0.8, V: -0.6}, BuccalWall}, {reformat.UV{U: -0.8, V: -0.6}, LingualWall}, {reformat.UV{V: 1}, LingualWall}} {
		require.Equal(t, c.want, a.through(c.normal), "%v", c.normal)
	}
}

// Plates on the bounds of what is believed: together as much as the width less U leaves room, half of the value is known well enough.
func TestPlatesOnTheirBounds(t *testing.T) {
	plate := func(value, u float64) Plate {
		p := Plate{}
		p.Value, p.Budget = value, uncertainty.Budget{{Name: "edge", Std: u / 2}}
		return p
	}
	width := uncertainty.Length{Value: 6, Budget: uncertainty.Budget{{Name: "edge", Std: 0.5}}}
	for name, c := range map[string]struct {
		both  [2]Plate
		solid bool
		want  [2]error
	}{
		"as much as there is room":  {[2]Plate{plate(3, 0.1), plate(2, 0.1)}, false, [2]error{}},
		"more":                      {[2]Plate{plate(3, 0.1), plate(2.25, 0.1)}, false, [2]error{ErrUnsure, ErrUnsure}},
		"half of it":                {[2]Plate{plate(2, 1), plate(1, 0.1)}, false, [2]error{}},
		"less known than half":      {[2]Plate{plate(2, 1.25), plate(1, 0.1)}, false, [2]error{ErrUnsure, nil}},
		"one without a second edge": {[2]Plate{plate(5.5, 0.1), {Err: ErrNoEdge}}, false, [2]error{nil, ErrNoEdge}},
		"solid":                     {[2]Plate{plate(2, 0.1), {Err: ErrNoEdge}}, true, [2]error{ErrSolid, ErrSolid}},
	} {
		got := believed(c.both, c.solid, width)
		for i := range got {
			require.ErrorIs(t, got[i].Err, c.want[i], name)
		}
	}
}

// A body denser than bone holds the crest up to 1 mm over its top, not at its lowest point, and as far aside as half its width and 1 mm.
func TestBodyThatHoldsTheCrestOnItsBounds(t *testing.T) {
	b := Body{Middle: reformat.UV{U: 2, V: 1}, Low: 0, Top: 4, Area: 8} // 2 mm wide
	at := func(u, v float64) bool { return b.holds(Axis{Crest: reformat.UV{U: u, V: v}, Dir: reformat.UV{V: -1}}) }
	require.True(t, at(2, 4.75) && !at(2, 5))
	require.True(t, at(2, 0.25) && !at(2, 0))
	require.True(t, at(3.75, 1) && !at(4, 1) && at(0.25, 1) && !at(0, 1))
	lean := Axis{Crest: reformat.UV{U: 5, V: 3}, Dir: reformat.UV{U: -0.8, V: -0.6}}
	require.True(t, b.holds(lean), "2 mm, and 0.8 a mm of height over its middle")
	lean.Crest.U = 5.625
	require.False(t, b.holds(lean))
	flat := Body{Low: 0, Top: 0.5, Area: 2}
	require.True(t, flat.holds(Axis{Crest: reformat.UV{U: 1.75, V: 0.25}, Dir: reformat.UV{V: -1}}), "at least 1 mm high: half of 2 mm wide")
}
