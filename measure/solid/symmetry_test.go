package solid

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
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

func drawFrustum(t *rapid.T, label string) Frustum {
	return Frustum{Base: drawVec(t, 8, label), Axis: drawUnit(t, label+" axis"), Length: rapid.Float64Range(3, 15).Draw(t, "length"), Radius: rapid.Float64Range(0.5, 3).Draw(t, "radius"), TipRadius: rapid.Float64Range(0.25, 3).Draw(t, "tip")}
}

func drawChain(t *rapid.T) Chain {
	n := rapid.IntRange(1, 4).Draw(t, "points")
	s := Chain{}
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
func (m motion) frustum(im Frustum) Frustum {
	im.Base, im.Axis = m.point(im.Base), unit(m.dir(im.Axis))
	return im
}
func (m motion) chain(s Chain) Chain {
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
		im, other, s, m := drawFrustum(t, "implant"), drawFrustum(t, "other"), drawChain(t), drawMotion(t)
		for _, b := range []Body{s, other} {
			g, err := Distance(im, b)
			if err != nil {
				t.Fatal(err)
			}
			var moved Body = m.chain(s)
			if o, ok := b.(Frustum); ok {
				moved = m.frustum(o)
			}
			h, _ := Distance(m.frustum(im), moved)
			k, _ := Distance(b, im)
			tol := 1e-8
			if g.Distance < 0 {
				tol = 1e-4 // nearly equally good ways out end the search early (see overlap); not held all the same
			}
			if math.Abs(g.Distance-h.Distance) > tol || math.Abs(g.Distance-k.Distance) > tol {
				t.Fatalf("%v – %v: %.9f mm, moved %.9f mm, swapped %.9f mm", im, b, g.Distance, h.Distance, k.Distance)
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
		a, b := drawFrustum(t, "a"), drawFrustum(t, "b")
		b.Base = r3.Add(a.Base, drawVec(t, 3, "near"))
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
		c.Base = r3.Add(a.Base, r3.Scale(1+1e-3/depth, way))
		if h, _ := Distance(c, b); h.Distance < 0 {
			t.Fatalf("moved out by %.6f mm they still overlap by %.6f mm", depth, -h.Distance)
		}
		for range 20 {
			c.Base = r3.Add(a.Base, r3.Scale(depth-1e-3, unit(v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()))))
			if h, _ := Distance(c, b); h.Distance >= 0 {
				t.Fatalf("depth %.6f mm, but a shorter way leads out", depth)
			}
		}
	})
}

// dense returns points all over the skin of a frustum, no further than step apart (mm).
func dense(im Frustum, step float64) []r3.Vec {
	f := newFlatCone(im)
	e1 := Across(f.a)
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
		im := Frustum{Base: v(0, 0, 0), Axis: unitVec(), Length: 9, Radius: 2, TipRadius: 1.25}
		a, b := r3.Scale(12, unitVec()), r3.Scale(14, unitVec())
		s := Chain{Path: []r3.Vec{a, b}, Radii: []float64{1.5, 0.5}}
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
		g, err := Distance(m.frustum(a), m.frustum(b))
		// Rounding; where the axes are nearly one, also that of the direction from one to the other.
		if err != nil || math.Abs(g.Distance-want) > 1e-7 {
			t.Fatalf("%g beside, %g below: %.10f mm, want %.10f mm (%v)", dx, dz, g.Distance, want, err)
		}
	})
}
