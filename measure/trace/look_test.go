package trace

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// depth is the closed form of how deep a point of the bar lies: its nearer side.
func (s scene) depth(p r3.Vec) float64 {
	return min(s.half[0]-math.Abs(p.Y-s.middle[0]), s.half[1]-math.Abs(p.Z-s.middle[1]))
}

// lookScene is a bar with 24 mm of a canal that bows and sinks, its marrow as textured as in the
// other scenes.
func lookScene() scene {
	s := bar(sweep(-12, 12, func(x float64) r3.Vec {
		return r3.Vec{X: x, Y: 1.5 * math.Sin(x/12), Z: 0.01*x*x - 0.1*x}
	}))
	s.middle = [2]float64{0, 0}
	return s
}

// lookGrid leaves room for paths moved by 8 mm.
func (s scene) lookGrid() volume.Grid {
	return cover(s.canal, [3]r3.Vec{{X: 0.4}, {Y: 0.4}, {Z: 0.4}}, 13)
}

func look1(t *testing.T, v *volume.Volume, path []r3.Vec, o LookOptions) []Piece {
	t.Helper()
	p, err := Look(t.Context(), v, path, o)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// marks are what a person sets: points about 4 mm apart.
func marks(line []r3.Vec) (out []r3.Vec) {
	for i := 0; i < len(line)-1; i += 40 {
		out = append(out, line[i])
	}
	return append(out, line[len(line)-1])
}

// A canal is seen where it is marked, with the wall and without it; moved by 1.8 mm or more it is
// found beside the mark, where it is, whichever way the path was moved.
func TestCanalIsSeenAtItsMarkAndElsewhereBesideIt(t *testing.T) {
	for _, wall := range []float64{0.4, 0} {
		s := lookScene()
		s.wall = wall
		v := s.paint(t, s.lookGrid())
		o := LookOptions{SD: 0.3, Depth: s.depth}
		for _, p := range look1(t, v, marks(s.canal), o) {
			if p.Answer != Seen {
				t.Errorf("wall %g: %v at its mark: %+v", wall, p.Answer, p)
			}
		}
		for _, d := range []r3.Vec{{Y: 1.8}, {Z: 2.5}, {Z: -1.8}, {Y: -4}, {Y: 2.8, Z: 2.8}, {Z: 7.8}, {Z: -8}} {
			for _, p := range look1(t, v, marks(shift(s.canal, d)), o) {
				off, _ := nearestOn(s.canal, p.Rival)
				if p.Answer != Elsewhere || off > 0.4 {
					t.Errorf("wall %g, moved by %v: %v, rival %.2f mm off the canal: %+v", wall, d, p.Answer, off, p)
				}
			}
		}
	}
}

// A canal hardly darker than marrow that lies against a plate is seen by its wall, as one that lies free; a narrow
// marrow with plates all around it is none.
func TestCanalAgainstAPlate(t *testing.T) {
	s := lookScene()
	s.marrow, s.texture = [2]float64{80, 80}, 20
	s.canal = sweep(-12, 12, func(x float64) r3.Vec { return r3.Vec{X: x, Z: 0.01*x*x - 0.1*x} })
	s.middle[0] = s.radius + s.wall + 0.1 + s.cortex - s.half[0] // 0.1 mm of marrow between its wall and the plate
	v := s.paint(t, s.lookGrid())
	o := LookOptions{SD: 0.3, Depth: s.depth}
	for d, want := range map[float64]Answer{0: Seen, 2: Elsewhere, -2: Elsewhere} {
		for _, p := range look1(t, v, marks(shift(s.canal, r3.Vec{Z: d})), o) {
			if off, _ := nearestOn(s.canal, p.Rival); p.Answer != want || want == Elsewhere && off > 0.4 {
				t.Errorf("moved by %g mm: %v, rival %.2f mm off: %+v", d, p.Answer, off, p)
			}
		}
	}
	g, path := s.lookGrid(), marks(s.canal)
	s.middle[0], s.half = 0, [2]float64{s.cortex + 1.3, s.cortex + 1.6}
	s.canal = shift(s.canal, r3.Vec{X: 500})
	for _, p := range look1(t, s.paint(t, g), path, o) {
		if p.Answer == Elsewhere || p.Answer == Seen {
			t.Errorf("between plates: %v: %+v", p.Answer, p)
		}
	}
}

// Where the picture has no canal there is no alarm: plates, their corners and marrow are none. Nor is a
// dark hole across the path, as a socket is.
func TestBoneWithoutCanalIsNotShown(t *testing.T) {
	for seed := range uint64(3) {
		s := lookScene()
		g := s.lookGrid()
		path := marks(s.canal)
		s.seed, s.texture = 10+seed, 150
		s.canal = shift(s.canal, r3.Vec{X: 500})
		s.streaks = [][]r3.Vec{sweep(0, 20, func(z float64) r3.Vec { return r3.Vec{X: -3, Y: 2, Z: z - 4} })}
		v := s.paint(t, g)
		for _, d := range []r3.Vec{{}, {Z: 4}, {Y: 2, Z: -5}} {
			for _, p := range look1(t, v, shift(path, d), LookOptions{SD: 0.3, Depth: s.depth}) {
				if p.Answer != NotShown {
					t.Errorf("seed %d: %v: %+v", seed, p.Answer, p)
				}
			}
		}
	}
}

// Neither the scale and offset of grey values, nor a mirror, nor the order of the volume's axes
// changes an answer or a place.
func TestAnswersAreThoseOfTheSamePicture(t *testing.T) {
	s := lookScene()
	v := s.paint(t, s.lookGrid())
	d := r3.Vec{Y: 1.5, Z: 3}
	path, o := marks(shift(s.canal, d)), LookOptions{SD: 0.3, Depth: s.depth}
	want := look1(t, v, path, o)
	mirror := func(p r3.Vec) r3.Vec { return r3.Vec{X: -p.X, Y: p.Y, Z: p.Z} }
	compare := func(name string, got []Piece, back func(r3.Vec) r3.Vec) {
		t.Helper()
		if len(got) != len(want) {
			t.Fatalf("%s: %d pieces, want %d", name, len(got), len(want))
		}
		for i := range got {
			if r3.Norm(r3.Sub(back(got[i].Rival), want[i].Rival)) > 0.05 || got[i].Answer != want[i].Answer {
				t.Errorf("%s: %+v, want %+v", name, got[i], want[i])
			}
		}
	}
	same := func(p r3.Vec) r3.Vec { return p }
	for _, r := range []volume.Rescale{{Slope: 1e-3, Intercept: -7}, {Slope: 1e3}, {Slope: 0.5, Intercept: -1024}} {
		w := *v
		w.Rescale = []volume.Rescale{r}
		compare(fmt.Sprint(r), look1(t, &w, path, o), same)
	}
	m := *v
	m.Origin = mirror(v.Origin)
	for a := range m.Step {
		m.Step[a] = mirror(v.Step[a])
	}
	var mirrored []r3.Vec
	for _, p := range path {
		mirrored = append(mirrored, mirror(p))
	}
	compare("mirror", look1(t, &m, mirrored, LookOptions{SD: 0.3, Depth: func(p r3.Vec) float64 { return s.depth(mirror(p)) }}), mirror)
	compare("axes", look1(t, relabelled(v), path, o), same)
}

// relabelled is the same picture stored with its axes in another order, one of them reversed.
func relabelled(v *volume.Volume) *volume.Volume {
	n := v.Size
	w := &volume.Volume{Rescale: v.Rescale, Stored: make([]int16, len(v.Stored))}
	w.Size = [3]int{n[2], n[0], n[1]}
	w.Step = [3]r3.Vec{r3.Scale(-1, v.Step[2]), v.Step[0], v.Step[1]}
	w.Origin = v.Patient(volume.Index{K: float64(n[2] - 1)})
	for k := range n[2] {
		for j := range n[1] {
			for i := range n[0] {
				w.Stored[(j*n[0]+i)*n[2]+n[2]-1-k] = v.Stored[(k*n[1]+j)*n[0]+i]
			}
		}
	}
	return w
}

// What cannot be looked at is not tested and says why; the pieces still cover the path.
func TestWhatIsNotTestedSaysWhy(t *testing.T) {
	s := lookScene()
	v := s.paint(t, s.lookGrid())
	path := marks(shift(s.canal, r3.Vec{Z: 3}))
	long := append(append([]r3.Vec{}, path...), r3.Add(path[len(path)-1], r3.Vec{X: 40}))
	bright := *v
	bright.Stored = append([]int16{}, v.Stored...)
	for k := range v.Size[2] {
		for j := range v.Size[1] {
			for i := range v.Size[0] {
				if p := v.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)}); math.Hypot(p.X, p.Y-8) < 2 {
					bright.Stored[(k*v.Size[1]+j)*v.Size[0]+i] = 4500
				}
			}
		}
	}
	for name, c := range map[string]struct {
		v    *volume.Volume
		path []r3.Vec
		o    LookOptions
		want string
	}{
		"foramen":  {v, path, LookOptions{Depth: s.depth, Skip: []Sphere{{path[0], 40}}}, "too near a place that is not looked at"},
		"metal":    {&bright, path, LookOptions{Depth: s.depth}, "metal stands within 15 mm at this height"},
		"no depth": {v, path, LookOptions{}, "too little bone is known around the path here"},
		"short":    {v, path[:2], LookOptions{Depth: s.depth}, ""},
		"outside":  {v, long, LookOptions{Depth: s.depth}, "outside the field"},
	} {
		p := look1(t, c.v, c.path, c.o)
		end, found := 0.0, false
		for _, q := range p {
			if math.Abs(q.From-end) > 1e-9 {
				t.Errorf("%s: a piece begins at %g mm, the one before it ends at %g mm", name, q.From, end)
			}
			end = q.To
			found = found || q.Answer == NotTested && q.Why != "" && (c.want == "" || q.Why == c.want)
			if (q.Answer == NotTested) != (q.Why != "") {
				t.Errorf("%s: %v, because %q", name, q.Answer, q.Why)
			}
		}
		if !found {
			t.Errorf("%s: no piece says %q: %+v", name, c.want, p)
		}
	}
}

// A path that is none is refused.
func TestLookRefusesWhatIsNoPath(t *testing.T) {
	s := lookScene()
	v, _ := volume.New(s.straightGrid(0.8))
	nan := math.NaN()
	for _, path := range [][]r3.Vec{nil, {{}}, {{}, {}}, {{}, {X: nan}}, {{}, {X: 1e9}}} {
		if _, err := Look(context.Background(), v, path, LookOptions{Depth: s.depth}); !errors.Is(err, ErrPath) {
			t.Errorf("%v: %v", path, err)
		}
	}
	if _, err := Look(context.Background(), v, marks(s.canal), LookOptions{SD: nan}); !errors.Is(err, ErrPath) {
		t.Errorf("sd NaN: %v", err)
	}
}
