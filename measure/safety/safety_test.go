package safety

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

func v(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

func capsule(r float64, points ...r3.Vec) Structure {
	s := Structure{Name: "chain", Kind: Canal, Path: points}
	for range points {
		s.Radii = append(s.Radii, r)
	}
	return s
}

// upright returns a cylinder standing on its platform at c, pointing down.
func upright(c r3.Vec, diameter, length float64) Implant {
	return Implant{Platform: c, Axis: v(0, 0, -1), Diameter: diameter, Length: length}
}

// boxMesh returns the closed surface of a box, two triangles a side.
func boxMesh(lo, hi r3.Vec) *solid.Surface {
	s := &solid.Surface{}
	for k := range 8 {
		pick := func(bit int, lo, hi float64) float64 { return lo + float64(k>>bit&1)*(hi-lo) }
		s.Points = append(s.Points, v(pick(0, lo.X, hi.X), pick(1, lo.Y, hi.Y), pick(2, lo.Z, hi.Z)))
	}
	for _, q := range [6][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		s.Triangles = append(s.Triangles, [3]int{q[0], q[1], q[2]}, [3]int{q[0], q[2], q[3]})
	}
	return s
}

// What is no implant or no structure is said so, with the structure's name.
func TestNoBodyIsAnError(t *testing.T) {
	box := boxMesh(v(0, 0, 0), v(1, 1, 1))
	for what, b := range map[string]solid.Body{
		"implant: ":           Implant{Axis: v(0, 0, 1), Diameter: 4},
		"implant: solid: not": Implant{Axis: v(0, 0, 1), Diameter: 4, ApexDiameter: -1, Length: 10},
		`structure "a": `:     Structure{Name: "a", Path: []r3.Vec{{}}},
		`structure "b": `:     Structure{Name: "b", Surface: box, Path: []r3.Vec{{}}, Radii: []float64{1}},
		`structure "c": `:     Structure{Name: "c", Surface: &solid.Surface{}},
	} {
		if _, err := b.Shape(); !errors.Is(err, solid.ErrBody) || !strings.HasPrefix(err.Error(), what) {
			t.Errorf("error %v, want %q and ErrBody", err, what)
		}
	}
}

// An implant's apex is as wide as asked for, or as its platform.
func TestImplantsApex(t *testing.T) {
	im := Implant{Axis: v(0, 0, 1), Diameter: 4, ApexDiameter: 6, Length: 10}
	beside := capsule(0, v(7, 0, 10))
	g, _ := solid.Distance(im, beside)
	near(t, "beside the apex", g.Distance, 4, 1e-12)
	im.ApexDiameter = 0
	g, _ = solid.Distance(im, beside)
	near(t, "beside an apex as wide as the platform", g.Distance, 5, 1e-12)
	near(t, "apex", r3.Norm(r3.Sub(im.Apex(), v(0, 0, 10))), 0, 1e-12)
}

// 2,000 random poses near the margin of a canal and of a root, marked exactly and with an sd:
// truth is the distance by balls along the axis; no verdict contradicts it.
func TestNoFalseVerdictNearTheMargin(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	canal := capsule(1.4, v(0, -20, 0), v(1, -8, 1), v(0, 4, 0), v(-2, 20, 3))
	root := Structure{Name: "root", Kind: Root, Path: []r3.Vec{v(9, 0, 18), v(8, 0, 8)}, Radii: []float64{3, 0.8}}
	scene, err := NewScene([]Structure{canal, root})
	if err != nil {
		t.Fatal(err)
	}
	near, exact := 0, 0
	for range 2000 {
		im := Implant{Platform: v(3*rng.NormFloat64(), 8*rng.NormFloat64(), 13+2*rng.NormFloat64()), Axis: r3.Unit(v(0.3*rng.NormFloat64(), 0.3*rng.NormFloat64(), -1)), Diameter: 3.5 + rng.Float64()*2, Length: 8 + 3*rng.Float64()}
		findings, err := scene.Check(im, Margins(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		toCylinder := func(x r3.Vec) float64 { // the signed distance of a point from a cylinder, mm
			x = r3.Sub(x, im.Platform)
			z := r3.Dot(x, im.Axis)
			side, end := r3.Norm(r3.Sub(x, r3.Scale(z, im.Axis)))-im.Diameter/2, max(-z, z-im.Length)
			return math.Hypot(max(side, 0), max(end, 0)) + min(max(side, end), 0)
		}
		for k, s := range []Structure{canal, root} {
			truth := math.Inf(1)
			for i := range s.Path[1:] {
				for n := range 401 { // convex in n between samples: off by less than 1e-3 mm at the foot
					z := float64(n) / 400
					d := toCylinder(r3.Add(s.Path[i], r3.Scale(z, r3.Sub(s.Path[i+1], s.Path[i]))))
					truth = min(truth, d-(s.Radii[i]+z*(s.Radii[i+1]-s.Radii[i])))
				}
			}
			m := findings[k].Margin
			if math.Abs(truth-m) < 1 {
				near++
			}
			if math.Abs(truth-m) < 2e-3 {
				exact++
				continue // the samples cannot tell
			}
			if want := map[bool]Verdict{true: Held, false: NotHeld}[truth > m]; findings[k].Verdict != want {
				t.Fatalf("%s: %s at %.4f mm, truth %.4f mm, margin %g mm", s.Name, findings[k].Verdict, findings[k].Distance.Value, truth, m)
			}
			if d := findings[k].Distance.Value; truth > 0 && math.Abs(d-truth) > 2e-3 {
				t.Fatalf("%s: %.6f mm, truth %.6f mm", s.Name, d, truth)
			}
		}
	}
	if near < 500 {
		t.Errorf("only %d poses near a margin", near)
	}
	t.Logf("%d distances within 1 mm of their margin, %d too near to tell", near, exact)
}

// Verdicts of method 5: held if d − U ≥ m, not held if d < 0 or d + U < m, else uncertain.
func TestVerdictsAtTheEdges(t *testing.T) {
	for _, c := range []struct {
		d, u float64
		want Verdict
	}{{2.5, 0.25, Held}, {2.49, 0.25, Uncertain}, {2, 0, Held}, {1.5, 0.25, Uncertain}, {1.49, 0.25, NotHeld}, {1.99, 0, NotHeld}, {math.NaN(), 0.1, NotAssessed}, {5, math.NaN(), NotAssessed}} {
		l := uncertainty.Length{Value: c.d, Budget: uncertainty.Budget{{Std: c.u}}}
		if got := Judge(l, 2); got != c.want {
			t.Errorf("d %g mm, u %g mm: %q, want %q", c.d, c.u, got, c.want)
		}
	}
}
