package safety

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// leaning returns an axis pointing down, turned by degrees toward azimuth (degrees from +x).
func leaning(degrees, azimuth float64) r3.Vec {
	s, c := math.Sincos(degrees * math.Pi / 180)
	sa, ca := math.Sincos(azimuth * math.Pi / 180)
	return v(s*ca, s*sa, -c)
}

func placed(tooth string, x, y float64) Placed {
	return Placed{Site: tooth, Tooth: tooth, Implant: upright(v(x, y, 0), 4, 10)}
}

func spread(t *testing.T, all []Placed) Arch {
	t.Helper()
	a, err := Spread(all, v(0, 0, 1), Options{ScaleHalf: 0.005})
	if err != nil {
		t.Fatal(err)
	}
	return a
}

func degrees(a Arch) (mean, common []float64) {
	for i := range a.ToMean {
		mean, common = append(mean, a.ToMean[i].Value), append(common, a.Correction[i].Value)
	}
	return mean, common
}

// Axes worked by hand.
func TestCommonAxisByHand(t *testing.T) {
	axes := func(tilts ...r3.Vec) []Placed {
		all := []Placed{placed("46", -20, 20), placed("43", -8, 0), placed("36", 20, 20)}[:len(tilts)]
		for i, a := range tilts {
			all[i].Implant.Axis = a
		}
		return all
	}
	a := spread(t, axes(leaning(0, 0), leaning(0, 0), leaning(20, 90)))
	near(t, "two upright, one 20°: largest correction, °", a.Largest.Value, 10, 1e-9)
	near(t, "mean axis leans, °", Angle(a.Mean, v(0, 0, -1)), math.Atan2(math.Sin(math.Pi/9), 2+math.Cos(math.Pi/9))*180/math.Pi, 1e-9)
	near(t, "spread to the mean axis, °", a.Spread.Value, 20-math.Atan2(math.Sin(math.Pi/9), 2+math.Cos(math.Pi/9))*180/math.Pi, 1e-9)
	near(t, "to occlusal, °", a.ToOcclusal[2].Value, 20, 1e-9)
	near(t, "upright to occlusal, °", a.ToOcclusal[0].Value, 0, 1e-9)
	_, c := degrees(a)
	near(t, "correction of each, °", math.Abs(c[0]-10)+math.Abs(c[1]-10)+math.Abs(c[2]-10), 0, 1e-9)

	a = spread(t, axes(leaning(15, 0), leaning(15, 120), leaning(15, 240)))
	near(t, "three leaning 15° all round, °", a.Largest.Value, 15, 1e-9)
	near(t, "their common axis is upright, °", Angle(a.Common, v(0, 0, -1)), 0, 1e-9)
	near(t, "pairs: 2·asin(sin 15°·sin 60°), °", angleLines(leaning(15, 0), leaning(15, 120)), 2*math.Asin(math.Sin(math.Pi/12)*math.Sin(math.Pi/3))*180/math.Pi, 1e-9)

	a = spread(t, axes(leaning(3, 0), leaning(5, 180)))
	near(t, "two: half the angle between, °", a.Largest.Value, 4, 1e-9)
	a = spread(t, axes(leaning(0, 0), leaning(0, 0), leaning(0, 0)))
	near(t, "parallel, °", a.Largest.Value+a.Spread.Value, 0, 1e-9)
}

// The smallest cone against a fine search over axes, and no axis nearby does better.
func TestSmallestConeIsSmallest(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	for range 300 {
		var dirs []r3.Vec
		for range 2 + rng.IntN(8) {
			dirs = append(dirs, leaning(40*rng.Float64(), 360*rng.Float64()))
		}
		c := smallestCone(dirs)
		w := widest(dirs, c)
		for range 200 {
			m := r3.Unit(r3.Add(c, r3.Scale(math.Pow(10, -5*rng.Float64()), v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()))))
			if better := widest(dirs, m); better < w-1e-9 {
				t.Fatalf("%v: %.9f°, but %v gives %.9f°", dirs, w, m, better)
			}
		}
	}
}

// Anterior–posterior spread worked by hand, radii 2 mm.
func TestAnteriorPosteriorSpreadByHand(t *testing.T) {
	four := []Placed{placed("46", -20, 20), placed("43", -8, 1), placed("33", 8, 0), placed("36", 20, 20)}
	a := spread(t, four)
	near(t, "square, mm", a.AP.Value, 22, 1e-9)
	near(t, "u: scale 0.5 % half-width of 22 mm, mm", a.AP.Std(), 22*0.005/math.Sqrt(3), 1e-12)
	if a.APSites != [3]string{"33", "46", "36"} {
		t.Errorf("sites %v", a.APSites)
	}
	skew := []Placed{placed("46", -20, 20), placed("31", 0, 0), placed("35", 20, 10)}
	near(t, "skew: 60/√17 + 2, mm", spread(t, skew).AP.Value, 60/math.Sqrt(17)+2, 1e-9)
	uneven := []Placed{placed("46", -20, 20), placed("31", 0, 0), placed("36", 20, 20)}
	uneven[2].Implant.Diameter = 6
	near(t, "radii 2 and 3: 20·√(1−1/1600) + 2.5, mm", spread(t, uneven).AP.Value, 20*math.Sqrt(1-1.0/1600)+2.5, 1e-9)
	tilted := []Placed{placed("46", -20, 20), placed("31", 0, 0), placed("36", 20, 20)}
	tilted[0].Implant.Axis, tilted[2].Implant.Axis = leaning(30, 90), leaning(30, 90)
	near(t, "distal ones lean 30°: 20 + 2·cos 30°, mm", spread(t, tilted).AP.Value, 20+2*math.Cos(math.Pi/6), 1e-9)
	for _, order := range [][4]int{{1, 0, 2, 3}, {2, 3, 0, 1}, {3, 2, 1, 0}} { // whichever is listed first
		var other []Placed
		for _, i := range order {
			other = append(other, four[i])
		}
		b := spread(t, other)
		near(t, "listed in another order, mm", b.AP.Value, 22, 1e-9)
		if b.APSites != a.APSites {
			t.Errorf("listed %v: sites %v, want %v", order, b.APSites, a.APSites)
		}
	}
	// Of two at the same tooth, or as far in front, the first listed counts.
	same := []Placed{placed("46", -20, 20), placed("46", -20, 20), placed("43", -8, 0), placed("33", 8, 0), placed("36", 20, 20)}
	for i := range same {
		same[i].Site = string(rune('a' + i))
	}
	if b := spread(t, same); b.APSites != [3]string{"c", "a", "e"} {
		t.Errorf("sites %v", b.APSites)
	}
	d, ok := DistalExtension(four, v(0, 0, 1), v(20, 30, 5), Options{})
	near(t, "distal extension to a point 10 behind the centres, mm", d.Value, 8, 1e-9)
	if !ok {
		t.Error("distal extension not known")
	}
	for name, all := range map[string][]Placed{"two": four[:2], "one side": {placed("46", -20, 20), placed("44", -15, 10), placed("42", -3, 0)}} {
		if a := spread(t, all); a.AP.Value == a.AP.Value || a.APReason == "" {
			t.Errorf("%s: spread %g mm, reason %q", name, a.AP.Value, a.APReason)
		}
	}
}

// Pairs worked by hand; each end known to 0.1 mm a coordinate.
func TestPairsByHand(t *testing.T) {
	all := []Placed{placed("46", 0, 0), placed("45", 0, 7), placed("44", 0, 13.9)}
	all[2].Implant.Axis = leaning(12, 0)
	for i := range all {
		all[i].SD = 0.1
	}
	pairs, err := Pairs(all, Margins(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(pairs) != 3 || pairs[0].Sites != [2]string{"46", "45"} || pairs[2].Sites != [2]string{"45", "44"} {
		t.Fatalf("pairs %+v", pairs)
	}
	near(t, "platforms, mm", pairs[0].Platforms.Value, 7, 1e-12)
	near(t, "u of two points in line, mm", pairs[0].Platforms.Std(), 0.1*math.Sqrt2, 1e-3)
	near(t, "surfaces, mm", pairs[0].Surface.Distance.Value, 3, 1e-9)
	if pairs[0].Surface.Verdict != Uncertain || pairs[2].Surface.Margin != 3 {
		t.Errorf("findings %+v", pairs[0].Surface)
	}
	near(t, "angle, °", pairs[1].Angle.Value, 12, 1e-9)
	// Each axis turns by 0.1·√2/10 rad in the plane of both: two of them.
	near(t, "u of the angle, °", pairs[1].Angle.Std(), 0.1*math.Sqrt2/10*math.Sqrt2*180/math.Pi, 0.02)
	if pairs[0].Angle.Std() < 0.5 {
		t.Errorf("parallel axes: u %g°, but they are not known to be parallel", pairs[0].Angle.Std())
	}
	exact, _ := Pairs([]Placed{placed("46", 0, 0), placed("45", 0, 6.9)}, Margins(), Options{})
	if exact[0].Surface.Verdict != NotHeld {
		t.Errorf("2.9 mm apart: %+v", exact[0].Surface)
	}
}

// An angle between lines is at most 90°, whichever way the axes point: 170° between axes is 10° between lines.
func TestAngleOfPairsIsThatOfLines(t *testing.T) {
	all := []Placed{placed("46", 0, 0), placed("45", 0, 30), placed("44", 0, 60)}
	all[1].Implant.Axis, all[2].Implant.Axis = leaning(170, 0), leaning(80, 0)
	pairs, err := Pairs(all, Margins(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{10, 80, 90} {
		near(t, "angle, °", pairs[i].Angle.Value, want, 1e-9)
		if len(pairs[i].Angle.Budget) != 0 || len(pairs[i].Platforms.Budget) != 0 {
			t.Errorf("exact positions have an uncertainty: %+v", pairs[i])
		}
	}
}

// Axes 0.3° apart whose ends are known to 0.1 mm: moved toward each other they pass the parallel, moved apart they do
// not. The larger change counts, whichever side the second leans to.
func TestUncertaintyOfSmallAnglesIsTheLargerChange(t *testing.T) {
	for _, lean := range []float64{0.3, -0.3} {
		all := []Placed{placed("46", 0, 0), placed("45", 7, 0)}
		all[1].Implant.Axis, all[1].SD = leaning(lean, 0), 0.1
		pairs, err := Pairs(all, Margins(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		along := 0.1 / 10 * 180 / math.Pi                  // of an end in the plane of both, °
		aside := math.Hypot(0.3, along) - 0.3              // of an end across it, °
		want := math.Sqrt(2 * (along*along + aside*aside)) // two ends
		near(t, "u, °", pairs[0].Angle.Std(), want, 1e-3)
	}
}

// Moved, turned and listed in another order, the arch is the same.
func TestArchIsTheSameMovedAndReordered(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		all := []Placed{placed("46", -20, 20), placed("43", -8, 1), placed("31", 1, 0), placed("35", 19, 14)}
		for i := range all {
			all[i].Implant.Axis = leaning(rapid.Float64Range(0, 40).Draw(t, "tilt"), rapid.Float64Range(0, 360).Draw(t, "azimuth"))
			all[i].Implant.Platform.Z = rapid.Float64Range(-2, 2).Draw(t, "height")
			all[i].SD = 0.05
		}
		rot := r3.NewRotation(rapid.Float64Range(0, 6).Draw(t, "turn"), leaning(rapid.Float64Range(0, 180).Draw(t, "about"), rapid.Float64Range(0, 360).Draw(t, "azimuth of it")))
		var moved []Placed
		for _, k := range []int{2, 0, 3, 1} {
			p := all[k]
			p.Implant.Platform, p.Implant.Axis = r3.Add(rot.Rotate(p.Implant.Platform), v(40, -7, 21)), r3.Unit(rot.Rotate(p.Implant.Axis))
			moved = append(moved, p)
		}
		a, err := Spread(all, v(0, 0, 1), Options{})
		b, err2 := Spread(moved, rot.Rotate(v(0, 0, 1)), Options{})
		if err != nil || err2 != nil {
			t.Fatal(err, err2)
		}
		for what, d := range map[string]float64{"spread": a.Spread.Value - b.Spread.Value, "largest": a.Largest.Value - b.Largest.Value, "AP": a.AP.Value - b.AP.Value} {
			if math.Abs(d) > 1e-6 {
				t.Errorf("%s differs by %g", what, d)
			}
		}
		if a.Largest.Value > a.Spread.Value+1e-9 {
			t.Errorf("best common axis %g°, mean axis %g°", a.Largest.Value, a.Spread.Value)
		}
	})
}

func TestArchRefusesWhatIsNoArch(t *testing.T) {
	up := placed("43", 5, 0)
	up.Implant.Axis = v(0, 0, 1)
	for name, all := range map[string][]Placed{"one": {placed("46", 0, 0)}, "upside down": {placed("46", 0, 0), up}, "no body": {placed("46", 0, 0), {Site: "x"}}} {
		if _, err := Spread(all, v(0, 0, 1), Options{}); err == nil {
			t.Errorf("%s passed", name)
		}
	}
	if _, err := Spread([]Placed{placed("46", 0, 0), placed("45", 0, 7)}, r3.Vec{}, Options{}); err == nil {
		t.Error("no occlusal direction passed")
	}
}
