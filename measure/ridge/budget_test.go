package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// term returns the only term of this name.
func term(t testing.TB, b uncertainty.Budget, name string) uncertainty.Term {
	var found uncertainty.Budget
	for _, x := range b {
		if x.Name == name {
			found = append(found, x)
		}
	}
	require.Len(t, found, 1, name)
	return found[0]
}

// uneven is a ridge 7 mm wide, its crest a half circle, with a buccal and a lingual plate of these
// thicknesses, mm.
func uneven(height, buccal, lingual float64) (outer, inner shape) {
	const r = 3.5
	outer = stadium(r, height)
	in := stadium(r-(buccal+lingual)/2, height-3)
	shifted := (lingual - buccal) / 2
	return outer, shape{in.base - 1.5, in.top - 1.5, func(v float64) (float64, float64) {
		lo, hi := in.row(v + 1.5)
		return lo + shifted, hi + shifted
	}}
}

// Buccal is toward +u: the plate drawn there is the buccal one, and stands first.
func TestPlatesAreThoseOfTheirSides(t *testing.T) {
	outer, inner := uneven(22, 1.2, 2.2)
	o, a := trace(t, around(22, 0.2, 50).field(t, bony(outer, inner, 0.2)))
	for _, d := range []float64{7, 10} {
		w, err := o.Width(a, d, Placement{})
		require.NoError(t, err)
		for i, want := range []float64{1.2, 2.2} {
			require.NoError(t, w.Plates[i].Err)
			require.InDelta(t, want, w.Plates[i].Value, 0.06, "depth %g, plate %d", d, i)
		}
		require.Greater(t, w.Buccal.U, w.Plates[0].Inner.U)
		require.Less(t, w.Lingual.U, w.Plates[1].Inner.U)
	}
}

// A plate is a number from one full width at half maximum of the blur on, 2√(2·ln 2)·σ = 0.471 mm at σ 0.2 mm:
// three quarters of that is none, 1.4 times is one, though the plate opposite teaches the blur both times.
func TestPlateThinnerThanTheBlurHasNoNumber(t *testing.T) {
	const fwhm = 0.471
	for _, c := range []struct {
		plate float64
		thin  bool
	}{{0.75 * fwhm, true}, {1.4 * fwhm, false}} {
		outer, inner := uneven(22, c.plate, 2.2)
		o, a := trace(t, around(22, 0.15, 30).field(t, bony(outer, inner, 0.2)))
		for _, d := range []float64{7, 9, 11} {
			w, err := o.Width(a, d, Placement{})
			require.NoError(t, err)
			if c.thin {
				require.ErrorIs(t, w.Plates[0].Err, ErrThin, "%.2f mm at %g mm: %.2f mm", c.plate, d, w.Plates[0].Value)
				require.ErrorContains(t, w.Plates[0].Err, "0.5 mm")
				continue
			}
			require.NoError(t, w.Plates[0].Err)
			require.InDelta(t, c.plate, w.Plates[0].Value, w.Plates[0].U())
		}
	}
}

// measuredLengths are lengths of a stadium of radius 3.5 mm, 20 mm high, size times as large, for a hand.
func measuredLengths(t testing.TB, s scene, size float64, h Placement) map[string]uncertainty.Length {
	outer, inner := hollow(3.5, 20, 1.5)
	grey := bony(outer, inner, 0.2)
	s.voxel, s.depth, s.min, s.max = size*s.voxel, size*s.depth, scale(size, s.min), scale(size, s.max)
	o, a := trace(t, s.field(t, func(p reformat.UV) float64 { return grey(scale(1/size, p)) }))
	at1, err1 := o.Width(a, 1, h)
	at8, err8 := o.Width(a, 8, h)
	usable, err2 := o.UsableCrest(a, 6, h)
	end, err3 := o.End(a, h)
	beside, err4 := o.Beside(scale(size, reformat.UV{U: 1, V: -8}), reformat.UV{U: 1}, 0, h)
	for _, err := range []error{err1, err8, err2, err3, err4} {
		require.NoError(t, err)
	}
	return map[string]uncertainty.Length{"width at 1 mm": at1.Length, "width at 8 mm": at8.Length, "plate": at8.Plates[0].Length,
		"usable crest": usable, "height": end.Length, "beside": beside}
}

// growth is by how much these lengths grow per unit of growth of the ridge about its crest, mm: a width w(d) at a depth
// that does not grow by w − d·w', the depth h at which it reaches W by h − W/w'. In a round crest of
// radius r, w = 2√(d·(2r−d)) and w' = 4·(r−d)/w. Lengths between two places of the bone grow by themselves.
func growth() map[string]float64 {
	const r, want = 3.5, 6.0
	w1, depth := 2*math.Sqrt(2*r-1), r-math.Sqrt(r*r-want*want/4)
	return map[string]float64{"width at 1 mm": w1 - 4*(r-1)/w1, "width at 8 mm": 2 * r, "plate": 1.5,
		"usable crest": depth - want/(4*(r-depth)/want), "height": 20, "beside": r - 1}
}

// A scan whose scale is s too large shows the same ridge (1+s) times as large, and the plan's depths lie too
// near its crest. Here the ridge is drawn 2 % too large and too small.
func TestScaleMovesAValueAsItsTermSays(t *testing.T) {
	const s, half = 0.02, 0.005
	around := around(20, 0.2, 0)
	low, here, high := measuredLengths(t, around, 1-s, Placement{}), measuredLengths(t, around, 1, Placement{Scale: half}), measuredLengths(t, around, 1+s, Placement{})
	for name, growth := range growth() {
		const tol = 0.02 // mm: what a fitted edge is off in a curved crest
		require.InDelta(t, growth, (high[name].Value-low[name].Value)/(2*s), tol, "%s: drawn", name)
		scaled := term(t, here[name].Budget, "scale of the scan")
		require.InDelta(t, half/math.Sqrt(3)*growth, scaled.Contribution(), half/math.Sqrt(3)*tol, "%s: term", name)
		require.Equal(t, "scale", scaled.Group, "one error in all that is measured in the scan")
	}
}

// A ridge that runs to buccal by 0.2 mm per mm along the arch: a section turned by φ cuts it aslant, and widths grow by
// 0.2·w·φ, less what of that slope an askew section would show of itself, ¼·φ². Its direction turns none.
func TestSectionsDirectionMovesAValueAsItsTermSays(t *testing.T) {
	const shear, turn = 0.2, 0.05
	s := around(20, 0.2, 0)
	s.shear = shear
	here := measuredLengths(t, s, 1, Placement{Rotation: turn})
	for name, width := range map[string]float64{"width at 8 mm": 7, "plate": 1.5, "beside": 2.5} {
		want := turn * width * math.Sqrt(shear*shear-turn*turn/4)
		require.InDelta(t, want, term(t, here[name].Budget, "section direction").Contribution(), 0.03*want, name)
	}
}

// The same of a ridge that leans by θ in the section and lies 0.2 mm farther to buccal per mm along the arch: a turn of the section by
// φ stretches the picture by 0.2·φ from side to side, and a length square to the walls by cos²θ of that. It goes cos θ of its
// length from side to side.
func TestSectionsDirectionMovesALeaningRidgeLess(t *testing.T) {
	const shear, turn, lean = 0.2, 0.15, 0.5
	outer, inner := hollow(3.5, 20, 1.5)
	s := around(20, 0.2, 0)
	s.shear = shear
	o, a := trace(t, s.field(t, turned(bony(outer, inner, 0.2), lean)))
	at8, err := o.Width(a, 8, Placement{Rotation: turn})
	require.NoError(t, err)
	side := a.Side()
	beside, err := o.Beside(add(a.At(8), side), side, 0, Placement{Rotation: turn})
	require.NoError(t, err)
	for name, c := range map[string]struct {
		got uncertainty.Length
		mm  float64
	}{"width": {at8.Length, 7}, "buccal plate": {at8.Plates[0].Length, 1.5}, "lingual plate": {at8.Plates[1].Length, 1.5}, "beside": {beside, 2.5}} {
		require.InDelta(t, c.mm, c.got.Value, 0.05, name)
		want := turn * c.mm * math.Cos(lean) * math.Sqrt(math.Pow(shear*math.Cos(lean), 2)-turn*turn/4)
		require.InDelta(t, want, term(t, c.got.Budget, "section direction").Contribution(), 0.03*want, name)
	}
}

// Walls that slope by d along the arch, seen by a section askew by a normal θ: the mean square of the error d·θ + ½·θ² of
// a length of 1 mm is that of the term, up to the share of sections that look square to the walls by chance.
func TestDirectionIsAsUncertainAsItSays(t *testing.T) {
	const sigma, steps = 0.1, 4000
	for _, c := range []struct{ slope, most float64 }{{0, 1.13}, {0.05, 1.13}, {0.1, 1.06}, {0.3, 1.01}} {
		var wrong, said float64
		for i := range steps {
			z := 12*(float64(i)+0.5)/steps - 6
			weight, theta := math.Exp(-z*z/2), sigma*z
			wrong += weight * math.Pow(c.slope*theta+theta*theta/2, 2)
			said += weight * math.Pow(Placement{Rotation: sigma}.direction(c.slope+theta, 1).Contribution(), 2)
		}
		ratio := math.Sqrt(said / wrong)
		require.GreaterOrEqual(t, ratio, 1-1e-9, "slope %g", c.slope)
		require.LessOrEqual(t, ratio, c.most, "slope %g", c.slope)
	}
}

// The crest's error is one error in all that is measured from it: a crest found too far coronally makes
// heights and the usable crest's depth greater by as much, a width smaller by its growth with depth, and
// leaves what lies below the usable crest as it is.
func TestCrestCountsOnceAndWithItsSign(t *testing.T) {
	outer, inner := hollow(3.5, 20, 1.5)
	o, a := trace(t, around(20, 0.2, 50).field(t, bony(outer, inner, 0.2)))
	w, err := o.Width(a, 1, Placement{})
	require.NoError(t, err)
	usable, err := o.UsableCrest(a, 6, Placement{})
	require.NoError(t, err)
	end, err := o.End(a, Placement{})
	require.NoError(t, err)
	crest := o.crestTerm(a, 1).Std
	require.Greater(t, crest, a.CrestSD, "the edge rule is in it")
	require.InDelta(t, -crest*10/math.Sqrt(24), term(t, w.Budget, "crest").Contribution(), 0.01*crest, "w' = 4·(r−d)/w at 1 mm")
	require.InDelta(t, crest, term(t, usable.Budget, "crest").Contribution(), 1e-9)
	require.InDelta(t, crest, term(t, end.Budget, "crest").Contribution(), 1e-9)
	squares := 0.0
	for _, b := range []uncertainty.Budget{end.Budget, usable.Budget} {
		for _, x := range b {
			if x.Name != "crest" {
				squares += x.Contribution() * x.Contribution()
			}
		}
	}
	left := append(append(uncertainty.Budget{}, end.Budget...), usable.Budget.Scaled(-1)...)
	require.InDelta(t, math.Sqrt(squares), left.Std(), 1e-9)
}

// The crests of twelve scans scatter about the true one as their stated uncertainty says: of 12 squares of
// error over uncertainty the mean lies between 0.18 and 2.74 with 99.8 % (χ² of 12 degrees of freedom).
func TestCrestScattersAsItsUncertaintySays(t *testing.T) {
	outer, inner := hollow(3.5, 20, 1.5)
	grey := bony(outer, inner, 0.2)
	mean := 0.0
	for n := range 12 {
		s := around(20, 0.2, 100)
		s.seed, s.offset = uint64(n), reformat.UV{U: 0.37 * float64(n), V: 0.21 * float64(n)}
		_, a := trace(t, s.field(t, grey))
		mean += a.Crest.V * a.Crest.V / (a.CrestSD * a.CrestSD) / 12
	}
	require.InDelta(t, (0.18+2.74)/2, mean, (2.74-0.18)/2)
}

// Every edge of a length adds the edge rule: 2 % of the blur, σ 0.2 mm here and no curvature at 8 mm, as no noise
// adds a disturbance worth a tenth of it; a plate's two edges move apart, √2 of it. The base is a half circle, of
// curvature 1/r.
func TestEveryEdgeAddsItsRule(t *testing.T) {
	const r, rule = 3.5, 0.02 * 0.2
	outer, inner := hollow(r, 20, 1.5)
	o, a := trace(t, around(20, 0.2, 0).field(t, bony(outer, inner, 0.2)))
	w, err := o.Width(a, 8, Placement{})
	require.NoError(t, err)
	end, err := o.End(a, Placement{})
	require.NoError(t, err)
	beside, err := o.Beside(a.At(8), reformat.UV{U: 1}, 0, Placement{})
	require.NoError(t, err)
	round := math.Hypot(rule, 0.01/r)
	for _, c := range []struct {
		b    uncertainty.Budget
		name string
		want float64
	}{
		{w.Budget, "edge rule, buccal", rule}, {w.Budget, "edge rule, lingual", rule}, {w.Plates[0].Budget, "edge rule", math.Sqrt2 * rule},
		{w.Plates[1].Budget, "edge rule", math.Sqrt2 * rule}, {beside.Budget, "edge rule", rule},
		{end.Budget, "edge rule, base", round}, {end.Budget, "crest", round},
	} {
		require.InEpsilon(t, c.want, term(t, c.b, c.name).Contribution(), 0.1, c.name)
	}
}

// The rule's three parts by hand, on voxels of 0.4 mm: 2 % of a blur of 0.2 mm; 0.01 mm for each 1/mm of curvature,
// here 0.3 of the surface and 0.4 of the plate's inner side; a tenth of the 0.1 mm by which the voxels are coarser
// than one and a half sigma.
func TestEdgeRuleByHand(t *testing.T) {
	o := &Outline{field: around(5, 0.4, 0).field(t, func(reformat.UV) float64 { return soft })}
	w := &SurfacePatch{}
	w.p[pSigma], w.p[pCXX], w.p[pTauXX] = 0.2, 0.3, 0.4
	require.InDelta(t, math.Sqrt(0.004*0.004+0.005*0.005+0.01*0.01), o.layerTerm(w), 1e-9)
	w.p[pSigma] = 0.3
	require.InDelta(t, math.Hypot(0.006, 0.005), o.layerTerm(w), 1e-9, "voxels fine enough")
}

// A line that meets the bone's edge aslant meets it farther off for the same shift of the edge: 1/cos of the angle.
// Beside an implant and at the far end of an axis alike; at 40° to a straight wall.
func TestEdgeRuleGrowsOnASlant(t *testing.T) {
	outer, inner := hollow(3.5, 24, 1.5)
	o, a := trace(t, around(24, 0.3, 10).field(t, bony(outer, inner, 0.25)))
	slanted := turnBy(a.Side(), 40*math.Pi/180)
	square, err := o.Beside(a.At(8), a.Side(), 0, Placement{})
	require.NoError(t, err)
	slant, err := o.Beside(a.At(8), slanted, 0, Placement{})
	require.NoError(t, err)
	want := term(t, square.Budget, "edge rule").Contribution() / math.Cos(40*math.Pi/180)
	require.InEpsilon(t, want, term(t, slant.Budget, "edge rule").Contribution(), 0.1)
	end, err := o.End(Axis{Crest: a.At(8), Dir: slanted}, Placement{})
	require.NoError(t, err)
	require.InEpsilon(t, want, term(t, end.Budget, "edge rule, base").Contribution(), 0.1)
	plate := func(angle float64) float64 {
		w, err := o.Width(Axis{Crest: a.At(0), Dir: turnBy(a.Dir, angle)}, 9, Placement{})
		require.NoError(t, err)
		require.NoError(t, w.Plates[0].Err)
		return term(t, w.Plates[0].Budget, "edge rule").Contribution()
	}
	require.InEpsilon(t, plate(0)/math.Cos(15*math.Pi/180), plate(15*math.Pi/180), 0.02)
}

// A floor that slopes by 30° under a vertical line: its edge rule is that of a wall met squarely over cos 30°.
func TestEdgeRuleOfASlopingFloor(t *testing.T) {
	const height = 12.0
	rule := func(slope float64) float64 {
		bone := shape{-30, 0, func(float64) (float64, float64) { return -8, 8 }}.blurred(0.25)
		cos := math.Cos(slope)
		grey := func(p reformat.UV) float64 {
			under := (p.V + height - math.Tan(slope)*p.U) * cos // mm below 0: in the cavity
			solid := bone(p) * phiOf(under/0.25)
			return air*(1-phiOf(under/0.25)) + phiOf(under/0.25)*soft*(1-bone(p)) + solid*cortex
		}
		o, _ := trace(t, around(24, 0.3, 10).field(t, grey))
		f, err := o.Floor(Axis{Crest: reformat.UV{}, Dir: down})
		require.NoError(t, err)
		return term(t, f.Budget, "edge rule, floor").Contribution()
	}
	require.InEpsilon(t, rule(0)/math.Cos(math.Pi/6), rule(math.Pi/6), 0.1)
}

func phiOf(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// A crest that slopes by 30° to buccal under an axis straight down: its edge rule is that of a crest met squarely over
// cos 30°, and where the ridge runs to buccal by 0.2 mm per mm along the arch it comes up by 0.2·tan 30°.
func TestSlopingCrestMovesAlongTheAxis(t *testing.T) {
	const shear, slope = 0.2, math.Pi / 6
	crest := shape{-12, 4 * math.Tan(slope), func(v float64) (float64, float64) { return -4, math.Min(4, -v/math.Tan(slope)) }}.blurred(0.2)
	s := around(12, 0.25, 10)
	s.shear = shear
	o, _ := trace(t, s.field(t, func(p reformat.UV) float64 { return soft + (cortex-soft)*crest(p) }))
	a := Axis{Dir: down}
	require.NoError(t, o.fineCrest(&a, reformat.UV{V: -2}))
	std := o.crestTerm(a, 1).Std
	require.InEpsilon(t, o.modelTerm(a.crestWall)/math.Cos(slope), math.Sqrt(std*std-a.CrestSD*a.CrestSD), 0.02)
	require.InEpsilon(t, -shear*math.Tan(slope), a.crestSlope(), 0.04)
}

// A ridge whose walls lean by 20°, both outward, and that runs to buccal by 0.2 mm per mm along the arch: so do the middles of
// its widths, whatever their walls' lean.
func TestMiddlesMoveWithTheRidge(t *testing.T) {
	const shear = 0.2
	lean := math.Tan(20 * math.Pi / 180)
	ridge := shape{-14, 0, func(v float64) (float64, float64) { return -2 + v*lean, 2 - v*lean }}.blurred(0.2)
	s := around(14, 0.25, 10)
	s.shear = shear
	o, a := trace(t, s.field(t, func(p reformat.UV) float64 { return soft + (cortex-soft)*ridge(p) }))
	m := o.middles(a)
	require.GreaterOrEqual(t, len(m.moves), 5)
	for i, move := range m.moves[1:] {
		require.InEpsilon(t, shear, move.along, 0.03, "%g mm below the crest", m.depth[i+1])
	}
}

// A ridge that is the same everywhere but runs to buccal by 0.2 and coronally by 0.15 mm per mm along the arch has the same widths, heights,
// plates and tilt in every section: where the section lies adds nothing to them, for its parts take each other away. It widens by 2·tan 25° a mm
// and leans by 12°.
func TestWhatIsTheSameAlongTheArchHasNoTermOfItsPlace(t *testing.T) {
	lean := math.Tan(25 * math.Pi / 180)
	outer := shape{-12, 0, func(v float64) (float64, float64) { return -2.5 + v*lean, 2.5 - v*lean }}
	inner := shape{-10, -2, func(v float64) (float64, float64) { return -0.5 + v*lean, 0.5 - v*lean }}
	s := around(12, 0.35, 10)
	s.shear, s.rise = 0.2, 0.15
	o, a := trace(t, s.field(t, turned(bony(outer, inner, 0.25), 12*math.Pi/180)))
	h := Placement{Position: 1}
	place := func(b uncertainty.Budget) float64 { return term(t, b, "section place along the arch").Contribution() }
	for _, d := range []float64{4, 6} {
		w, err := o.Width(a, d, h)
		require.NoError(t, err)
		require.InDelta(t, 0, place(w.Budget), 0.02, "width at %g mm", d)
	}
	end, err := o.End(a, h)
	require.NoError(t, err)
	require.InDelta(t, 0, place(end.Budget), 0.02, "height")
	require.Greater(t, math.Abs(a.crestSlope()), 0.1, "its parts are not")
	require.InDelta(t, 0, place(a.TiltAngle(h).Budget), 0.3, "degrees")
	// Beside a place that stays where it is, the wall moves on: by the shear, and by the rise on its slope.
	for _, side := range []float64{1, -1} {
		p := a.At(6)
		l, err := o.Beside(p, reformat.UV{U: side}, 0, h)
		require.NoError(t, err)
		slope := math.Tan((12 + side*25) * math.Pi / 180) // how far toward buccal the wall goes per mm down
		require.InDelta(t, side*(0.2+0.15*slope), -place(l.Budget), 0.03, "side %g", side)
	}
}

// A ridge that is turned by 0.03 rad a mm along the arch has an axis that turns by as much, whether the middles of its widths turn along with an axis or,
// as on a ridge whose walls lean by 25°, gain on it by tan² 25°. So its tilt's term of the section's place.
func TestAxisTurnsWithATwistedRidge(t *testing.T) {
	for _, degrees := range []float64{0, 25} {
		lean := math.Tan(degrees * math.Pi / 180)
		outer := shape{-12, 0, func(v float64) (float64, float64) { return -2.5 + v*lean, 2.5 - v*lean }}
		inner := shape{-10, -2, func(v float64) (float64, float64) { return -0.8 + v*lean, 0.8 - v*lean }}
		s := around(12, 0.35, 10)
		s.twist = 0.03
		_, a := trace(t, s.field(t, bony(outer, inner, 0.25)))
		require.InEpsilon(t, 0.03, math.Abs(a.DirAlong), 0.08, "walls that lean by %g°", degrees)
		got := term(t, a.TiltAngle(Placement{Position: 0.5}).Budget, "section place along the arch").Contribution()
		require.InEpsilon(t, 0.5*0.03*180/math.Pi, math.Abs(got), 0.08)
	}
}
