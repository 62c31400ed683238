package solid

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func ball(at r3.Vec, r float64) *roundCone {
	c := newRoundCone(at, at, r, r)
	return &c
}

// By hand: the normals of a side that leans, on both sides of the plane of axis and direction.
func TestSideNormalsByHand(t *testing.T) {
	want := []r3.Vec{v(0, 0, 1), v(0, 0, -1), v(0.8, 0, 0.6), v(-0.8, 0, 0.6)}
	for i, n := range sideNormals(v(0, 0, 1), v(3, 0, 5), 0.8, 0.6) {
		near(t, "off", r3.Norm(r3.Sub(n, want[i])), 0, 1e-15)
	}
	for i, n := range sideNormals(v(0, 0, 1), v(0, 0, 5), 0.8, 0.6) { // any plane that holds the axis
		near(t, "length", r3.Norm(n), 1, 1e-15)
		near(t, "along the axis", n.Z, []float64{1, -1, 0.6, 0.6}[i], 1e-15)
	}
}

// The way out of two bodies is along a face's normal of the first, or against one of the second: of an upright cone with
// sides of slope 1/10 the side away from the other body, and that toward it.
func TestGuessesAreNormalsOfTheDifference(t *testing.T) {
	cone := newFlatCone(Frustum{Base: v(0, 0, 0), Axis: v(0, 0, 1), Length: 10, Radius: 3, TipRadius: 2})
	far := ball(v(9, 0, 5), 1)
	long := math.Hypot(10, 1)
	side, back := v(10/long, 0, 1/long), v(-10/long, 0, 1/long)
	for i, n := range []r3.Vec{v(0, 0, 1), v(0, 0, -1), side, back} {
		near(t, "of the first", r3.Norm(r3.Sub(candidates(&cone, far)[i], n)), 0, 1e-15)
		near(t, "of the second", r3.Norm(r3.Add(candidates(far, &cone)[4+i], n)), 0, 1e-15)
	}
}

// Two balls whose centres lie c apart: h(n) = r + s − n·c, least along c, r + s − |c|.
func TestDownhillFindsTheWayOutOfTwoBalls(t *testing.T) {
	a, b := ball(v(1, 2, 3), 4), ball(v(2, 4, 5), 3) // 3 apart
	way := unit(v(1, 2, 2))
	near(t, "h along the line", separation(a, b, way), 4, 1e-12)
	near(t, "h against it", separation(a, b, r3.Scale(-1, way)), 10, 1e-12)
	for _, n := range []r3.Vec{way, v(1, 0, 0), v(0, 0, -1), unit(v(-1, -2, -1.9)), unit(v(2, -1, 0))} {
		h, at := descend(a, b, separation(a, b, n), n)
		near(t, "depth", h, 4, 1e-9)
		near(t, "off the line", r3.Norm(r3.Sub(at, way)), 0, 1e-4)
	}
}

// A capsule along z, 10 mm and r 2 mm, and a ball of 1 mm beside its middle, d aside: h(n) = 5·|n·z| + 3 − d·n·x
// has a crease around the equator, where downhill cannot see along it; least 3 − d, toward the ball. The ring is
// searched within 0.15 rad of longitude and 0.05 rad of latitude.
func TestAroundFollowsTheCreaseOfAnAxis(t *testing.T) {
	c := newRoundCone(v(0, 0, -5), v(0, 0, 5), 2, 2)
	for _, aside := range []float64{0.5, 1.5, 2.5} {
		b := ball(v(aside, 0, 0), 1)
		for _, longitude := range []float64{-0.14, -0.03, 0, 0.08, 0.14} {
			for _, latitude := range []float64{-0.04, 0, 0.02} {
				n := v(math.Cos(latitude)*math.Cos(longitude), math.Cos(latitude)*math.Sin(longitude), math.Sin(latitude))
				h, at := descendAlongRing(&c, b, separation(&c, b, n), n)
				near(t, "depth", h, 3-aside, 1e-6)
				near(t, "off the ball's direction", r3.Norm(r3.Sub(at, v(1, 0, 0))), 0, 1e-3)
			}
		}
		n := v(math.Cos(0.3), math.Sin(0.3), 0) // farther round than it looks: as far as that
		h, _ := descendAlongRing(&c, b, separation(&c, b, n), n)
		near(t, "depth", h, 3-aside*math.Cos(0.15), 1e-6)
	}
	b := ball(v(0, 0, 6), 1)
	if h, n := descendAlongRing(&c, b, 2, v(0, 0, 1)); h != 2 || n != v(0, 0, 1) {
		t.Errorf("along the axis there is no ring: %g mm along %v", h, n)
	}
}

// Overlaps whose depth and way out are known, those among them where every direction around an axis is as good as
// another: an implant of r 2 mm and 10 mm with a capsule of r 0.5 mm or another implant of r 1.5 mm in its axis, across
// its middle, and beside it.
func TestWaysOutInClosedForm(t *testing.T) {
	a := newFlatCone(upright(v(0, 0, 0), 4, 10))
	across := newRoundCone(v(-20, 0, -5), v(20, 0, -5), 0.5, 0.5)
	aside := newRoundCone(v(-20, 1.2, -5), v(20, 1.2, -5), 0.5, 0.5)
	inside := newFlatCone(upright(v(0, 0, -1), 3, 8))
	beside := newFlatCone(upright(v(3, 0, -1), 3, 8))
	end := newFlatCone(upright(v(0.3, 0.2, -9.5), 3, 8))
	for name, c := range map[string]struct {
		b     convex
		depth float64
		way   []r3.Vec // any of them; none: any across the axis
	}{
		"across the middle":  {&across, 2.5, []r3.Vec{v(0, 1, 0), v(0, -1, 0)}},
		"across, 1.2 beside": {&aside, 1.3, []r3.Vec{v(0, 1, 0)}},
		"one in the other":   {&inside, 3.5, nil},
		"beside":             {&beside, 0.5, []r3.Vec{v(1, 0, 0)}},
		"end in end":         {&end, 0.5, []r3.Vec{v(0, 0, -1)}},
	} {
		g := overlap(&a, c.b)
		near(t, name, g.Distance, -c.depth, 1e-6)
		way := r3.Scale(1/c.depth, r3.Sub(g.Near[0], g.Near[1])) // of b, out of a
		least := math.Abs(way.Z)
		for i, w := range c.way {
			if d := r3.Norm(r3.Sub(way, w)); i == 0 || d < least {
				least = d
			}
		}
		near(t, name+": off the way out", least, 0, 1e-4)
		near(t, name+": point of the first body on its skin", signedAt(&a, g.Near[0]), 0, 1e-3) // it lies on a chord between points of its rim
	}
}

func signedAt(f field, x r3.Vec) float64 {
	d, _ := f.signed(x)
	return d
}
