package practice

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
)

// small is a set without voxels, drawn once for all tests: every kind of site is in it.
var small = sync.OnceValues(func() (*Set, error) {
	return Draw(Options{Items: 40, Seed: 11, Salt: []byte("sixteen bytes...")})
})

func smallSet(t testing.TB) *Set {
	t.Helper()
	s, err := small()
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// The profile of a section stands for the phantom's surface: along any line near the true one both find one
// truth. A chord between points 0.1 mm apart on a curve of radius 1 mm is off by 0.1²/8 = 0.0013 mm, at both ends.
func TestTruthAlongAnyLineIsThePhantoms(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	lines, most := 0, 0.0
	for _, it := range smallSet(t).Key.Items {
		q := it.Sheet.Question
		if q.Quantity == "lingual_undercut" || q.Quantity == "ridge_tilt" || it.Sheet.View != Across {
			continue
		}
		jaw, sec, err := it.place()
		if err != nil {
			t.Fatal(err)
		}
		for range 4 {
			line := it.trueLine()
			turn, shift := 0.25*(2*r.Float64()-1), 0.8*(2*r.Float64()-1)
			a, b := turned(line, turn, shift)
			got, err := it.Profile.along(q, a, b)
			if err != nil {
				t.Logf("%s %v: %v", it.Kind, q, err)
				continue
			}
			want := byPhantom(t, jaw, sec, &it, a, b)
			lines++
			most = max(most, math.Abs(got-want))
			if math.Abs(got-want) > 0.01 {
				t.Errorf("%s, %v turned %.2f: along = %.4f mm, the phantom says %.4f", it.Kind, q, turn, got, want)
			}
		}
	}
	if lines < 80 {
		t.Errorf("only %d lines compared", lines)
	}
	t.Logf("%d lines, at most %.5f mm apart", lines, most)
}

// turned turns a line about its middle by angle (radians) and shifts it along itself and across by half of shift.
func turned(l [2]UV, angle, shift float64) (a, b UV) {
	mid := UV{U: (l[0].U+l[1].U)/2 + shift/2, V: (l[0].V+l[1].V)/2 + shift/2}
	du, dv := (l[1].U-l[0].U)/2, (l[1].V-l[0].V)/2
	c, s := math.Cos(angle), math.Sin(angle)
	du, dv = c*du-s*dv, s*du+c*dv
	return UV{U: mid.U - du, V: mid.V - dv}, UV{U: mid.U + du, V: mid.V + dv}
}

func byPhantom(t *testing.T, jaw *phantom.Jaw, sec phantom.Section, it *Sealed, a, b UV) float64 {
	t.Helper()
	f, q := it.Sheet.Frame, it.Sheet.Question
	pa, pb := f.Patient(a), f.Patient(b)
	mid, dir := r3.Scale(0.5, r3.Add(pa, pb)), r3.Unit(r3.Sub(pb, pa))
	switch q.Quantity {
	case "ridge_height":
		if r3.Dot(dir, f.V) > 0 {
			dir = r3.Scale(-1, dir)
		}
		_, heights, err := jaw.Limits(sec, mid, dir)
		if err != nil {
			t.Fatal(err)
		}
		for _, h := range heights {
			if h.To == q.To {
				return h.Height
			}
		}
		t.Fatalf("%s: no %s on the line", it.Kind, q.To)
	case "ridge_width":
		near, far, err := jaw.Chord(mid, dir, lineReach)
		if err != nil {
			t.Fatal(err)
		}
		return far - near
	}
	if r3.Dot(dir, f.U) < 0 {
		dir = r3.Scale(-1, dir)
	}
	lingual, buccal, err := jaw.Plates(mid, dir, lineReach)
	if err != nil {
		t.Fatal(err)
	}
	if q.Quantity == "buccal_plate" {
		return buccal
	}
	return lingual
}
