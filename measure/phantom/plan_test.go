package phantom

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Values of the centripetal spline through (0,0) (1,2) (5,3) (6,0), middle segment, computed
// elsewhere by the Barry–Goldman pyramid (reference values, own computation there).
func TestSplineHasTheReferenceValues(t *testing.T) {
	c := &spline{[]r3.Vec{{}, {X: 1, Y: 2}, {X: 5, Y: 3}, {X: 6}}}
	for _, w := range []struct{ q, x, y float64 }{
		{0.25, 1.85745382861, 2.4995496543}, {0.5, 3.00026897832, 2.91843388195}, {0.75, 4.14294963887, 3.12810116863},
	} {
		p, _ := c.segment(1, w.q)
		near(t, "x", p.X, w.x, 1e-10)
		near(t, "y", p.Y, w.y, 1e-10)
	}
}

// The arc of y = 0.04·x², |x| ≤ 25, is 73.94714287722987 mm long: (c/2)√(1+4a²c²) +
// asinh(2ac)/(4a), twice (reference value, computed elsewhere). Points 2 mm apart in x bend
// the spline by less than 0.01 mm.
func TestSplineLengthOfAParabola(t *testing.T) {
	c := &spline{}
	for x := -25.0; x <= 25; x++ {
		c.p = append(c.p, r3.Vec{X: x, Y: 0.04 * x * x})
	}
	near(t, "length", c.length(len(c.p)-2, 1), 73.94714287722987, 0.002)
	seg, q := c.nearest(r3.Vec{X: 10.3, Y: 0.04 * 10.3 * 10.3})
	near(t, "half", c.length(seg, q), 73.94714287722987/2+parabola(10.3), 0.002)
}

func parabola(c float64) float64 {
	const a = 0.04
	return c/2*math.Sqrt(1+4*a*a*c*c) + math.Asinh(2*a*c)/(4*a)
}

// The arch's own length against the same integral by brute force; the foot of a point set off
// along the normal is where it started.
func TestArchLengthAndFoot(t *testing.T) {
	c := newArch(1.05)
	const n = 200000
	sum, last := 0.0, r3.Vec{}
	for i := 0; i <= n; i++ {
		p := c.point(26*float64(i)/n, 0, 0)
		if i > 0 {
			sum += r3.Norm(r3.Sub(p, last))
		}
		last = p
	}
	near(t, "length", c.length(26), sum, 1e-6)
	near(t, "at", c.at(sum), 26, 1e-6)
	for _, x := range []float64{-29, -20, -8, 0.5, 3, 14, 24, 31} {
		for _, u := range []float64{-9, -4, 0, 5, 12} {
			p := c.point(x, u, 0)
			f := c.foot(p.X, p.Y)
			near(t, "foot", f.x, x, 1e-6)
			near(t, "offset", f.u, u, 1e-6)
		}
	}
}

// Distances with known answers; the two segment pairs are reference values (√13, √29).
func TestClearancesHaveTheirClosedForm(t *testing.T) {
	z := r3.Vec{Z: 1}
	c := cylinder{r3.Vec{}, z, 2, 10}
	chain := func(r float64, p ...r3.Vec) float64 { return c.toChain(p, same(r, len(p))) }
	near(t, "beside, parallel", chain(1, r3.Vec{X: 5, Z: -3}, r3.Vec{X: 5, Z: 13}), 2, 1e-9)
	near(t, "beyond the end", chain(1.5, r3.Vec{X: -20, Z: 14}, r3.Vec{X: 20, Z: 14}), 2.5, 1e-9)
	near(t, "past the rim", chain(1, r3.Vec{X: 5, Y: -9, Z: 14}, r3.Vec{X: 5, Y: 9, Z: 14}), 4, 1e-9)
	near(t, "overlap", chain(1, r3.Vec{X: 2.5, Y: -9, Z: 5}, r3.Vec{X: 2.5, Y: 9, Z: 5}), -0.5, 1e-9)
	thin := cylinder{r3.Vec{}, r3.Vec{X: 1}, 1e-9, 10}
	near(t, "thin", thin.toChain([]r3.Vec{{X: 12, Y: 5, Z: 3}, {X: 12, Y: -5, Z: 3}}, same(0, 2)), math.Sqrt(13), 1e-8)
	near(t, "cylinders, parallel", c.to(cylinder{r3.Vec{X: 7, Z: 2}, z, 1.5, 10}), 3.5, 1e-6)
	near(t, "cylinders, end to end", c.to(cylinder{r3.Vec{Z: 13}, z, 1.5, 10}), 3, 1e-6)
	near(t, "cylinders, thin", cylinder{r3.Vec{}, z, 1e-9, 10}.to(
		cylinder{r3.Vec{X: 3, Y: 4, Z: 12}, r3.Unit(r3.Vec{X: 3, Y: 4, Z: 8}), 1e-9, math.Sqrt(89)}), math.Sqrt(29), 1e-6)
}

// A round cone's distance is the least over its spheres, by brute force.
func TestRoundConeIsTheUnionOfItsSpheres(t *testing.T) {
	a, b := r3.Vec{X: 1, Y: 2, Z: -1}, r3.Vec{X: 4, Y: -1, Z: 3}
	for _, p := range []r3.Vec{{}, {X: 3}, {X: 6, Y: -3, Z: 5}, {X: 2, Y: 1}, {X: -1, Y: 4, Z: -4}, {X: 3.1, Y: 0.2, Z: 1.9}} {
		want := math.Inf(1)
		for i := 0; i <= 100000; i++ {
			q := float64(i) / 100000
			want = min(want, r3.Norm(r3.Sub(p, lerp(a, b, q)))-0.8-1.3*q)
		}
		got, _ := roundCone(p, a, b, 0.8, 2.1)
		near(t, "distance", got, want, 1e-4)
	}
}

func TestPlanIsWrittenAsTheFormatSays(t *testing.T) {
	o := Demo(Mandible)
	o.Given = true
	j := must[*Jaw](t)(New(o))
	var b bytes.Buffer
	if err := j.Plan().Write(&b); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"format: 1\n", "case: demo-mandible\n", "jaw: mandible\n", "coordinates: patient\n",
		"arch:\n  points:\n    - [", "sites:\n  - tooth: \"46\"\n    at: [", "    axis: [", "      diameter_mm: 3.5\n",
		"structures:\n  - name: left canal\n    kind: canal\n    path:\n      - [", "radius_mm: 1.6\n",
		"kind: mental_foramen", "kind: root", "radii_mm: [", "sd_mm: 0.3\n"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the plan lacks %q", want)
		}
	}
}

func TestTruthIsWrittenAsJSON(t *testing.T) {
	_, truth := truthOf(t, Options{Sites: []int{36}})
	var b bytes.Buffer
	if err := truth.Write(&b); err != nil {
		t.Fatal(err)
	}
	var back Truth
	if err := json.Unmarshal(b.Bytes(), &back); err != nil {
		t.Fatal(err)
	}
	near(t, "width read back", back.Sites[0].Ridge.Widths[4].Width, truth.Sites[0].Ridge.Widths[4].Width, 0)
}

func TestOptionsThatCannotBeMadeAreRefused(t *testing.T) {
	for want, o := range map[string]Options{
		"Jaw is 7":              {Jaw: 7},
		"Shape.Width is -1":     {Shape: Shape{Width: -1}},
		"Shape.Tilt is NaN":     {Shape: Shape{Tilt: math.NaN()}},
		"Scan.Blur is 0.001":    {Scan: Scan{Blur: 0.001}},
		"Scan.Voxel[1] is 9":    {Scan: Scan{Voxel: [3]float64{0.2, 9, 0.2}}},
		"tooth 16 is not":       {Sites: []int{16}},
		"tooth 36 stands where": {Sites: []int{36}, Teeth: []int{36}},
	} {
		_, err := New(o)
		if !errors.Is(err, ErrOptions) || !strings.Contains(err.Error(), want) {
			t.Errorf("error %v, want one with %q", err, want)
		}
	}
	if _, err := Demo(Mandible).Small(11, 20); !errors.Is(err, ErrOptions) {
		t.Errorf("Small of an upper tooth: %v", err)
	}
}
