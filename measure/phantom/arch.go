package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// The arch is y = y₀ + a·x² + b·x⁴ in the plane z = 0, symmetrical about the midline, its
// apex forward (−y), scaled about the apex. Its radius of curvature is nowhere below 15 mm
// at scale 1, so that the offset u is well defined to 12 mm on the lingual side.
const (
	archY0   = -30.0    // mm
	archA    = 0.025    // 1/mm
	archB    = 4.5e-5   // 1/mm³
	archEnd  = 34.0     // |x| at the far ends, in the rami or behind the tuberosities, mm
	guessLow = -30.0    // y of the guess table's first row below the apex, mm
	guessNX  = 56       // columns of the guess table, 1 mm apart, x ≥ 0
	guessNY  = 140      // rows, 1 mm apart
	knotStep = 0.25     // spacing in x of arc-length and station knots, mm
	knots    = 4*34 + 1 // knots from the midline to archEnd
)

// arch is the planar curve along which the sections vary.
type arch struct {
	a, b  float64                   // coefficients of the curve, 1/mm and 1/mm³
	arc   [knots]float64            // arc length from the midline at x = i·knotStep, mm
	guess [guessNY][guessNX]float64 // x of the foot point near (column, guessLow+row)
}

// foot is a point's place on the arch.
type foot struct {
	x      float64 // abscissa of the foot point, mm
	u      float64 // signed offset, + buccal, mm
	tx, ty float64 // unit tangent there, toward the patient's left
	speed  float64 // arc length per unit of x
	radius float64 // of curvature, mm; the centre lies at u = −radius
}

func newArch(scale float64) *arch {
	c := &arch{a: archA / scale, b: archB / (scale * scale * scale)} // scale 1 is a usual adult arch
	for i := 1; i < knots; i++ {
		c.arc[i] = c.arc[i-1] + c.gauss(float64(i-1)*knotStep, float64(i)*knotStep)
	}
	for r := range c.guess {
		for q := range c.guess[r] {
			c.guess[r][q] = c.search(float64(q), archY0+guessLow+float64(r))
		}
	}
	return c
}

// y returns the curve's ordinate and its first two derivatives at x.
func (c *arch) y(x float64) (y, d1, d2 float64) {
	q := x * x
	return archY0 + q*(c.a+c.b*q), x * (2*c.a + 4*c.b*q), 2*c.a + 12*c.b*q
}

// gauss integrates the arc length from x0 to x1 by the five-point rule.
func (c *arch) gauss(x0, x1 float64) float64 {
	node := [5]float64{-0.9061798459386640, -0.5384693101056831, 0, 0.5384693101056831, 0.9061798459386640}
	weight := [5]float64{0.2369268850561891, 0.4786286704993665, 0.5688888888888889, 0.4786286704993665, 0.2369268850561891}
	sum, h := 0.0, (x1-x0)/2
	for i := range node {
		_, d, _ := c.y(x0 + h*(1+node[i]))
		sum += weight[i] * math.Sqrt(1+d*d)
	}
	return sum * h
}

// length returns the arc length from the midline to x, in mm, negative on the right.
func (c *arch) length(x float64) float64 {
	ax := math.Abs(x)
	i := min(int(ax/knotStep), knots-1)
	return math.Copysign(c.arc[i]+c.gauss(float64(i)*knotStep, ax), x)
}

// at returns the abscissa at arc length s from the midline, mm.
func (c *arch) at(s float64) float64 {
	x := s / 2
	for range 60 {
		_, d, _ := c.y(x)
		step := (c.length(x) - s) / math.Sqrt(1+d*d)
		x = max(-archEnd, min(archEnd, x-step))
		if math.Abs(step) < 1e-12 {
			break
		}
	}
	return x
}

// search finds the nearest point of the right-handed half (x ≥ 0) by brute force.
func (c *arch) search(px, py float64) float64 {
	best, at := math.Inf(1), 0.0
	for i := 0; i < knots; i++ {
		x := float64(i) * knotStep
		y, _, _ := c.y(x)
		if d := (px-x)*(px-x) + (py-y)*(py-y); d < best {
			best, at = d, x
		}
	}
	return at
}

// foot projects (px, py) on the curve: Newton's method from the table's guess.
func (c *arch) foot(px, py float64) foot {
	ax := math.Abs(px)
	x := c.start(ax, py)
	var y, d1, d2 float64
	for range 8 {
		y, d1, d2 = c.y(x)
		h := (ax - x) + (py-y)*d1
		slope := -1 - d1*d1 + (py-y)*d2
		if slope > -0.2*(1+d1*d1) { // near or past the centre of curvature
			slope = -(1 + d1*d1)
		}
		step := h / slope
		x = max(0, min(archEnd, x-step))
		if math.Abs(step) < 1e-10 {
			break
		}
	}
	y, d1, d2 = c.y(x)
	speed := math.Sqrt(1 + d1*d1)
	f := foot{x: x, tx: 1 / speed, ty: d1 / speed, speed: speed, radius: speed * speed * speed / d2}
	f.u = (ax-x)*f.ty - (py-y)*f.tx // buccal is (ty, −tx)
	if px < 0 {
		f.x, f.ty = -f.x, -f.ty
	}
	return f
}

// start interpolates the guess table.
func (c *arch) start(ax, py float64) float64 {
	fx := min(ax, guessNX-1.001)
	fy := max(0, min(guessNY-1.001, py-archY0-guessLow))
	i, r := int(fx), int(fy)
	fx, fy = fx-float64(i), fy-float64(r)
	return (1-fy)*((1-fx)*c.guess[r][i]+fx*c.guess[r][i+1]) +
		fy*((1-fx)*c.guess[r+1][i]+fx*c.guess[r+1][i+1])
}

// point returns the point (u, v) of the section at x in the jaw's frame (v along z).
func (c *arch) point(x, u, v float64) r3.Vec {
	y, d1, _ := c.y(x)
	speed := math.Sqrt(1 + d1*d1)
	return r3.Vec{X: x + u*d1/speed, Y: y - u/speed, Z: v}
}
