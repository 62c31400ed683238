package phantom

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// septate is a plain maxilla, its only site at 26, with a septum of the given height there, moved
// along the arch by shift mm.
func septate(height, shift float64) Options {
	return Options{Jaw: Maxilla, Sites: []int{26}, Teeth: []int{},
		Shape: Shape{Septum: height, SeptumShift: shift, SeptumThick: 1.4, SinusMucosa: 0.8}}
}

// Where the axis runs up into a septum of thickness 2r whose middle is x mm along the arch, bone ends
// on its rounded edge: the floor's height in the septum's middle + Septum − r + √(r² − x²), with the
// floor drawn at 9 + 0.012·(q − 43)² mm over arc length q. Beside it the floor is untouched. The plan's
// curve and the stations' blending leave 0.003 mm.
func TestHeightUnderASeptumIsItsFreeEdge(t *testing.T) {
	const tall, r = 4.0, 0.7
	floor := func(o Options) (sinus, beside float64) {
		_, truth := truthOf(t, o)
		h := truth.Sites[0].Design.Heights[0]
		if h.To != "sinus" {
			t.Fatalf("first limit %q, want sinus", h.To)
		}
		return h.Height, truth.Sites[0].Design.Beside
	}
	q := arcOf(Maxilla, 26, 1) - 43
	bare, beside := floor(septate(0, 0))
	near(t, "beside no septum", beside, 0, 0)
	for _, x := range []float64{0, 0.3, -0.5, 0.9, -3} {
		h, beside := floor(septate(tall, x))
		if math.Abs(x) > r {
			near(t, "height beside the septum", h, bare, 1e-9)
			near(t, "beside", beside, 0, 0)
			continue
		}
		near(t, "height under the septum", h, bare+0.012*((q+x)*(q+x)-q*q)+tall-r+math.Sqrt(r*r-x*x), 0.003)
		near(t, "beside", beside, bare, 1e-9)
	}
}

// Along the axis the sharp shape is cortex up to the septum's edge, then its lining, then air.
func TestSeptumIsPaintedWhereItsTruthIs(t *testing.T) {
	j, truth := truthOf(t, septate(4, 0.2))
	a, g := truth.Sites[0].Design, j.opt.Grey
	top := a.Heights[0].Height
	for _, c := range []struct{ at, want float64 }{{a.Beside + 0.1, g.Cortex}, {top - 2e-4, g.Cortex}, {top + 2e-4, g.Soft}, {top + 0.75, g.Soft}, {top + 0.85, g.Air}} {
		if got := j.Grey(r3.Add(a.Crest, r3.Scale(c.at, a.Axis))); got != c.want {
			t.Errorf("%.3f mm below the crest, edge at %.3f: %.0f, want %.0f", c.at, top, got, c.want)
		}
	}
}

// In the room of the sinus a septum without lining is a slab in air: seen through a blur σ it is
//
//	air + (cortex − air)·(Φ((x+r)/σ) − Φ((x−r)/σ))
//
// at x from its middle plane. Voxels are rounded, and the lattice moves an edge by up to 0.001 mm.
func TestScannedSeptumIsABlurredSlab(t *testing.T) {
	o := septate(9, 0)
	o.Shape.SinusMucosa, o.Scan.Blur, o.Scan.Voxel = 0, 0.3, [3]float64{0.45, 0.45, 0.45}
	j, v := scanOf(t, small(t, o, 26, 18))
	w, g := j.shape.septum, j.opt.Grey
	var pl place
	seen := 0
	for k := range v.Size[2] {
		for jj := range v.Size[1] {
			for i := range v.Size[0] {
				p := j.toJaw(v.Patient(volume.Index{I: float64(i), J: float64(jj), K: float64(k)}))
				q := r3.Sub(p, w.edge)
				x, y := r3.Dot(q, w.along), r3.Dot(q, w.axis)
				j.shape.put(p, &pl)
				if deep, _ := pl.distance((*station).cavity); deep > -1.4 || y > -1.4 || math.Abs(x) > 3 || j.shape.nasal(p) < 2 {
					continue
				}
				seen++
				want := g.Air + (g.Cortex-g.Air)*(soften((x-w.radius)/o.Scan.Blur)-soften((x+w.radius)/o.Scan.Blur))
				if got := v.Grey(i, jj, k); math.Abs(got-want) > 5 {
					t.Fatalf("x = %.3f mm, %.1f mm below the edge: %.0f, want %.1f", x, -y, got, want)
				}
			}
		}
	}
	if seen < 200 {
		t.Fatalf("only %d voxels", seen)
	}
}

func TestSeptumOptionsAreChecked(t *testing.T) {
	for name, change := range map[string]func(s *Shape){
		"height": func(s *Shape) { s.Septum = 16 }, "thickness": func(s *Shape) { s.SeptumThick = 0.1 },
		"shift": func(s *Shape) { s.SeptumShift = 30 }, "tooth": func(s *Shape) { s.SeptumTooth = 36 },
	} {
		o := septate(3, 0)
		change(&o.Shape)
		if _, err := New(o); !errors.Is(err, ErrOptions) {
			t.Errorf("%s: %v", name, err)
		}
	}
}
