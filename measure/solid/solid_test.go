package solid

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

func gapBetween(t *testing.T, a, b Body) Gap {
	t.Helper()
	g, err := Distance(a, b)
	if err != nil {
		t.Fatal(err)
	}
	return g
}

func capsule(r float64, points ...r3.Vec) Chain {
	s := Chain{Path: points}
	for range points {
		s.Radii = append(s.Radii, r)
	}
	return s
}

func v(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

// upright returns a cylinder standing on its platform at c, pointing down.
func upright(c r3.Vec, diameter, length float64) Frustum {
	return Frustum{Base: c, Axis: v(0, 0, -1), Length: length, Radius: diameter / 2, TipRadius: diameter / 2}
}

// Segments by Ericson 2005 and Eberly, computed here with 20 digits (reference.md 7.4).
func TestSegmentDistancesOfEricson(t *testing.T) {
	for _, c := range []struct {
		name       string
		a, b, p, q r3.Vec
		want       float64
	}{
		{"end of one", v(0, 0, 0), v(10, 0, 0), v(12, 5, 3), v(12, -5, 3), math.Sqrt(13)},
		{"crossing above", v(0, 0, 0), v(10, 0, 0), v(5, -5, 3), v(5, 5, 3), 3},
		{"parallel", v(0, 0, 0), v(0, 0, 10), v(3, 4, 0), v(3, 4, 10), 5},
		{"two ends", v(0, 0, 0), v(0, 0, 10), v(3, 4, 12), v(6, 8, 20), 5.385164807135},
		{"points", v(0, 0, 0), v(0, 0, 0), v(0, 3, 0), v(0, 3, 0), 3},
		{"skew in a cube", v(0, 0, 0), v(1, 1, 1), v(1, 0, 0), v(0, 1, 0), 0.408248290464},
		{"skew", v(0, 0, 0), v(10, 10, 10), v(10, 0, 0), v(0, 10, 4), 2.386671852528},
	} {
		near(t, c.name, gapBetween(t, capsule(0, c.a, c.b), capsule(0, c.p, c.q)).Distance, c.want, 1e-11)
		near(t, c.name+", swapped", gapBetween(t, capsule(0, c.q, c.p), capsule(0, c.b, c.a)).Distance, c.want, 1e-11)
		thick := gapBetween(t, capsule(0.7, c.a, c.b), capsule(0.2, c.p, c.q))
		if c.want > 0.9 {
			near(t, c.name+" less both radii", thick.Distance, c.want-0.9, 1e-11)
		}
	}
	g := gapBetween(t, capsule(0, v(0, 0, 0), v(10, 10, 10)), capsule(0, v(10, 0, 0), v(0, 10, 4)))
	near(t, "s", g.Near[0].X/10, 0.405063, 5e-7)
	near(t, "t", g.Near[1].Y/10, 0.537975, 5e-7)
}

// A cylinder of radius 2 and length 10, flat ends at z = 0 and −10: distances by hand.
func TestDistancesFromAnUprightCylinder(t *testing.T) {
	im := upright(v(0, 0, 0), 4, 10)
	for _, c := range []struct {
		name string
		to   Body
		want float64
	}{
		{"ball below the apex", capsule(1, v(0, 0, -14)), 3},
		{"ball below the rim", capsule(1, v(2, 0, -14)), 3},
		{"ball off the rim (3-4-5)", capsule(1, v(5, 0, -14)), 4},
		{"ball beside", capsule(1, v(5, 0, -5)), 2},
		{"canal crossing below", capsule(1.5, v(-20, 1, -14), v(20, 1, -14)), 2.5},
		{"canal crossing off the rim (3-4-5)", capsule(1.5, v(-20, 5, -14), v(20, 5, -14)), 3.5},
		{"canal parallel beside", capsule(1, v(6, 0, -20), v(6, 0, 20)), 3},
		{"ball inside, side nearest", capsule(0.5, v(1.2, 0, -5)), -1.3},
		{"ball inside, apex nearest", capsule(0.5, v(0, 0, -9.5)), -1},
		{"ball on the axis", capsule(0.5, v(0, 0, -5)), -2.5},
		{"canal through the middle", capsule(1, v(-20, 0, -5), v(20, 0, -5)), -3},
		{"canal dipping into the apex", capsule(1, v(-20, 0, -10.3), v(20, 0, -10.3)), -0.7},
		{"canal contact", capsule(1, v(-20, 0, -11), v(20, 0, -11)), 0},
		{"cylinder beside", upright(v(7, 0, 0), 4, 10), 3},
		{"cylinder in line below", upright(v(0, 0, -12), 4, 10), 2},
		{"cylinder diagonal", upright(v(8, 0, -13), 4, 10), 5},
		{"cylinder overlapping beside", upright(v(3, 0, 0), 4, 10), -1},
		{"cylinder crossing", Frustum{Base: v(-10, 5, -5), Axis: v(1, 0, 0), Length: 20, Radius: 2, TipRadius: 2}, 1},
		{"cylinder concentric", upright(v(0, 0, 0), 2, 10), -3},
	} {
		near(t, c.name, gapBetween(t, im, c.to).Distance, c.want, 1e-6)
		near(t, c.name+", swapped", gapBetween(t, c.to, im).Distance, c.want, 1e-6)
	}
}

// A cone of radii 3 and 1 over 8: its side leans by atan(2/8), so a ball centre at distance D from
// the side's line is D − r away.
func TestDistanceFromATaperedImplant(t *testing.T) {
	im := Frustum{Base: v(0, 0, 0), Axis: v(0, 0, -1), Length: 8, Radius: 3, TipRadius: 1}
	side := math.Hypot(8, 2)
	near(t, "beside", gapBetween(t, im, capsule(0.5, v(6, 0, -4))).Distance, (6-2)*8/side-0.5, 1e-12)
	near(t, "below", gapBetween(t, im, capsule(0.5, v(0, 0, -10))).Distance, 1.5, 1e-12)
}

// A round cone with centres 10 apart and radii 3 and 1: its side has sin = 0.2.
func TestDistanceFromARoundCone(t *testing.T) {
	c := Chain{Path: []r3.Vec{v(0, 0, 0), v(10, 0, 0)}, Radii: []float64{3, 1}}
	cos := math.Sqrt(1 - 0.04)
	near(t, "side", gapBetween(t, c, capsule(0.5, v(5, 6, 0))).Distance, 6*cos+5*0.2-3-0.5, 1e-12)
	near(t, "end", gapBetween(t, c, capsule(0.5, v(15, 0, 0))).Distance, 3.5, 1e-12)
	swallowed := Chain{Path: []r3.Vec{v(0, 0, 0), v(1, 0, 0)}, Radii: []float64{3, 1}}
	near(t, "swallowed ball", gapBetween(t, swallowed, capsule(0.5, v(9, 0, 0))).Distance, 5.5, 1e-12)
}

func TestNearestPointsLieOnTheSurfacesAndApartByTheDistance(t *testing.T) {
	g := gapBetween(t, upright(v(0, 0, 0), 4, 10), capsule(1.5, v(-20, 5, -14), v(20, 5, -14)))
	near(t, "points apart", r3.Norm(r3.Sub(g.Near[0], g.Near[1])), g.Distance, 1e-9)
	near(t, "rim y", g.Near[0].Y, 2, 1e-6)
	near(t, "rim z", g.Near[0].Z, -10, 1e-9)
}

func TestNoBodyIsAnError(t *testing.T) {
	ok := upright(v(0, 0, 0), 4, 10)
	for i, b := range []Body{
		Chain{}, Chain{Path: []r3.Vec{{}}}, capsule(-1, v(0, 0, 0)), capsule(1, v(math.NaN(), 0, 0)),
		capsule(math.Inf(1), v(0, 0, 0)), &Surface{}, Frustum{},
		Frustum{Axis: v(0, 0, 2), Length: 1, Radius: 0.5, TipRadius: 0.5}, upright(v(0, 0, 0), 4, -1), upright(v(0, 0, 0), math.NaN(), 1),
		upright(v(0, 0, 0), 0, 1), upright(v(0, 0, 0), 1, 0), Frustum{Axis: v(0, 0, 1), Length: 1, Radius: 0.5, TipRadius: -0.5}, Frustum{Axis: v(0, 0, 1.00001), Length: 1, Radius: 0.5, TipRadius: 0.5},
		Frustum{Axis: v(0, 0, 1), Length: 1, Radius: 0, TipRadius: 1}, Frustum{Axis: v(0, 0, 1), Length: 1, Radius: 1, TipRadius: 0},
		Chain{Path: []r3.Vec{{}, {}}, Radii: []float64{1}},
	} {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			if _, err := Distance(ok, b); !errors.Is(err, ErrBody) {
				t.Errorf("error %v, want ErrBody", err)
			}
		})
	}
}

// A bad point is named by its number, counted from 1.
func TestBadPointIsNamed(t *testing.T) {
	_, err := Chain{Path: []r3.Vec{{}, v(1, 2, 3), {}}, Radii: []float64{1, -2, 1}}.Shape()
	if err == nil || err.Error() != "solid: not a body: point 2 is (1, 2, 3) with radius -2 mm" {
		t.Error(err)
	}
}

// Rounding of an axis' length is no error, nor a radius of 0.
func TestBodiesOnTheirBounds(t *testing.T) {
	im := Frustum{Axis: v(0, 0, 1+9e-7), Length: 10, Radius: 2, TipRadius: 3}
	near(t, "beside the tip", gapBetween(t, im, capsule(0, v(7, 0, 10))).Distance, 4, 1e-5)
}
