package trace

import (
	"context"
	"errors"
	"math"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Source of the bounds: the task's demand is 0.5 mm in the mean and 1.0 mm for 95 % of the
// points at 0.3 mm voxels and noise 50, from two end points. These are narrower where the
// canal has its wall, so that a loss shows.
func TestFollowFindsTheCanal(t *testing.T) {
	grid := func(voxel float64) func(scene) volume.Grid {
		return func(s scene) volume.Grid { return s.straightGrid(voxel) }
	}
	steps := func(a, b, c r3.Vec) func(scene) volume.Grid {
		return func(s scene) volume.Grid { return cover(s.canal, [3]r3.Vec{a, b, c}, 9) }
	}
	turn := r3.NewRotation(0.6, r3.Vec{X: 1, Y: 2, Z: 3})
	for _, c := range []struct {
		name      string
		canal     []r3.Vec
		change    func(*scene)
		grid      func(scene) volume.Grid
		aside     r3.Vec // of the first mark
		mean, p95 float64
	}{
		{"S-bend", sbend(40), nil, grid(0.3), r3.Vec{}, 0.05, 0.1},
		{"marks 1 mm off", sbend(40), nil, grid(0.4), r3.Vec{Y: 0.7, Z: 0.7}, 0.05, 0.1},
		{"parallel dark streaks", sbend(40), func(s *scene) {
			s.streaks = [][]r3.Vec{shift(s.canal, r3.Vec{Z: 3.5}), shift(s.canal, r3.Vec{Y: 1, Z: -3.5})}
			s.streak = 80
		}, grid(0.4), r3.Vec{}, 0.1, 0.2},
		{"long: a dark short cut", sbend(40), func(s *scene) {
			s.streaks = [][]r3.Vec{sweep(-20, 20, func(x float64) r3.Vec { return r3.Vec{X: x, Z: 1.2} })}
			s.streak = 80
		}, grid(0.4), r3.Vec{}, 0.1, 0.2},
		{"no wall over 5 mm", sbend(40), func(s *scene) {
			s.gap, s.texture, s.marrow = [2]float64{18, 23}, 120, [2]float64{250, 300}
		}, grid(0.4), r3.Vec{}, 0.1, 0.3},
		{"no wall at all", sbend(30), func(s *scene) { s.wall = 0 }, grid(0.4), r3.Vec{}, 0.2, 0.5},
		{"against the cortex", sbend(30), func(s *scene) { s.middle[0], s.half[0] = 3.5, 7 }, grid(0.4), r3.Vec{}, 0.1, 0.25},
		{"out of a foramen", foramen(40), nil, grid(0.4), r3.Vec{}, 0.1, 0.25},
		{"thin", sbend(30), func(s *scene) { s.radius = 0.8 }, grid(0.3), r3.Vec{}, 0.05, 0.1},
		{"long: wide", sbend(30), func(s *scene) { s.radius = 2.2 }, grid(0.4), r3.Vec{}, 0.1, 0.2},
		{"long: noise 150", sbend(30), func(s *scene) { s.noise = 150 }, grid(0.4), r3.Vec{}, 0.1, 0.2},
		{"long: flat voxels", sbend(30), nil, steps(r3.Vec{X: 0.25}, r3.Vec{Y: 0.25}, r3.Vec{Z: 0.6}), r3.Vec{}, 0.05, 0.1},
		{"sheared", sbend(30), nil, steps(r3.Vec{X: 0.4}, r3.Vec{Y: 0.4}, r3.Vec{X: 0.05, Y: 0.12, Z: 0.4}), r3.Vec{}, 0.05, 0.1},
		{"oblique", sbend(30), nil, steps(turn.Rotate(r3.Vec{X: 0.4}), turn.Rotate(r3.Vec{Y: 0.4}), turn.Rotate(r3.Vec{Z: 0.4})), r3.Vec{}, 0.05, 0.1},
	} {
		t.Run(c.name, func(t *testing.T) {
			if strings.HasPrefix(c.name, "long") && os.Getenv("RIDGERULE_LONG") == "" {
				t.Skip("set RIDGERULE_LONG=1 to run it")
			}
			t.Parallel()
			s := bar(c.canal)
			if c.change != nil {
				c.change(&s)
			}
			ends := s.ends()
			ends[0] = r3.Add(ends[0], c.aside)
			p, err := Follow(t.Context(), s.paint(t, c.grid(s)), ends, Options{})
			if err != nil {
				t.Fatal(err)
			}
			e := s.errors(p.Points)
			if mean(e) > c.mean || quantile(e, 0.95) > c.p95 {
				t.Errorf("error %.3f mm in the mean, %.3f mm at 95 %%, want at most %g and %g", mean(e), quantile(e, 0.95), c.mean, c.p95)
			}
			checkHonest(t, s, p)
		})
	}
}

// checkHonest holds radius, sd and confidence against the truth.
func checkHonest(t *testing.T, s scene, p *Path) {
	var z, radius float64
	for i, q := range p.Points {
		d, _ := nearestOn(s.canal, q)
		z += d * d / (2 * p.SD[i] * p.SD[i]) // two directions across
		radius += p.Radii[i] - s.radius - s.wall
	}
	n := float64(len(p.Points))
	if z = math.Sqrt(z / n); z > 2 {
		t.Errorf("errors are %.2f times their sd", z)
	}
	if math.Abs(radius/n) > 0.2 { // two of its own sd
		t.Errorf("outer radius is %+.3f mm off", radius/n)
	}
}

// Pooled over scenes of several kinds the errors have about their sd: neither padded nor
// flattering.
func TestSDIsCalibrated(t *testing.T) {
	var z, n float64
	for seed := range uint64(3) {
		s := bar(sbend(24))
		s.seed, s.texture, s.noise = seed, 60+40*float64(seed), 50+30*float64(seed)
		s.wall = [3]float64{0.4, 0.2, 0}[seed]
		p, err := Follow(t.Context(), s.paint(t, s.straightGrid(0.4)), s.ends(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		for i, q := range p.Points {
			d, _ := nearestOn(s.canal, q)
			z += d * d / (2 * p.SD[i] * p.SD[i])
			n++
		}
	}
	if z = math.Sqrt(z / n); z < 0.4 || z > 1.5 {
		t.Errorf("errors are %.2f times their sd, want about 1", z)
	}
}

// The stretch without wall is named, and little else.
func TestLowConfidenceIsWhereTheWallIsMissing(t *testing.T) {
	s := bar(sbend(40))
	s.gap, s.texture, s.marrow = [2]float64{18, 25}, 140, [2]float64{200, 200}
	p, err := Follow(t.Context(), s.paint(t, s.straightGrid(0.4)), s.ends(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Low) == 0 {
		t.Fatal("no stretch of low confidence")
	}
	for _, l := range p.Low {
		if l.From < 16 || l.To > 27 {
			t.Errorf("low confidence from %.1f to %.1f mm; the wall is missing from 18 to 25 mm", l.From, l.To)
		}
	}
}

// farthest returns the largest distance of a's points from b's line, mm.
func farthestFrom(a, b []r3.Vec) float64 {
	worst := 0.0
	for _, p := range a {
		d, _ := nearestOn(b, p)
		worst = max(worst, d)
	}
	return worst
}

func TestReversedMarksGiveTheSamePath(t *testing.T) {
	s := bar(sbend(30))
	v := s.paint(t, s.straightGrid(0.4))
	e := s.ends()
	a, err := Follow(t.Context(), v, e, Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Follow(t.Context(), v, []r3.Vec{e[1], e[0]}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := farthestFrom(a.Points, b.Points); d > 0.03 { // the sd of the path is that
		t.Errorf("there and back differ by %.4f mm", d)
	}
}

// The same picture with its grid axes exchanged and one turned round.
func TestRelabelledGridGivesTheSamePath(t *testing.T) {
	s := bar(sbend(30))
	v := s.paint(t, s.straightGrid(0.4))
	n := v.Size
	w, err := volume.New(volume.Grid{
		Size:   [3]int{n[2], n[0], n[1]},
		Origin: v.Patient(volume.Index{K: float64(n[2] - 1)}),
		Step:   [3]r3.Vec{r3.Scale(-1, v.Step[2]), v.Step[0], v.Step[1]},
	})
	if err != nil {
		t.Fatal(err)
	}
	for k := range n[2] {
		for j := range n[1] {
			for i := range n[0] {
				w.Stored[(j*n[0]+i)*n[2]+n[2]-1-k] = v.Stored[(k*n[1]+j)*n[0]+i]
			}
		}
	}
	a, err := Follow(t.Context(), v, s.ends(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	b, err := Follow(t.Context(), w, s.ends(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if d := farthestFrom(a.Points, b.Points); d > 1e-3 { // rounding of float32 samples
		t.Errorf("paths differ by %.6f mm", d)
	}
}

func TestAMarkBetweenTheEndsIsPassed(t *testing.T) {
	s := bar(sbend(30))
	m := r3.Add(s.canal[len(s.canal)/2], r3.Vec{Y: 1})
	e := s.ends()
	p, err := Follow(t.Context(), s.paint(t, s.straightGrid(0.4)), []r3.Vec{e[0], m, e[1]}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if x := s.errors(p.Points); x[len(x)-1] > 0.15 {
		t.Errorf("largest error %.3f mm; a mark 1 mm off the centre must not draw the path aside", x[len(x)-1])
	}
}

func TestUnusableMarks(t *testing.T) {
	g := volume.Grid{Size: [3]int{40, 40, 40}, Step: [3]r3.Vec{{X: 0.5}, {Y: 0.5}, {Z: 0.5}}}
	v, err := volume.New(g)
	if err != nil {
		t.Fatal(err)
	}
	blank := int16(-1)
	v.Blank = &blank
	for i := range v.Stored {
		if i%40 == 20 {
			v.Stored[i] = blank
		}
	}
	a := r3.Vec{X: 4, Y: 10, Z: 10}
	for name, c := range map[string]struct {
		marks []r3.Vec
		want  error
	}{
		"none":         {nil, ErrMarks},
		"one":          {[]r3.Vec{a}, ErrMarks},
		"twice":        {[]r3.Vec{a, a}, ErrMarks},
		"NaN":          {[]r3.Vec{a, {X: math.NaN()}}, ErrMarks},
		"infinite":     {[]r3.Vec{{Y: math.Inf(1)}, a}, ErrMarks},
		"outside":      {[]r3.Vec{a, {X: -3}}, ErrOutside},
		"blank":        {[]r3.Vec{a, {X: 10, Y: 5, Z: 5}}, ErrBlank},
		"behind blank": {[]r3.Vec{a, {X: 15, Y: 10, Z: 10}}, ErrNoPath},
	} {
		_, err := Follow(t.Context(), v, c.marks, Options{})
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", name, err, c.want)
		}
	}
	var mark *MarkError
	if _, err := Follow(t.Context(), v, []r3.Vec{a, {X: -3}}, Options{}); !errors.As(err, &mark) || mark.Mark != 1 {
		t.Errorf("%v, want a *MarkError of mark 1", err)
	}
	if _, err := Follow(t.Context(), nil, []r3.Vec{a, a}, Options{}); !errors.Is(err, volume.ErrGrid) {
		t.Errorf("no volume: %v", err)
	}
	if _, err := Follow(t.Context(), v, []r3.Vec{a, {X: 9, Y: 10, Z: 10}}, Options{Spacing: -1}); err == nil {
		t.Error("a negative spacing passed")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Follow(ctx, v, []r3.Vec{a, {X: 9, Y: 10, Z: 10}}, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A picture sharper than usual: taken for a more blurred one, its wall would seem thinner and brighter than
// bone, and the canal too thin (−0.12 mm before walls were held to be no brighter than cortex). The
// tolerance is half of what the path itself allows a wall ([wallSD]).
func TestSharpPictureDoesNotThinTheCanal(t *testing.T) {
	s := bar(sweep(-9, 9, func(x float64) r3.Vec { return r3.Vec{X: x, Y: 1 + 0.01*x*x} }))
	s.sigma, s.texture = 0.12, 120
	p, err := Follow(t.Context(), s.paint(t, s.straightGrid(0.25)), s.ends(), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if off := mean(p.Radii) - s.radius - s.wall; math.Abs(off) > 0.05 {
		t.Errorf("outer radius is %+.3f mm off (lumen %.3f, wall %.3f mm)", off, mean(p.Lumen), p.Wall)
	}
}
