package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// ridgeOf is the usual ridge of these tests: 7 mm wide, plates of 1.5 mm, blur 0.22 mm.
func ridgeOf(height float64) func(reformat.UV) float64 {
	outer, inner := hollow(3.5, height, 1.5)
	return bony(outer, inner, 0.22)
}

// learnt outlines the scene and teaches it its own tissue.
func learnt(t *testing.T, s scene, grey func(reformat.UV) float64) *Ridge {
	f := s.field(t, grey)
	outline, err := Trace(f, EstimateImage([]Station{NewStation(f)}))
	require.NoError(t, err)
	o := outline.Weigh()
	return o
}

// moved is the mean of two copies d apart: what a detector sees of a jaw that moved half-way.
func moved(grey func(reformat.UV) float64, d reformat.UV) func(reformat.UV) float64 {
	h := scale(0.5, d)
	return func(p reformat.UV) float64 { return (grey(add(p, h)) + grey(sub(p, h))) / 2 }
}

// A clean scan loses nothing: no caution, no disturbance, noise that is white.
func TestCleanImageIsTrusted(t *testing.T) {
	s := around(20, 0.3, 60)
	s.turn = 0.3
	o := learnt(t, s, ridgeOf(20))
	require.NoError(t, o.Trusted())
	require.Empty(t, o.Cautions())
	require.Zero(t, o.site.disturbance)
	require.Zero(t, o.site.smear)
	require.Equal(t, correlation{{1}, {1}, {1}}, o.model.correlation)
}

// Two copies D apart have the blur √(σ² + D²/4) along D: the distance is read back, the uncertainty
// grows, and past half a millimetre there is no number.
func TestMotionIsSeenAndSaid(t *testing.T) {
	still := learnt(t, around(20, 0.3, 40), ridgeOf(20))
	a, err := still.FindAxis(nil)
	require.NoError(t, err)
	clean, err := still.Width(a, 5, Placement{})
	require.NoError(t, err)

	o := learnt(t, around(20, 0.3, 40), moved(ridgeOf(20), reformat.UV{U: 0.45}))
	require.InDelta(t, 0.45, o.site.smear, 0.12, "less 5 % of the blur, by which it may only fall short")
	require.Len(t, o.Cautions(), 1)
	a, err = o.FindAxis(nil)
	require.NoError(t, err)
	w, err := o.Width(a, 5, Placement{})
	require.NoError(t, err)
	require.InDelta(t, 7, w.Value, w.U())
	require.Greater(t, w.U(), 1.2*clean.U())

	_, err = learnt(t, around(20, 0.3, 40), moved(ridgeOf(20), reformat.UV{U: 1})).FindAxis(nil)
	require.ErrorIs(t, err, ErrDisturbed)
}

// Bands across the section, as metal throws them: the residuals show them, and the widths stay
// within an uncertainty that has grown by what such a band can move an edge.
func TestBandsWidenTheUncertainty(t *testing.T) {
	const amplitude, wave = 150.0, 2.2
	bone := ridgeOf(20)
	out, n := 0, 0
	for phase := range 3 {
		s := around(20, 0.3, 40)
		s.seed = uint64(phase)
		o := learnt(t, s, func(p reformat.UV) float64 {
			return bone(p) + amplitude*math.Sin(2*math.Pi*(0.8*p.U+0.6*p.V)/wave+2*float64(phase))
		})
		require.Greater(t, o.site.disturbance, 0.2*amplitude/math.Sqrt2)
		require.Less(t, o.site.disturbance, amplitude)
		require.NotEmpty(t, o.Cautions())
		a, err := o.FindAxis(nil)
		require.NoError(t, err)
		for _, d := range []float64{5, 6, 7, 8, 9, 10} {
			w, err := o.Width(a, d, Placement{})
			require.NoError(t, err)
			n++
			if math.Abs(w.Value-7) > w.U() {
				out++
			}
		}
	}
	require.LessOrEqual(t, out, 1, "of %d widths outside their uncertainty; 7 %% are allowed", n)
}

// A wall whose voxels hold far more than layers, blur and noise has no number.
func TestGrossDisturbanceWithholdsTheEdge(t *testing.T) {
	o := (&Outline{model: ImageModel{Edges: 9, Cortex: cortex, Soft: soft}}).Fit()
	w := &SurfacePatch{}
	w.p[pG0], w.p[pG1], w.p[pSigma] = soft, cortex, 0.3
	require.NoError(t, o.trusted(w))
	o.site.disturbance = 300 // 1.5·300·0.3·√(2π)/1540 = 0.22 mm, past 0.2
	require.ErrorIs(t, o.trusted(w), ErrDisturbed)
	o.site.disturbance = 250 // 0.18 mm
	require.NoError(t, o.trusted(w))
	require.InDelta(t, 0.183, o.shift(w), 0.001)
}

// The skin of the mucosa is a sharp edge, and none of bone's: inside it the grey value is soft tissue's. A thin wall that the
// fit makes dim is bone still.
func TestSkinIsNoEdgeOfBone(t *testing.T) {
	taught := ImageModel{Edges: 9, Cortex: cortex, Soft: soft}
	for inside, want := range map[float64]error{soft: ErrNoEdge, soft + 200: ErrNoEdge, marrow: nil, cortex: nil} {
		w := &SurfacePatch{}
		w.p[pG0], w.p[pG1], w.p[pSigma] = air, inside, 0.3
		require.ErrorIs(t, (&Outline{model: taught}).Fit().trusted(w), want, "%g inside", inside)
		require.NoError(t, (&Outline{}).Fit().trusted(w), "nothing is known of the series")
	}
}

// Walls that tell of motion: not the mucosa between bone and air where others border on soft tissue, nor a plate that fits
// far brighter than the others'. Where all border on air, all tell.
func TestWallsThatTellOfMotion(t *testing.T) {
	for name, c := range map[string]struct {
		walls [][2]float64 // grey values beside the plate and in it
		tell  int
	}{
		"one kind":               {[][2]float64{{50, 1600}, {60, 1500}, {40, 1650}, {50, 1590}}, 4},
		"one of them too bright": {[][2]float64{{50, 1600}, {60, 1500}, {40, 2600}, {50, 1590}}, 3},
		"two border on air":      {[][2]float64{{50, 1600}, {-1000, 1800}, {-990, 1750}, {50, 1590}}, 2},
		"all border on air":      {[][2]float64{{-1010, 1600}, {-1000, 1700}, {-990, 1750}, {-995, 1590}}, 4},
	} {
		t.Run(name, func(t *testing.T) {
			o := (&Outline{}).Fit()
			for _, g := range c.walls {
				w := &SurfacePatch{}
				w.p[pG0], w.p[pG1] = g[0], g[1]
				o.walls = append(o.walls, w)
			}
			require.Len(t, o.alike(), c.tell)
		})
	}
}

// White noise smoothed by exp(−x²/2s²) has the autocorrelation Σw(x)w(x+d)/Σw², known exactly; the
// fits' residuals give it back, in the plane and not across it. Edges then are less sure by more
// than a third, for neighbours repeat each other.
func TestClumpedNoiseIsMeasuredAndCounted(t *testing.T) {
	const s = 0.7
	auto := func(d int) float64 {
		sum, power := 0.0, 0.0
		for x := -8; x <= 8; x++ {
			w := func(x int) float64 { return math.Exp(-float64(x*x) / (2 * s * s)) }
			sum, power = sum+w(x)*w(x+d), power+w(x)*w(x)
		}
		return sum / power
	}
	edge := func(sigma float64) (c correlation, sd float64) {
		sc := around(20, 0.3, 80)
		sc.correlated = sigma
		o := learnt(t, sc, ridgeOf(20))
		a, err := o.FindAxis(nil)
		require.NoError(t, err)
		ch, err := o.chord(a.At(6), a.Side())
		require.NoError(t, err)
		return o.model.correlation, ch.high.sd
	}
	c, sd := edge(s)
	require.InDelta(t, auto(1), c[0][1], 0.12)
	require.InDelta(t, auto(1), c[2][1], 0.12)
	require.Zero(t, c[1][1], "planes along the arch are independent")
	_, white := edge(0)
	require.Greater(t, sd, 1.33*white)
}
