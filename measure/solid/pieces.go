package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// convex is a closed convex body known by its support points.
type convex interface {
	support(d r3.Vec) r3.Vec // a point of the body furthest along d, mm

	// normals returns the body's middle and a function that lists the normals of its faces in
	// the plane that holds its axis and a direction.
	normals() (r3.Vec, func(d r3.Vec) []r3.Vec)
}

// field is a body known by its signed distance, a convex function of the point:
// negative inside, where it is the least way out.
type field interface {
	signed(x r3.Vec) (d float64, n r3.Vec) // mm; n is its gradient (unit length; zero on a flat triangle)
}

// roundCone is the hull of two balls, one piece of a capsule chain:
//
//	⋃ over 0 ≤ z ≤ l of the ball at a + z·u with radius ra − z·sin
//
// Where one ball contains the other, l = 0.
type roundCone struct {
	a, u     r3.Vec  // centre of the first ball; unit vector to the second
	l        float64 // distance of the centres, mm
	ra, rb   float64 // mm
	sin, cos float64 // of the angle between the side's normal and the plane across u
}

func newRoundCone(a, b r3.Vec, ra, rb float64) roundCone {
	l := length(r3.Sub(b, a))
	if l <= math.Abs(ra-rb) {
		if rb > ra {
			a, ra = b, rb
		}
		return roundCone{a: a, u: r3.Vec{X: 1}, ra: ra, rb: ra, cos: 1}
	}
	sin := (ra - rb) / l
	return roundCone{a: a, u: r3.Scale(1/l, r3.Sub(b, a)), l: l, ra: ra, rb: rb, sin: sin, cos: math.Sqrt(1 - sin*sin)}
}

// at returns the centre and radius (mm) of the ball z mm along the axis.
func (c *roundCone) at(z float64) (r3.Vec, float64) {
	return r3.Add(c.a, r3.Scale(z, c.u)), c.ra - z*c.sin
}

// signed finds the one ball whose surface is nearest: its centre lies where the normal of the
// side through x meets the axis, cut to the piece.
func (c *roundCone) signed(x r3.Vec) (float64, r3.Vec) {
	v := r3.Sub(x, c.a)
	z := 0.0
	if c.l > 0 {
		along := r3.Dot(v, c.u)
		rho := length(r3.Sub(v, r3.Scale(along, c.u)))
		z = min(max(along-rho*c.sin/c.cos, 0), c.l)
	}
	centre, r := c.at(z)
	v = r3.Sub(x, centre)
	d := length(v)
	if d == 0 {
		return -r, r3.Add(r3.Scale(c.cos, Across(c.u)), r3.Scale(c.sin, c.u))
	}
	return d - r, r3.Scale(1/d, v)
}

func (c *roundCone) support(d r3.Vec) r3.Vec {
	n := unit(d)
	if c.l*r3.Dot(n, c.u)+c.rb > c.ra {
		b, r := c.at(c.l)
		return r3.Add(b, r3.Scale(r, n))
	}
	return r3.Add(c.a, r3.Scale(c.ra, n))
}

func (c *roundCone) normals() (r3.Vec, func(d r3.Vec) []r3.Vec) {
	middle, _ := c.at(c.l / 2)
	return middle, func(d r3.Vec) []r3.Vec { return sideNormals(c.u, d, c.cos, c.sin) }
}

func (c *roundCone) box() box {
	b, _ := c.at(c.l)
	return ballBox(c.a, c.ra).with(ballBox(b, c.rb))
}

// flatCone is a [Frustum] made ready.
type flatCone struct {
	c, a   r3.Vec  // centre of the first end; unit vector to the second
	l      float64 // mm
	r0, r1 float64 // radii of the ends, mm
	nr, nz float64 // the side's outward normal: across the axis, along it
	side   float64 // length of the side from end to end, mm
}

func newFlatCone(from Frustum) flatCone {
	f := flatCone{c: from.Base, a: unit(from.Axis), l: from.Length, r0: from.Radius, r1: from.TipRadius}
	f.side = math.Hypot(f.l, f.r0-f.r1)
	f.nr, f.nz = f.l/f.side, (f.r0-f.r1)/f.side
	return f
}

// signed works in the half-plane (ρ, z) through the axis and x, where the body is the
// trapezium (0,0) (r0,0) (r1,l) (0,l).
func (f *flatCone) signed(x r3.Vec) (float64, r3.Vec) {
	v := r3.Sub(x, f.c)
	z := r3.Dot(v, f.a)
	out := r3.Sub(v, r3.Scale(z, f.a))
	rho := length(out)
	d, nr, nz := f.profile(rho, z)
	if nr == 0 {
		return d, r3.Scale(nz, f.a)
	}
	if rho > 0 {
		out = r3.Scale(1/rho, out)
	} else {
		out = Across(f.a)
	}
	return d, r3.Add(r3.Scale(nr, out), r3.Scale(nz, f.a))
}

// profile returns the signed distance (mm) from (rho, z) and its gradient in the half-plane.
func (f *flatCone) profile(rho, z float64) (d, nr, nz float64) {
	side := (rho-f.r0)*f.nr + z*f.nz
	if -z <= 0 && z-f.l <= 0 && side <= 0 {
		return f.inside(z, side)
	}
	along := min(max((z*f.nr-(rho-f.r0)*f.nz)/f.side, 0), 1)
	ends := [3][2]float64{{min(rho, f.r0), 0}, {min(rho, f.r1), f.l}, {f.r0 + along*(f.r1-f.r0), along * f.l}}
	d = math.Inf(1)
	for _, p := range ends {
		x, y := rho-p[0], z-p[1]
		if e := x*x + y*y; e < d {
			d, nr, nz = e, x, y
		}
	}
	if d = math.Sqrt(d); d == 0 {
		return f.inside(z, side)
	}
	return d, nr / d, nz / d
}

// inside returns the distance to the nearest of the three faces, negative, mm, and its normal.
func (f *flatCone) inside(z, side float64) (d, nr, nz float64) {
	switch {
	case side >= -z && side >= z-f.l:
		return side, f.nr, f.nz
	case -z >= z-f.l:
		return -z, 0, -1
	}
	return z - f.l, 0, 1
}

func (f *flatCone) support(d r3.Vec) r3.Vec {
	z := r3.Dot(d, f.a)
	out := r3.Sub(d, r3.Scale(z, f.a))
	out = r3.Sub(out, r3.Scale(r3.Dot(out, f.a), f.a)) // once more: near the axis rounding tilts it
	n := length(out)
	c, r := f.c, f.r0
	if f.l*z+f.r1*n > f.r0*n {
		c, r = r3.Add(f.c, r3.Scale(f.l, f.a)), f.r1
	}
	if n <= 1e-16*length(d) {
		return c
	}
	return r3.Add(c, r3.Scale(r/n, out))
}

func (f *flatCone) normals() (r3.Vec, func(d r3.Vec) []r3.Vec) {
	middle := r3.Add(f.c, r3.Scale(f.l/2, f.a))
	return middle, func(d r3.Vec) []r3.Vec { return sideNormals(f.a, d, f.nr, f.nz) }
}

func (f *flatCone) box() box {
	var b box
	for i, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		b.hi[i] = r3.Dot(f.support(e), e)
		b.lo[i] = r3.Dot(f.support(r3.Scale(-1, e)), e)
	}
	return b
}

// unit returns v with length 1.
func unit(v r3.Vec) r3.Vec { return r3.Scale(1/length(v), v) }

// length returns the length of v, mm. (r3.Norm guards against overflow at four times the price.)
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }

// Across returns some unit vector perpendicular to the unit vector u.
func Across(u r3.Vec) r3.Vec {
	e := r3.Vec{X: 1}
	if math.Abs(u.X) > 0.6 {
		e = r3.Vec{Y: 1}
	}
	return unit(r3.Sub(e, r3.Scale(r3.Dot(e, u), u)))
}
