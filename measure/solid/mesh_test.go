package solid

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// boxMesh returns the closed surface of a box, two triangles a side.
func boxMesh(lo, hi r3.Vec) *Surface {
	s := &Surface{}
	for k := range 8 {
		p := lo
		if k&1 > 0 {
			p.X = hi.X
		}
		if k&2 > 0 {
			p.Y = hi.Y
		}
		if k&4 > 0 {
			p.Z = hi.Z
		}
		s.Points = append(s.Points, p)
	}
	for _, q := range [6][4]int{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		s.Triangles = append(s.Triangles, [3]int{q[0], q[1], q[2]}, [3]int{q[0], q[2], q[3]})
	}
	return s
}

// gridMesh returns the surface of a closed grid that wraps around both ways.
func gridMesh(nu, nv int, f func(u, v float64) r3.Vec) *Surface {
	s := &Surface{}
	at := func(i, j int) int { return i%nu*nv + j%nv }
	for i := range nu {
		for j := range nv {
			s.Points = append(s.Points, f(2*math.Pi*float64(i)/float64(nu), 2*math.Pi*float64(j)/float64(nv)))
			a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			s.Triangles = append(s.Triangles, [3]int{a, b, c}, [3]int{a, c, d})
		}
	}
	return s
}

// torusMesh lies in the plane z = 0: radii R of the ring and r of the tube, mm.
func torusMesh(R, r float64, nu, nv int) *Surface {
	return gridMesh(nu, nv, func(u, v float64) r3.Vec {
		return r3.Vec{X: (R + r*math.Cos(v)) * math.Cos(u), Y: (R + r*math.Cos(v)) * math.Sin(u), Z: r * math.Sin(v)}
	})
}

// sphereMesh subdivides an octahedron; every corner lies on the sphere. It returns also how far
// the flattest facet dips below it, mm.
func sphereMesh(c r3.Vec, r float64, times int) (*Surface, float64) {
	s := &Surface{Points: []r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}},
		Triangles: [][3]int{{0, 2, 4}, {2, 1, 4}, {1, 3, 4}, {3, 0, 4}, {2, 0, 5}, {1, 2, 5}, {3, 1, 5}, {0, 3, 5}}}
	for range times {
		middle := map[[2]int]int{}
		half := func(a, b int) int {
			k := [2]int{min(a, b), max(a, b)}
			if _, ok := middle[k]; !ok {
				middle[k] = len(s.Points)
				s.Points = append(s.Points, unit(r3.Add(s.Points[a], s.Points[b])))
			}
			return middle[k]
		}
		var next [][3]int
		for _, t := range s.Triangles {
			a, b, c := half(t[0], t[1]), half(t[1], t[2]), half(t[2], t[0])
			next = append(next, [3]int{t[0], a, c}, [3]int{a, t[1], b}, [3]int{c, b, t[2]}, [3]int{a, b, c})
		}
		s.Triangles = next
	}
	dip := 0.0
	for i := range s.Triangles {
		t := s.Triangle(i)
		p, _ := t.Nearest(r3.Vec{})
		dip = max(dip, 1-r3.Norm(p))
	}
	for i, p := range s.Points {
		s.Points[i] = r3.Add(c, r3.Scale(r, p))
	}
	return s, dip * r
}

func TestVolumesOfClosedSurfaces(t *testing.T) {
	near(t, "box, mm³", boxMesh(v(1, 2, 3), v(3, 5, 7)).Volume(), 24, 1e-12)
	near(t, "torus, mm³", torusMesh(10, 2, 200, 100).Volume(), 2*math.Pi*math.Pi*10*4, 0.8)
}

// An implant over the top face of a box: the face's height decides, wherever over it.
func TestImplantOverABox(t *testing.T) {
	b := boxMesh(v(-10, -10, -30), v(10, 10, -13))
	im := upright(v(0, 0, 0), 4, 10)
	near(t, "flat apex over the face", gapBetween(t, im, b).Distance, 3, 1e-12)
	near(t, "swapped", gapBetween(t, b, im).Distance, 3, 1e-12)
	im.Axis = unit(v(0.3, 0.1, -1))
	low := newFlatCone(im)
	near(t, "tilted: the lowest rim point", gapBetween(t, im, b).Distance, low.support(v(0, 0, -1)).Z+13, 1e-12)
	near(t, "beside the box (3-4-5)", gapBetween(t, upright(v(15, 0, 1), 4, 10), b).Distance, 5, 1e-12)
	near(t, "over a corner", gapBetween(t, capsule(1, v(13, 14, -13)), b).Distance, 4, 1e-12)
	near(t, "0.7 deep", gapBetween(t, upright(v(0, 0, -3.7), 4, 10), b).Distance, -0.7, depthTolerance)
	near(t, "wholly inside, 1 below the top", gapBetween(t, upright(v(0, 0, -14), 2, 3), b).Distance, -4, depthTolerance)
	if g := gapBetween(t, upright(v(0, 0, 0), 60, 60), b); g.Distance >= 0 {
		t.Errorf("a box wholly inside an implant: distance %g mm, want an overlap", g.Distance)
	}
}

// A ball mesh lies inside its ball by no more than the dip, so the distance lies between.
func TestBallMeshAgainstTheBall(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	mesh, dip := sphereMesh(v(0, 0, 0), 5, 4)
	ball := capsule(5, v(0, 0, 0))
	for range 80 {
		im := Frustum{Base: r3.Scale(6+6*rng.Float64(), unit(v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()))), Axis: unit(v(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64())), Length: 8, Radius: 2, TipRadius: 1.5}
		want := gapBetween(t, im, ball).Distance
		got := gapBetween(t, im, mesh).Distance
		if want > 0 && (got < want-1e-9 || got > want+dip+1e-9) {
			t.Fatalf("implant %v: mesh %.6f mm, ball %.6f mm, dip %.6f mm", im, got, want, dip)
		}
		if want < -dip-depthTolerance && got >= 0 {
			t.Fatalf("implant %v overlaps the ball by %g mm, mesh says %g mm", im, -want, got)
		}
	}
}

// The hole of a torus is outside: a thin implant through it keeps R − r − its radius.
func TestImplantThroughTheHoleOfATorus(t *testing.T) {
	mesh := torusMesh(8, 2, 240, 120)
	// At the hole a chord of the tube lies outside the hole, a chord of the ring inside it.
	out, in := 2*(1-math.Cos(math.Pi/120)), 6*(1-math.Cos(math.Pi/240))
	got := gapBetween(t, upright(v(0, 0, 5), 4, 10), mesh).Distance
	if got < 4-in-1e-9 || got > 4+out+1e-9 {
		t.Errorf("distance %.6f mm, want %.6f … %.6f mm", got, 4-in, 4+out)
	}
	ring := gapBetween(t, capsule(0.5, v(8, 0, 0)), mesh).Distance
	near(t, "ball in the tube: its far side is 2.5 − radius below", ring, -2, 0.05)
}

// Every answer for a mesh against the plain search over all triangles and against dense points.
func TestTreeSkipsNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	mesh := torusMesh(8, 2, 40, 20)
	for range 100 {
		c := newRoundCone(v(20*rng.Float64()-10, 20*rng.Float64()-10, 6+4*rng.Float64()), v(20*rng.Float64()-10, 20*rng.Float64()-10, 4+4*rng.Float64()), 0.3, 0.6)
		least := math.Inf(1)
		for i := range mesh.Triangles {
			tri := mesh.Triangle(i)
			least = min(least, lineSearch(&c, &tri, math.Inf(-1), math.Inf(1)).Distance)
		}
		b, _ := c.at(c.l)
		got := gapBetween(t, Chain{Path: []r3.Vec{c.a, b}, Radii: []float64{c.ra, 0.6}}, mesh).Distance
		if least > 0 {
			near(t, "least over all triangles", got, least, 1e-9)
		} else if got > 0 {
			t.Errorf("overlap missed: %g", got)
		}
	}
}

// Signs at faces, edges and corners of a box, inside and out; and where two boxes touch in a point.
func TestInsideOfASurface(t *testing.T) {
	s := boxMesh(v(0, 0, 0), v(2, 2, 2))
	if _, err := s.Shape(); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(5, 6))
	for range 3000 {
		x := v(4*rng.Float64()-1, 4*rng.Float64()-1, 4*rng.Float64()-1)
		q := v(max(-x.X, x.X-2), max(-x.Y, x.Y-2), max(-x.Z, x.Z-2)) // signed distance of a box
		want := r3.Norm(v(max(q.X, 0), max(q.Y, 0), max(q.Z, 0))) + min(max(q.X, q.Y, q.Z), 0)
		d, _ := s.signed(x)
		near(t, "signed distance", d, want, 1e-12)
	}
	o := boxMesh(v(2, 2, 2), v(4, 4, 4))
	both := &Surface{Points: append(append([]r3.Vec{}, s.Points...), o.Points[1:]...), Triangles: append([][3]int{}, s.Triangles...)}
	for _, c := range o.Triangles {
		for k := range c {
			if c[k] += 7; c[k] == 7 {
				c[k] = 7 // the corner (2,2,2) of both
			}
		}
		both.Triangles = append(both.Triangles, c)
	}
	if _, err := both.Shape(); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ x, want float64 }{{1.9, -0.1}, {2.1, -0.1}} {
		d, _ := both.signed(v(c.x, c.x, c.x))
		near(t, "two boxes contact", d, c.want, 1e-12)
	}
	d, _ := both.signed(v(2.1, 1.9, 2.1))
	near(t, "between them", d, 0.1, 1e-12)
}

func TestOpenOrTwistedSurfaceIsRefused(t *testing.T) {
	open := boxMesh(v(0, 0, 0), v(10, 10, 10))
	open.Triangles = open.Triangles[1:]
	twisted := boxMesh(v(0, 0, 0), v(10, 10, 10))
	twisted.Triangles[3] = [3]int{twisted.Triangles[3][1], twisted.Triangles[3][0], twisted.Triangles[3][2]}
	inward := boxMesh(v(10, 0, 0), v(0, 10, 10))
	for name, s := range map[string]*Surface{"open": open, "twisted": twisted, "inward": inward} {
		if _, err := s.Shape(); !errors.Is(err, ErrBody) {
			t.Errorf("%s surface passed", name)
		}
	}
}

// Two balls as surfaces, apart by 2 mm: the distance lies between 2 and 2 plus both dips; one inside the other
// overlaps either way round.
func TestTwoSurfaces(t *testing.T) {
	a, dip := sphereMesh(v(0, 0, 0), 5, 3)
	b, dip2 := sphereMesh(v(9, 6, 2), 4, 3)
	want := 11 - 9.0 // √(81 + 36 + 4) = 11
	got := gapBetween(t, a, b).Distance
	if got < want-1e-9 || got > want+dip+dip2 {
		t.Errorf("distance %.6f mm, want %g … %.6f mm", got, want, want+dip+dip2)
	}
	near(t, "swapped", gapBetween(t, b, a).Distance, got, 1e-12)
	inner, _ := sphereMesh(v(1, 0, 0), 2, 2)
	near(t, "ball in a ball: it holds the middle, 5 deep", gapBetween(t, a, inner).Distance, -5, dip+depthTolerance+0.15)
	near(t, "swapped", gapBetween(t, inner, a).Distance, gapBetween(t, a, inner).Distance, 1e-9)
	near(t, "capsule in a ball", gapBetween(t, capsule(1, v(0, 0, 0)), a).Distance, -5, dip+depthTolerance)
}
