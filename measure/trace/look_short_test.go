package trace

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// plateScene is a plate of bone, 5 mm thick across y, that a canal pierces with a lean of 14°.
func plateScene(radius float64) scene {
	s := bar(sweepY(-7, 7))
	s.half, s.middle, s.radius, s.wall = [2]float64{2.5, 30}, [2]float64{0, 0}, radius, 0
	return s
}

func sweepY(from, to float64) (out []r3.Vec) {
	for y := from; y <= to+1e-9; y += 0.1 {
		out = append(out, r3.Vec{X: 0.25 * y, Y: y})
	}
	return out
}

func (s scene) plateGrid() volume.Grid {
	return cover(s.canal, [3]r3.Vec{{X: 0.4}, {Y: 0.4}, {Z: 0.4}}, 14)
}

func short(t *testing.T, v *volume.Volume, path []r3.Vec) Piece {
	t.Helper()
	p, err := LookShort(v, path, 425, cortexGrey, LookOptions{SD: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// ends are what a person marks of a short canal: where it begins and where it ends.
func ends(line []r3.Vec) []r3.Vec { return []r3.Vec{line[0], line[len(line)-1]} }

// A canal through a plate is seen at its mark; moved by 2 to 8 mm it is found beside the mark, where it is.
func TestShortCanalIsSeenAtItsMarkAndElsewhereBesideIt(t *testing.T) {
	for _, radius := range []float64{1.2, 1.9, 2.8} {
		s := plateScene(radius)
		v := s.paint(t, s.plateGrid())
		for _, d := range []r3.Vec{{}, {X: 1}, {Z: -1.2}} {
			if p := short(t, v, ends(shift(s.canal, d))); p.Answer != Seen {
				t.Errorf("radius %g, marked %v off: %+v", radius, d, p)
			}
		}
		for _, d := range []r3.Vec{{X: 2}, {X: 1.6, Z: -1.6}, {X: 3.5}, {Z: 4}, {X: -5, Z: 5}, {Z: -7.8}} {
			p := short(t, v, ends(shift(s.canal, d)))
			if off, _ := nearestOn(s.canal, p.Rival); p.Answer != Elsewhere || off > 1 {
				t.Errorf("radius %g, moved by %v: rival %.2f mm off the canal: %+v", radius, d, off, p)
			}
		}
	}
}

// Without a canal nothing is seen, at the plate or beside it, nor at the plate's edges.
func TestNoShortCanalWhereThereIsNone(t *testing.T) {
	s := plateScene(1.9)
	s.half[1] = 6 // the plate's edges lie 6 mm beside the mark, too
	grid, line := s.plateGrid(), s.canal
	s.canal = []r3.Vec{{X: 100}, {X: 101}}
	v := s.paint(t, grid)
	for _, d := range []r3.Vec{{}, {X: 3}, {Z: 5}, {Z: 6}, {Y: 3}} {
		if p := short(t, v, ends(shift(line, d))); p.Answer != NotShown {
			t.Errorf("moved by %v: %+v", d, p)
		}
	}
}

// A hole full of air, as the nose is, is no canal.
func TestAirIsNoShortCanal(t *testing.T) {
	s := plateScene(1.9)
	v := s.paint(t, s.plateGrid())
	for i, d := range near(v.Grid, s.canal, s.radius+1).dist {
		if float64(d) <= s.radius+0.4 {
			v.Stored[i] = -1000
		}
	}
	if p := short(t, v, ends(s.canal)); p.Answer != NotShown {
		t.Errorf("air: %+v", p)
	}
}

// Grey values have no unit: scaled and shifted, with the levels, they give the same answer.
func TestShortCanalInOtherGreys(t *testing.T) {
	s := plateScene(1.9)
	v := s.paint(t, s.plateGrid())
	path := ends(shift(s.canal, r3.Vec{Z: 3}))
	want := short(t, v, path)
	for _, scale := range []float64{0.001, 8} {
		w := *v
		w.Rescale = []volume.Rescale{{Slope: scale, Intercept: -7 * scale}}
		got, err := LookShort(&w, path, scale*(425-7), scale*(cortexGrey-7), LookOptions{SD: 0.3})
		if err != nil || got.Answer != want.Answer || math.Abs(got.There-want.There) > 1e-3 {
			t.Errorf("scaled by %g: %+v, %v; not scaled %+v", scale, got, err, want)
		}
	}
}

func TestLookShortRefuses(t *testing.T) {
	s := plateScene(1.9)
	v := s.paint(t, s.plateGrid())
	if _, err := LookShort(v, s.canal[:1], 1, 2, LookOptions{}); !errors.Is(err, ErrPath) {
		t.Errorf("one point: %v", err)
	}
	for _, g := range [][2]float64{{2, 2}, {0, math.NaN()}, {0, math.Inf(1)}} {
		if _, err := LookShort(v, ends(s.canal), g[0], g[1], LookOptions{}); !errors.Is(err, ErrLevels) {
			t.Errorf("levels %v: %v", g, err)
		}
	}
	if p := short(t, v, ends(shift(s.canal, r3.Vec{X: 500}))); p.Answer != NotTested || p.Why == "" {
		t.Errorf("outside the field: %+v", p)
	}
}
