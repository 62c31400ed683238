package safety

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"ridgerule/measure/uncertainty"
)

func drawVec(t *rapid.T, reach float64, label string) r3.Vec {
	x := rapid.SliceOfN(rapid.Float64Range(-reach, reach), 3, 3).Draw(t, label)
	return v(x[0], x[1], x[2])
}

func drawUnit(t *rapid.T, label string) r3.Vec {
	u := drawVec(t, 1, label)
	if r3.Norm(u) < 0.1 {
		return v(0, 0, 1)
	}
	return unit(u)
}

func drawImplant(t *rapid.T, label string) Implant {
	return Implant{Platform: drawVec(t, 8, label), Axis: drawUnit(t, label+" axis"),
		Diameter: rapid.Float64Range(1, 6).Draw(t, "diameter"), ApexDiameter: rapid.Float64Range(0.5, 6).Draw(t, "apex"), Length: rapid.Float64Range(3, 15).Draw(t, "length")}
}

func drawChain(t *rapid.T) Structure {
	n := rapid.IntRange(1, 4).Draw(t, "points")
	s := Structure{Name: "chain", Kind: Canal}
	for range n {
		s.Path = append(s.Path, drawVec(t, 12, "point"))
		s.Radii = append(s.Radii, rapid.Float64Range(0, 3).Draw(t, "radius"))
	}
	return s
}

// motion is a rotation, a mirror or not, and a shift.
type motion struct {
	rot    r3.Rotation
	mirror float64
	shift  r3.Vec
}

func drawMotion(t *rapid.T) motion {
	return motion{r3.NewRotation(rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn"), drawUnit(t, "about")),
		float64(rapid.SampledFrom([]int{1, -1}).Draw(t, "mirror")), drawVec(t, 50, "shift")}
}

func (m motion) dir(x r3.Vec) r3.Vec   { x.X *= m.mirror; return m.rot.Rotate(x) }
func (m motion) point(x r3.Vec) r3.Vec { return r3.Add(m.dir(x), m.shift) }
func (m motion) implant(im Implant) Implant {
	im.Platform, im.Axis = m.point(im.Platform), unit(m.dir(im.Axis))
	return im
}
func (m motion) chain(s Structure) Structure {
	path := s.Path
	s.Path = nil
	for _, p := range path {
		s.Path = append(s.Path, m.point(p))
	}
	return s
}

// A distance does not know where in the patient it is, which way round, or who asks.
func TestDistanceIsTheSameMovedMirroredAndSwapped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		im, other, s, m := drawImplant(t, "implant"), drawImplant(t, "other"), drawChain(t), drawMotion(t)
		for _, pair := range [][3]Body{{im, s, nil}, {im, other, nil}} {
			a, b := pair[0], pair[1]
			g, err := Distance(a, b)
			if err != nil {
				t.Fatal(err)
			}
			var moved Body = m.chain(s)
			if o, ok := b.(Implant); ok {
				moved = m.implant(o)
			}
			h, _ := Distance(m.implant(im), moved)
			k, _ := Distance(b, a)
			tol := 1e-8
			if g.Distance < 0 {
				tol = 1e-4 // nearly equally good ways out end the search early (see overlap); not held all the same
			}
			if math.Abs(g.Distance-h.Distance) > tol || math.Abs(g.Distance-k.Distance) > tol {
				t.Fatalf("%v – %v: %.9f mm, moved %.9f mm, swapped %.9f mm", a, b, g.Distance, h.Distance, k.Distance)
			}
			if g.Distance > 0 && math.Abs(r3.Norm(r3.Sub(g.Near[0], g.Near[1]))-g.Distance) > 1e-8 {
				t.Fatalf("nearest points are %.9f mm apart, distance %.9f mm", r3.Norm(r3.Sub(g.Near[0], g.Near[1])), g.Distance)
			}
		}
	})
}

// An overlap's depth is a way out: shifted along the line of its two points by the depth and a little, the
// bodies are apart; by any shorter shift tried they are not.
func TestDepthIsTheLeastWayOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawImplant(t, "a"), drawImplant(t, "b")
		b.Platform = r3.Add(a.Platform, drawVec(t, 3, "near"))
		g, _ := Distance(a, b)
		if g.Distance > -1e-3 {
			return
		}
		depth := -g.Distance
		if d := r3.Norm(r3.Sub(g.Near[0], g.Near[1])); math.Abs(d-depth) > 1e-6 {
			t.Fatalf("points %.6f mm apart, depth %.6f mm", d, depth)
		}
		way := r3.Sub(g.Near[1], g.Near[0])
		c := a
		c.Platform = r3.Add(a.Platform, r3.Scale(1+1e-3/depth, way))
		if h, _ := Distance(c, b); h.Distance < 0 {
			t.Fatalf("moved out by %.6f mm they still overlap by %.6f mm", depth, -h.Distance)
		}
		for range 20 {
			c.Platform = r3.Add(a.Platform, r3.Scale(depth-1e-3, unit(v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()))))
			if h, _ := Distance(c, b); h.Distance >= 0 {
				t.Fatalf("depth %.6f mm, but a shorter way leads out", depth)
			}
		}
	})
}

// dense returns points all over the skin of an implant, no further than step apart (mm).
func dense(im Implant, step float64) []r3.Vec {
	f := newFrustum(im)
	e1 := across(f.a)
	e2 := r3.Cross(f.a, e1)
	var out []r3.Vec
	ring := func(z, r float64) {
		n := max(int(2*math.Pi*r/step)+1, 3)
		for k := range n {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			out = append(out, r3.Add(r3.Add(f.c, r3.Scale(z, f.a)), r3.Add(r3.Scale(r*c, e1), r3.Scale(r*s, e2))))
		}
	}
	for z := 0.0; z <= f.l; z += step {
		ring(z, f.r0+(f.r1-f.r0)*z/f.l)
	}
	for r := 0.0; r <= f.r0; r += step {
		ring(0, r)
	}
	for r := 0.0; r <= f.r1; r += step {
		ring(f.l, r)
	}
	return out
}

// Brute force: no skin point is nearer than the distance, and some point is nearly as near.
func TestDistanceAgainstDensePoints(t *testing.T) {
	const step = 0.2
	rng := rand.New(rand.NewPCG(9, 10))
	unitVec := func() r3.Vec { return unit(v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64())) }
	for range 20 {
		im := Implant{Platform: v(0, 0, 0), Axis: unitVec(), Diameter: 4, ApexDiameter: 2.5, Length: 9}
		a, b := r3.Scale(12, unitVec()), r3.Scale(14, unitVec())
		s := Structure{Path: []r3.Vec{a, b}, Radii: []float64{1.5, 0.5}}
		g := gapBetween(t, im, s)
		least := math.Inf(1)
		for _, x := range dense(im, step) {
			for k := range 100 { // balls along the axis: the piece's definition, not its formula
				z := float64(k) / 99
				least = min(least, r3.Norm(r3.Sub(x, r3.Add(a, r3.Scale(z, r3.Sub(b, a)))))-(1.5-z))
			}
		}
		if g.Distance > 0 && (least < g.Distance-1e-9 || least > g.Distance+0.14) {
			t.Errorf("distance %.6f mm, dense points %.6f mm", g.Distance, least)
		}
	}
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
		im := Implant{Platform: v(3*rng.NormFloat64(), 8*rng.NormFloat64(), 13+2*rng.NormFloat64()), Axis: unit(v(0.3*rng.NormFloat64(), 0.3*rng.NormFloat64(), -1)),
			Diameter: 3.5 + rng.Float64()*2, Length: 8 + 3*rng.Float64()}
		findings, err := scene.Check(im, Margins(), Options{})
		if err != nil {
			t.Fatal(err)
		}
		f := newFrustum(im)
		for k, s := range []Structure{canal, root} {
			truth := math.Inf(1)
			for i := range s.Path[1:] {
				for n := range 401 { // convex in n between samples: off by less than 1e-3 mm at the foot
					z := float64(n) / 400
					d, _ := f.signed(r3.Add(s.Path[i], r3.Scale(z, r3.Sub(s.Path[i+1], s.Path[i]))))
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

// Two parallel cylinders, wherever they stand: the difference of two such is a cylinder again,
// so distance and depth are closed forms. Among them poses that touch, stand in line, share their
// axis or lie one in the other.
func TestParallelCylindersInClosedForm(t *testing.T) {
	special := []float64{0, 0, 1e-12, 1e-9, 1e-5, 0.5, 1.25, 3.5, 3.5 - 1e-9, 3.5 + 1e-9, 6, 10, 10 + 1e-9, 12, 14.5}
	rapid.Check(t, func(t *rapid.T) {
		dx, dz := rapid.SampledFrom(special).Draw(t, "beside"), rapid.SampledFrom(special).Draw(t, "below")
		if rapid.Bool().Draw(t, "any") {
			dx, dz = rapid.Float64Range(0, 8).Draw(t, "beside"), rapid.Float64Range(0, 15).Draw(t, "below")
		}
		a, b := upright(v(0, 0, 0), 4, 10), upright(v(dx, 0, -dz), 3, 8)
		side, end := dx-3.5, dz-10 // b begins dz below a's platform; a ends 10 below
		if dz+8 < 10 {             // b stands wholly beside a: the way up is shorter or longer
			end = -min(10-dz, dz+8)
		}
		want := max(side, end)
		if side > 0 && end > 0 {
			want = math.Hypot(side, end)
		}
		m := drawMotion(t)
		g, err := Distance(m.implant(a), m.implant(b))
		// Rounding; where the axes are nearly one, also that of the direction from one to the other.
		if err != nil || math.Abs(g.Distance-want) > 1e-7 {
			t.Fatalf("%g beside, %g below: %.10f mm, want %.10f mm (%v)", dx, dz, g.Distance, want, err)
		}
	})
}
