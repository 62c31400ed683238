package solid

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Tetrahedra of any sharpness: inside by the signs of four volumes, the distance by a grid over each facet. At a sharp
// edge the normal of one facet alone would take outside for inside.
func TestInsideOfSharpTetrahedra(t *testing.T) {
	rng := rand.New(rand.NewPCG(41, 42))
	vec := func(s float64) r3.Vec { return v(s*rng.NormFloat64(), s*rng.NormFloat64(), s*rng.NormFloat64()) }
	for range 60 {
		p := []r3.Vec{{}, vec(5), vec(5), vec(1)}
		volume := func(a, b, c, d r3.Vec) float64 { return r3.Dot(r3.Sub(a, d), r3.Cross(r3.Sub(b, d), r3.Sub(c, d))) }
		all := volume(p[0], p[1], p[2], p[3])
		if math.Abs(all) < 1 {
			continue
		}
		s := &Surface{Points: p, Triangles: [][3]int{{0, 1, 2}, {0, 3, 1}, {1, 3, 2}, {2, 3, 0}}}
		if all < 0 {
			p[1], p[2] = p[2], p[1]
			all = -all
		}
		if s.Volume() < 0 {
			for i, c := range s.Triangles {
				s.Triangles[i] = [3]int{c[0], c[2], c[1]}
			}
		}
		if _, err := s.Shape(); err != nil {
			t.Fatal(err)
		}
		near(t, "volume, mm³", s.Volume(), all/6, 1e-9)
		for range 100 {
			x := r3.Add(p[rng.IntN(4)], vec(2))
			in := volume(x, p[1], p[2], p[3]) > 0 && volume(p[0], x, p[2], p[3]) > 0 && volume(p[0], p[1], x, p[3]) > 0 && volume(p[0], p[1], p[2], x) > 0
			d, at := s.signed(x)
			if (d < 0) != in {
				t.Fatalf("%v is inside %v: %v, signed distance %g mm", x, p, in, d)
			}
			near(t, "to the point named, mm", r3.Norm(r3.Sub(x, at)), math.Abs(d), 1e-9)
			least := math.Inf(1)
			for i := range s.Triangles {
				least = min(least, byGrid(s.Triangle(i), func(y r3.Vec) float64 { return r3.Norm(r3.Sub(x, y)) }))
			}
			if math.Abs(d) > least+1e-9 || math.Abs(d) < least-0.5 {
				t.Fatalf("distance %g mm, by grid %g mm", d, least)
			}
		}
	}
}

// byGrid returns the least of f over some 900 points of a triangle.
func byGrid(t Triangle, f func(r3.Vec) float64) float64 {
	least := math.Inf(1)
	const n = 42
	for i := range n + 1 {
		for j := range n + 1 - i {
			a, b := float64(i)/n, float64(j)/n
			least = min(least, f(t.point([3]float64{1 - a - b, a, b})))
		}
	}
	return least
}

// A cone and a triangle, large or small: apart by the least signed distance over the triangle, which is convex there;
// what meets has none above 0. Their nearest points lie that far apart.
func TestConeAndTriangleByGrid(t *testing.T) {
	rng := rand.New(rand.NewPCG(43, 44))
	meet, through := 0, 0
	for i := range 600 {
		f, _ := drawn(rng, 1)
		size := []float64{2, 8, 40}[i%3]
		vec := func() r3.Vec { return v(size*rng.NormFloat64(), size*rng.NormFloat64(), size*rng.NormFloat64()) }
		tri := Triangle{vec(), vec(), vec()}
		least := byGrid(tri, func(x r3.Vec) float64 { d, _ := f.signed(x); return d })
		g := coneTriangle(&f, &tri, math.Inf(1))
		longest := max(r3.Norm(r3.Sub(tri[0], tri[1])), r3.Norm(r3.Sub(tri[1], tri[2])), r3.Norm(r3.Sub(tri[2], tri[0])))
		switch {
		case least < 0:
			if meet++; g.Distance > 0 {
				t.Errorf("they meet %g mm deep: %g mm apart", least, g.Distance)
			}
			if size == 40 {
				through++
			}
		case g.Distance > 0:
			if g.Distance > least+1e-9 || g.Distance < least-longest/42 {
				t.Errorf("%g mm apart, by grid %g mm", g.Distance, least)
			}
			near(t, "nearest points apart, mm", r3.Norm(r3.Sub(g.Near[0], g.Near[1])), g.Distance, 1e-9)
			near(t, "first point on the cone, mm", signedAt(&f, g.Near[0]), 0, 1e-9)
			if far := coneTriangle(&f, &tri, g.Distance/2); far.Distance < g.Distance/2 {
				t.Errorf("stopped at half of %g mm: %g mm", g.Distance, far.Distance)
			}
		}
	}
	if meet < 100 || through < 10 {
		t.Errorf("%d meet, %d of them large", meet, through)
	}
}

// A cylinder that stands 0.7 mm in a box: the two points are its apex and the face above; one that just touches names
// where.
func TestDeepestPointIsNamed(t *testing.T) {
	b := boxMesh(v(-10, -10, -30), v(10, 10, -13))
	g := gapBetween(t, upright(v(0, 0, -3.7), 4, 10), b)
	near(t, "deepest, mm", g.Near[0].Z, -13.7, depthTolerance)
	near(t, "face over it, mm", g.Near[1].Z, -13, 1e-9)
	near(t, "apart, mm", r3.Norm(r3.Sub(g.Near[0], g.Near[1])), -g.Distance, 1e-9)
	g = gapBetween(t, upright(v(0, 0, -3), 4, 10), b)
	near(t, "touching, mm", g.Distance, 0, 1e-12)
	near(t, "where, mm", g.Near[0].Z, -13, 1e-12)
}

// Four facets are enough, a corner that does not exist is named with its facet, and the normals of a file point out.
func TestSurfaceOnItsBounds(t *testing.T) {
	s := &Surface{Points: []r3.Vec{{}, {X: 9}, {Y: 9}, {Z: 9}}, Triangles: [][3]int{{0, 2, 1}, {0, 1, 3}, {1, 2, 3}, {2, 0, 3}}}
	if _, err := s.Shape(); err != nil {
		t.Fatal(err)
	}
	data := asBinary(t, s)
	for i, want := range []r3.Vec{v(0, 0, -1), v(0, -1, 0), unit(v(1, 1, 1)), v(-1, 0, 0)} {
		at := func(k int) float64 {
			return float64(math.Float32frombits(binary.LittleEndian.Uint32(data[stlHead+stlFacet*i+4*k:])))
		}
		near(t, "off the facet's normal", r3.Norm(r3.Sub(v(at(0), at(1), at(2)), want)), 0, 1e-6)
	}
	for _, bad := range []int{4, -1} {
		o := &Surface{Points: s.Points, Triangles: [][3]int{{0, 2, 1}, {0, 1, 3}, {1, 2, bad}, {2, 0, 3}}}
		if _, err := o.Shape(); !errors.Is(err, ErrBody) || !strings.Contains(err.Error(), "triangle 3 has corners") {
			t.Errorf("corner %d: %v", bad, err)
		}
	}
}
