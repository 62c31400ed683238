package safety

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// prism is bone for tests: a closed polygon in the section (buccal, up), counter-clockwise,
// extruded along the arch without end. Its reserve is the least distance of the implant's
// side, deeper than 1 mm, from the polygon's edges, by rays across the axis as method.md 4 says.
type prism struct {
	polygon [][2]float64
	buccal  r3.Vec
	up      r3.Vec
	margin  float64 // mm
	u       float64 // mm
}

func (p prism) Reserve(im Implant, _ float64) (float64, float64, string) {
	least := math.Inf(1)
	for k := range 25 {
		z := 1 + (im.Length-1)*float64(k)/24
		c := r3.Add(im.Platform, r3.Scale(z, im.Axis))
		across := r3.Unit(r3.Sub(p.buccal, r3.Scale(r3.Dot(p.buccal, im.Axis), im.Axis)))
		for _, way := range []float64{1, -1} {
			least = min(least, p.ray(c, r3.Scale(way, across))-im.Diameter/2)
		}
	}
	return least - p.margin, p.u, "plate"
}

// ray returns the way from x along d to the polygon's edge, mm; −1 outside.
func (p prism) ray(x, d r3.Vec) float64 {
	px, py, dx, dy := r3.Dot(x, p.buccal), r3.Dot(x, p.up), r3.Dot(d, p.buccal), r3.Dot(d, p.up)
	least, crossings := math.Inf(1), 0
	for i, a := range p.polygon {
		b := p.polygon[(i+1)%len(p.polygon)]
		ex, ey := b[0]-a[0], b[1]-a[1]
		den := dx*ey - dy*ex
		t := ((a[0]-px)*ey - (a[1]-py)*ex) / den
		s := ((a[0]-px)*dy - (a[1]-py)*dx) / den
		if s >= 0 && s < 1 && t > 0 {
			crossings++
			least = min(least, t)
		}
	}
	if crossings%2 == 0 {
		return -1
	}
	return least
}

// poses stands at the crest of a ridge along x; up is +z, buccal +y.
func poses() PoseRange {
	return PoseRange{Platform: v(0, 0, 0), Axis: v(0, 0, -1), Buccal: v(0, 1, 0),
		Lateral: [2]float64{-3, 3}, InSection: [2]float64{-15, 15}, MesioDistal: [2]float64{-10, 10}}
}

// slab is bone between y = −w/2 + off and w/2 + off, 30 mm deep.
func slab(w, off, margin float64) prism {
	return prism{[][2]float64{{off - w/2, -30}, {off + w/2, -30}, {off + w/2, 1}, {off - w/2, 1}}, v(0, 1, 0), v(0, 0, 1), margin, 0}
}

func scene(t testing.TB, s ...Structure) *Scene {
	t.Helper()
	out, err := NewScene(s)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

func trySizes(t testing.TB, s *Scene, poses PoseRange, sizes []Size, b Bone, absent []Finding) []SizeResult {
	t.Helper()
	out, err := s.TrySizes(poses, sizes, b, Margins(), Options{}, absent)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// In a slab 8 mm wide whose middle lies 1.5 mm buccal, the best place is the middle: the reserve of a
// diameter D is 4 − D/2 − 1.5.
func TestFitFindsTheMiddleOfASlab(t *testing.T) {
	for _, r := range trySizes(t, scene(t), poses(), []Size{{Diameter: 3.5, Length: 10}, {Diameter: 4, Length: 8}, {Diameter: 5.5, Length: 10}}, slab(8, 1.5, 1.5), nil) {
		near(t, "reserve, mm", r.Reserve, 4-r.Diameter/2-1.5, 0.02)
		near(t, "lateral shift, mm", r.Pose.Lateral, 1.5, 0.03)
		want := Held
		if r.Diameter > 5 {
			want = NotHeld
		}
		if r.Verdict != want || r.Limit != "plate" {
			t.Errorf("%g mm: %s limited by %q", r.Diameter, r.Verdict, r.Limit)
		}
	}
}

// A slab leaning by 8° is met by an implant leaning by 8°.
func TestFitFindsTheLeanOfASlab(t *testing.T) {
	s := slab(6, 0, 0)
	rot := r3.NewRotation(8*math.Pi/180, v(1, 0, 0))
	s.buccal, s.up = rot.Rotate(s.buccal), rot.Rotate(s.up)
	r := trySizes(t, scene(t), poses(), []Size{{Diameter: 4, Length: 12}}, s, nil)[0]
	near(t, "reserve, mm", r.Reserve, 1, 0.02)
	near(t, "turn, °", math.Abs(r.Pose.InSection), 8, 0.3)
}

// A canal straight below, 2 mm margin: what is left is canal roof − length − margin, whatever the
// lateral freedom within the slab that is worth it; a root on one side pushes the implant to the other.
func TestFitHoldsStructuresToo(t *testing.T) {
	canal := capsule(1.5, v(-20, 0, -15), v(20, 0, -15))
	fixed := poses()
	fixed.Lateral, fixed.InSection, fixed.MesioDistal = [2]float64{}, [2]float64{}, [2]float64{}
	for _, r := range trySizes(t, scene(t, canal), fixed, []Size{{Diameter: 4, Length: 10}, {Diameter: 4, Length: 12}}, slab(20, 0, 1.5), nil) {
		near(t, "reserve, mm", r.Reserve, 13.5-r.Length-2, 1e-9)
		if r.Limit != "chain" || len(r.Findings) != 1 {
			t.Errorf("limited by %q", r.Limit)
		}
	}
	root := capsule(1, v(4, 0, 0), v(4, 0, -14))
	root.Name, root.Kind = "root", Root
	free := poses()
	free.Lateral, free.InSection = [2]float64{}, [2]float64{}
	r := trySizes(t, scene(t, root), free, []Size{{Diameter: 3, Length: 12}}, slab(20, 0, 1.5), nil)[0]
	if r.Pose.MesioDistal == 0 || r.Implant.Apex().X >= 0 {
		t.Errorf("pose %+v leans toward the root", r.Pose)
	}
}

// A sinus floor 12 mm below the platform, a closed surface: what is left is 12 − length − 1; a longer
// implant ends in it.
func TestFitHoldsASurface(t *testing.T) {
	sinus := Structure{Name: "sinus", Kind: Sinus, Surface: boxMesh(v(-15, -15, -40), v(15, 15, -12))}
	fixed := poses()
	fixed.Lateral, fixed.InSection, fixed.MesioDistal = [2]float64{}, [2]float64{}, [2]float64{}
	for _, r := range trySizes(t, scene(t, sinus), fixed, []Size{{Diameter: 4, Length: 10}, {Diameter: 4, Length: 13}}, slab(20, 0, 1.5), nil) {
		near(t, "reserve, mm", r.Reserve, 12-r.Length-1, 0.02)
		if want := map[bool]Verdict{true: Held, false: NotHeld}[r.Length < 11]; r.Verdict != want || r.Limit != "sinus" {
			t.Errorf("%g mm: %s, limited by %q", r.Length, r.Verdict, r.Limit)
		}
	}
	deep := poses()
	deep.Platform, deep.Depth = v(0, 0, -14), [2]float64{0, 1}
	if r := trySizes(t, scene(t, sinus), deep, []Size{{Diameter: 4, Length: 8}}, slab(60, 0, 1.5), nil)[0]; r.Verdict != NotHeld {
		t.Errorf("wholly inside the sinus: %s with %.2f mm", r.Verdict, r.Reserve)
	}
}

func TestFitNeverReadsClearWhenSomethingIsMissing(t *testing.T) {
	small := []Size{{Diameter: 3, Length: 8}}
	if r := trySizes(t, scene(t), poses(), small, slab(12, 0, 1), nil)[0]; r.Verdict != Held {
		t.Errorf("all known: %s", r.Verdict)
	}
	absent := Missing(lower("36", 24), nil, Margins())
	if r := trySizes(t, scene(t), poses(), small, slab(12, 0, 1), absent)[0]; r.Verdict != NotAssessed || r.Reason == "" {
		t.Errorf("canal not marked: %s %q", r.Verdict, r.Reason)
	}
	if r := trySizes(t, scene(t), poses(), small, nil, nil)[0]; r.Verdict != NotAssessed {
		t.Errorf("no bone: %s", r.Verdict)
	}
	if r := trySizes(t, scene(t), poses(), small, unknownBone{}, nil)[0]; r.Verdict != NotAssessed || r.Reason != "outside the field" {
		t.Errorf("bone outside the field: %s %q", r.Verdict, r.Reason)
	}
}

type unknownBone struct{}

func (unknownBone) Reserve(Implant, float64) (float64, float64, string) {
	return math.NaN(), math.NaN(), "outside the field"
}

// A reserve of 0.5 mm with U = 0.6 mm is uncertain, with U = 0.4 mm held.
func TestUncertaintyDecidesTheVerdict(t *testing.T) {
	for u, want := range map[float64]Verdict{0.3: Uncertain, 0.2: Held} {
		b := slab(8, 0, 1.5)
		b.u = u
		if r := trySizes(t, scene(t), poses(), []Size{{Diameter: 4, Length: 8}}, b, nil)[0]; r.Verdict != want {
			t.Errorf("u %g mm: %s with reserve %.3f mm", u, r.Verdict, r.Reserve)
		}
	}
}

// Only 4.5 × 8 and 3.5 × 12 hold at their edges: the largest diameter and the largest length are no size.
func TestEdgeOfTheSizesThatHold(t *testing.T) {
	size := func(d, l float64, v Verdict) SizeResult {
		return SizeResult{Size: Size{Diameter: d, Length: l}, Verdict: v}
	}
	all := []SizeResult{size(3.5, 8, Held), size(3.5, 12, Held), size(4, 8, Held), size(4, 12, Uncertain), size(4.5, 8, Held), size(4.5, 12, NotHeld), size(5, 14, Uncertain)}
	var got []Size
	for _, r := range LargestHeld(all) {
		got = append(got, r.Size)
	}
	if want := []Size{{Diameter: 4.5, Length: 8}, {Diameter: 3.5, Length: 12}}; !slices.Equal(got, want) {
		t.Errorf("%v", got)
	}
	if LargestHeld(all[3:4]) != nil {
		t.Error("nothing is held")
	}
}

func TestFitIsTheSameTwice(t *testing.T) {
	s := scene(t, capsule(1.5, v(-20, 1, -15), v(20, -1, -14)), capsule(2, v(6, 0, 1), v(5, 1, -12)))
	sizes := []Size{{Diameter: 3.5, Length: 8}, {Diameter: 4.5, Length: 11}}
	a, b := trySizes(t, s, poses(), sizes, slab(8, 0.4, 1.5), nil), trySizes(t, s, poses(), sizes, slab(8, 0.4, 1.5), nil)
	if !reflect.DeepEqual(a, b) {
		t.Errorf("%+v\n%+v", a, b)
	}
}

type counting struct {
	Bone
	n int
}

func (c *counting) Reserve(im Implant, floor float64) (float64, float64, string) {
	c.n++
	return c.Bone.Reserve(im, floor)
}

// lazy says no more of a bone than it is asked for.
type lazy struct{ Bone }

func (l lazy) Reserve(im Implant, floor float64) (reserve, u float64, limit string) {
	reserve, u, limit = l.Bone.Reserve(im, floor)
	if reserve-2*u <= floor {
		reserve = floor + 2*u
	}
	return reserve, u, limit
}

// A bone that stops looking at the floor it is given leads to the same pose and the same reserve.
func TestBoneMayStopAtTheFloor(t *testing.T) {
	s := scene(t, capsule(1.5, v(-20, 3, -13), v(20, 1, -14)), capsule(2, v(7, 0, 1), v(5, 1, -12)))
	sizes := []Size{{Diameter: 3.5, Length: 8}, {Diameter: 4, Length: 10}, {Diameter: 5, Length: 12}}
	want, err := s.TrySizes(poses(), sizes, slab(9, 0.7, 1.5), Margins(), Options{}, nil)
	require.NoError(t, err)
	got, err := s.TrySizes(poses(), sizes, lazy{slab(9, 0.7, 1.5)}, Margins(), Options{}, nil)
	require.NoError(t, err)
	require.Equal(t, want, got)
}

// No pose of a fine grid does better by more than 0.05 mm.
func TestFitAgainstAFineGrid(t *testing.T) {
	s := scene(t, capsule(1.5, v(-20, 3, -13), v(20, 1, -14)), capsule(2, v(7, 0, 1), v(5, 1, -12)))
	st := poses()
	f := sizeSearch{scene: s, poses: st, bone: slab(9, 0.7, 1.5), rules: Margins()}
	f.prepare()
	for _, size := range []Size{{Diameter: 3.5, Length: 8}, {Diameter: 4, Length: 10}, {Diameter: 4.5, Length: 12}} {
		b := &counting{Bone: slab(9, 0.7, 1.5)}
		f.bone = b
		got := f.score(size, f.best(size, nil), math.Inf(-1))
		t.Logf("%g × %g mm: the bone was asked %d times", size.Diameter, size.Length, b.n)
		grid := math.Inf(-1)
		for lat := -3.0; lat <= 3; lat += 0.25 {
			for in := -15.0; in <= 15; in += 2.5 {
				for md := -10.0; md <= 10; md += 2.5 {
					grid = max(grid, f.score(size, Pose{Lateral: lat, InSection: in, MesioDistal: md}, grid))
				}
			}
		}
		if got < grid-0.05 {
			t.Errorf("%g × %g mm: %.3f mm, grid %.3f mm", size.Diameter, size.Length, got, grid)
		}
	}
}

func TestPoseLimitsAreChecked(t *testing.T) {
	if r, err := scene(t).TrySizes(poses(), nil, nil, Margins(), Options{}, nil); err != nil || len(r) != 0 {
		t.Errorf("no sizes: %v, %v", r, err)
	}
	for _, change := range []func(*PoseRange){
		func(s *PoseRange) { s.Lateral = [2]float64{1, -1} }, func(s *PoseRange) { s.InSection = [2]float64{-90, 0} },
		func(s *PoseRange) { s.Depth = [2]float64{math.NaN(), 0} }, func(s *PoseRange) { s.Buccal = s.Axis }, func(s *PoseRange) { s.Axis = v(0, 0, 2) },
	} {
		s := poses()
		change(&s)
		if _, err := scene(t).TrySizes(s, nil, nil, Margins(), Options{}, nil); err == nil {
			t.Errorf("%+v passed", s)
		}
	}
	if _, err := scene(t).TrySizes(poses(), []Size{{Diameter: -1, Length: 3}}, nil, Margins(), Options{}, nil); err == nil {
		t.Error("a size of −1 mm passed")
	}
}

// A margin surely not held decides, though a doubt beside it has less reserve − U.
func TestSizeResultTellsTheReserveThatDecided(t *testing.T) {
	for _, order := range [][2]int{{0, 1}, {1, 0}} {
		r := SizeResult{Reserve: math.NaN(), U: math.NaN(), Verdict: Held}
		for _, i := range order {
			r.take([]float64{0.5, -0.5}[i], []float64{2, 0.2}[i], []string{"doubt", "sure"}[i], false)
		}
		if r.Verdict != NotHeld || r.Limit != "sure" || r.Reserve != -0.5 || r.U != 0.2 {
			t.Errorf("%s with %g ± %g mm at the %s", r.Verdict, r.Reserve, r.U, r.Limit)
		}
	}
}

// One reserve and its U: the bounds of the verdicts, and that of two alike the smaller reserve − U is told.
func TestReservesByHand(t *testing.T) {
	type taken struct {
		reserve, u float64
		overlap    bool
	}
	for _, c := range []struct {
		all     []taken
		verdict Verdict
		told    float64
	}{
		{[]taken{{0.5, 0.5, false}}, Held, 0.5},
		{[]taken{{0.49, 0.5, false}}, Uncertain, 0.49},
		{[]taken{{-0.5, 0.5, false}}, Uncertain, -0.5},
		{[]taken{{-0.51, 0.5, false}}, NotHeld, -0.51},
		{[]taken{{5, 9, true}}, NotHeld, 5},
		{[]taken{{1, 0.5, false}, {0.9, 0.1, false}}, Held, 1},
		{[]taken{{0.9, 0.1, false}, {1, 0.5, false}}, Held, 1},
		{[]taken{{0.5, 0.25, false}, {0.75, 0.5, false}}, Held, 0.5},
		{[]taken{{0.2, 0.3, false}, {0.05, 0.01, false}}, Uncertain, 0.2},
		{[]taken{{0.05, 0.01, false}, {0.2, 0.3, false}}, Uncertain, 0.2},
	} {
		r := SizeResult{Reserve: math.NaN(), U: math.NaN(), Verdict: Held}
		for _, x := range c.all {
			r.take(x.reserve, x.u, "", x.overlap)
		}
		if r.Verdict != c.verdict || r.Reserve != c.told {
			t.Errorf("%v: %s with %g mm", c.all, r.Verdict, r.Reserve)
		}
	}
	doubt := SizeResult{Reserve: math.NaN(), Verdict: Held}
	doubt.unknown("no canal")
	doubt.take(0.1, 0.2, "", false)
	doubt.unknown("no bone")
	if doubt.Verdict != NotAssessed || doubt.Reason != "no canal; no bone" {
		t.Errorf("%s: %q", doubt.Verdict, doubt.Reason)
	}
	sure := SizeResult{Reserve: math.NaN(), Verdict: Held}
	sure.take(-1, 0.2, "", false)
	sure.unknown("no canal")
	if sure.Verdict != NotHeld {
		t.Errorf("a sure loss beside what is not known: %s", sure.Verdict)
	}
}

// An implant that just touches has no overlap, and its U decides; one a hundredth of a millimetre inside is not held.
func TestTouchIsNoOverlap(t *testing.T) {
	fixed := poses()
	fixed.Lateral, fixed.InSection, fixed.MesioDistal = [2]float64{}, [2]float64{}, [2]float64{}
	for length, want := range map[float64]Verdict{10: Uncertain, 10.01: NotHeld} {
		canal := capsule(1, v(-20, 0, -11), v(20, 0, -11))
		canal.SD = 5
		r := trySizes(t, scene(t, canal), fixed, []Size{{Diameter: 4, Length: length}}, slab(20, 0, 1.5), nil)[0]
		if r.Verdict != want {
			t.Errorf("%g mm long: %s at %g mm", length, r.Verdict, r.Findings[0].Distance.Value)
		}
	}
}

// A pose is a turn about the platform's centre, each tangent along its own direction, and a shift: worked by hand for
// a buccal direction that leans.
func TestPoseByHand(t *testing.T) {
	s := PoseRange{Platform: v(1, 2, 3), Axis: v(0, 0, -1), Buccal: v(0, 3, 4)}
	im := s.implant(Size{Diameter: 4, Length: 9, Apex: 3}, Pose{Lateral: 2, Depth: 0.5, InSection: 45, MesioDistal: 60})
	// buccal is +y, Axis × buccal = +x; tan 45° = 1, tan 60° = √3
	near(t, "platform", r3.Norm(r3.Sub(im.Platform, v(1, 4, 2.5))), 0, 1e-12)
	near(t, "axis", r3.Norm(r3.Sub(im.Axis, r3.Scale(1/math.Sqrt(5), v(math.Sqrt(3), 1, -1)))), 0, 1e-12)
	if im.Diameter != 4 || im.Length != 9 || im.ApexDiameter != 3 {
		t.Errorf("%+v", im)
	}
}

// Limits on their bounds stand, just past them they do not.
func TestPoseLimitsOnTheirBounds(t *testing.T) {
	wide := poses()
	wide.Lateral, wide.Depth, wide.InSection, wide.MesioDistal = [2]float64{-50, 50}, [2]float64{50, 50}, [2]float64{-60, 60}, [2]float64{-60, -60}
	wide.Axis = v(0, 0, -1-9e-7)
	if err := wide.check(); err != nil {
		t.Error(err)
	}
	for i, change := range []func(*PoseRange){
		func(s *PoseRange) { s.Lateral[0] = -50.1 }, func(s *PoseRange) { s.Lateral[1] = 50.1 }, func(s *PoseRange) { s.Depth[1] = 51 }, func(s *PoseRange) { s.InSection[0] = -60.1 },
		func(s *PoseRange) { s.InSection[1] = 60.1 }, func(s *PoseRange) { s.MesioDistal = [2]float64{-61, -60} }, func(s *PoseRange) { s.Axis = v(0, 0, -1.00001) }, func(s *PoseRange) { s.Platform.X = math.Inf(1) },
	} {
		s := wide
		change(&s)
		if _, err := scene(t).TrySizes(s, []Size{{Diameter: 4, Length: 8}}, nil, Margins(), Options{}, nil); err == nil {
			t.Errorf("change %d passed", i)
		}
	}
}
