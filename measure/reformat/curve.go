package reformat

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
)

// ErrCurve is wrapped by every error about the arch curve.
var ErrCurve = errors.New("reformat: arch")

// Curve is the arch: the centripetal Catmull–Rom spline through the given points, measured by
// arc length from the first of them. It passes through every point and cannot loop between two.
//
// Source: Yuksel C, Schaefer S, Keyser J. Comput Aided Des 2011;43:747–755 (from memory), with
// exponent 0.5; evaluated by the pyramid of Barry and Goldman.
type Curve struct {
	points   []r3.Vec  // with one mirrored point before the first and after the last
	knots    []float64 // one a point of points
	starts   []float64 // arc length at which each segment starts, and the whole length, mm
	occlusal r3.Vec
	outward  float64 // +1 when T × occlusal points out of the arch, else −1
	straight bool
}

// NewCurve returns the curve through at least four points (patient LPS, mm). occlusal points
// from the base of the jaw toward the biting surface; it need not be a unit vector. The error
// wraps [ErrCurve].
func NewCurve(points []r3.Vec, occlusal r3.Vec) (*Curve, error) {
	if len(points) < 4 {
		return nil, fmt.Errorf("%w: %d points, at least 4 are needed", ErrCurve, len(points))
	}
	if n := r3.Norm(occlusal); !(n > 0) || math.IsInf(n, 0) {
		return nil, fmt.Errorf("%w: occlusal direction (%g, %g, %g) has no length", ErrCurve, occlusal.X, occlusal.Y, occlusal.Z)
	}
	c := &Curve{occlusal: r3.Unit(occlusal)}
	n := len(points)
	c.points = append(c.points, r3.Sub(r3.Scale(2, points[0]), points[1]))
	c.points = append(c.points, points...)
	c.points = append(c.points, r3.Sub(r3.Scale(2, points[n-1]), points[n-2]))
	c.knots = make([]float64, len(c.points))
	for i := 1; i < len(c.points); i++ {
		step := math.Sqrt(r3.Norm(r3.Sub(c.points[i], c.points[i-1])))
		if !(step > 1e-3) || math.IsInf(step, 0) {
			return nil, fmt.Errorf("%w: point %d at (%g, %g, %g) mm repeats the one before it or is not finite", ErrCurve, i, c.points[i].X, c.points[i].Y, c.points[i].Z)
		}
		c.knots[i] = c.knots[i-1] + step
	}
	c.starts = make([]float64, n)
	for seg := range n - 1 {
		c.starts[seg+1] = c.starts[seg] + c.segmentLength(seg, 1)
	}
	c.orient(points)
	return c, c.check()
}

// orient finds the inside of the arch by the sign of the area between the curve and the chord
// of its ends, seen along the occlusal direction.
//
// A straight piece of ridge has no inside. There buccal is away from the patient's midline
// plane x = 0, or forward where the ridge runs across it: our choice, no source.
func (c *Curve) orient(points []r3.Vec) {
	area := 0.0
	for i := 1; i+1 < len(points); i++ {
		a, b := r3.Sub(points[i], points[0]), r3.Sub(points[i+1], points[0])
		area += r3.Dot(c.occlusal, r3.Cross(a, b)) / 2
	}
	length := c.Length()
	c.straight = math.Abs(area) < 1e-4*length*length
	c.outward = math.Copysign(1, area)
	if !c.straight {
		return
	}
	middle := c.At(length / 2)
	b := r3.Cross(c.Tangent(length/2), c.occlusal)
	if out := b.X * middle.X; math.Abs(b.X) > math.Abs(b.Y) && out != 0 {
		c.outward = math.Copysign(1, out)
		return
	}
	c.outward = math.Copysign(1, -b.Y)
}

// check refuses a curve that turns back on itself or runs along the occlusal direction.
func (c *Curve) check() error {
	const step = 0.5 // mm
	n := int(c.Length()/step) + 2
	last := c.Tangent(0)
	for i := range n {
		s := c.Length() * float64(i) / float64(n-1)
		t := c.Tangent(s)
		if r3.Dot(t, last) < 0 {
			return fmt.Errorf("%w: the curve folds back at %.1f mm; give the points in order from one end of the arch to the other", ErrCurve, s)
		}
		if math.Abs(r3.Dot(t, c.occlusal)) > 0.9 {
			return fmt.Errorf("%w: the curve runs along the occlusal direction at %.1f mm; check occlusal and the points", ErrCurve, s)
		}
		last = t
	}
	return nil
}

// Straight reports whether the arch has no inside, so that buccal was chosen by rule.
func (c *Curve) Straight() bool { return c.straight }

// Length returns the whole arc length, in mm.
func (c *Curve) Length() float64 { return c.starts[len(c.starts)-1] }

// spline returns position and derivative by x, 0 ≤ x ≤ 1, in segment seg.
func (c *Curve) spline(seg int, x float64) (p, d r3.Vec) {
	var q, dq [4]r3.Vec
	k := c.knots[seg : seg+4]
	copy(q[:], c.points[seg:seg+4])
	span := k[2] - k[1]
	at := k[1] + x*span
	for level := 1; level < 4; level++ {
		for i := range 4 - level {
			lo, hi := i, i+level
			if level == 3 {
				lo, hi = 1, 2 // the last blend runs over the segment itself
			}
			w := 1 / (k[hi] - k[lo])
			f := (at - k[lo]) * w
			slope := r3.Add(r3.Scale(w, r3.Sub(q[i+1], q[i])), r3.Add(r3.Scale(1-f, dq[i]), r3.Scale(f, dq[i+1])))
			q[i], dq[i] = r3.Add(r3.Scale(1-f, q[i]), r3.Scale(f, q[i+1])), slope
		}
	}
	return q[0], r3.Scale(span, dq[0])
}

// segmentLength returns the arc length of segment seg from its start to parameter x, in mm.
// 16 Gauss points integrate a segment's smooth speed to better than 1e-6 of its length.
func (c *Curve) segmentLength(seg int, x float64) float64 {
	return quad.Fixed(func(x float64) float64 {
		_, d := c.spline(seg, x)
		return r3.Norm(d)
	}, 0, x, 16, nil, 0)
}

// locate returns the segment and its parameter at arc length s (mm), held within the curve.
func (c *Curve) locate(s float64) (seg int, x float64) {
	s = math.Max(0, math.Min(s, c.Length()))
	seg = sort.Search(len(c.starts)-2, func(i int) bool { return c.starts[i+1] >= s })
	target, whole := s-c.starts[seg], c.starts[seg+1]-c.starts[seg]
	x = target / whole
	for range 20 {
		_, d := c.spline(seg, x)
		step := (target - c.segmentLength(seg, x)) / r3.Norm(d)
		x = math.Max(0, math.Min(1, x+step))
		if math.Abs(step) < 1e-12 {
			break
		}
	}
	return seg, x
}

// At returns the curve's point at arc length s (mm), patient LPS, mm. s outside the curve is
// taken as its nearer end.
func (c *Curve) At(s float64) r3.Vec {
	p, _ := c.spline(c.locate(s))
	return p
}

// Tangent returns the unit tangent at arc length s (mm).
func (c *Curve) Tangent(s float64) r3.Vec {
	_, d := c.spline(c.locate(s))
	return r3.Unit(d)
}

// Project returns the arc length of the curve's point nearest to p and its distance, in mm.
func (c *Curve) Project(p r3.Vec) (s, distance float64) {
	const step = 0.25 // mm; far below the radius of any arch, so the nearest sample brackets the minimum
	// Along each segment the spline's parameter stands in for the arc length: it needs no inversion.
	at := func(t float64) (seg int, x float64) {
		seg = sort.Search(len(c.starts)-2, func(i int) bool { return c.starts[i+1] > t })
		return seg, (t - c.starts[seg]) / (c.starts[seg+1] - c.starts[seg])
	}
	far := func(t float64) float64 {
		q, _ := c.spline(at(t))
		return r3.Norm(r3.Sub(q, p))
	}
	n := int(c.Length()/step) + 2
	nearest := 0
	best := math.Inf(1)
	for i := range n + 1 {
		if d := far(c.Length() * float64(i) / float64(n)); d < best {
			best, nearest = d, i
		}
	}
	lo := c.Length() * float64(max(nearest-1, 0)) / float64(n)
	hi := c.Length() * float64(min(nearest+1, n)) / float64(n)
	t, distance := fit.Golden(lo, hi, 1e-9, far) // the distance has one minimum in the bracket
	seg, x := at(t)
	return c.starts[seg] + c.segmentLength(seg, x), distance
}

// Frame returns the section's frame at arc length s (mm): U points out of the arch at right
// angles to the tangent and to the occlusal direction, V = the coronal direction at right angles
// to both tangent and U.
func (c *Curve) Frame(s float64) Frame {
	seg, x := c.locate(s)
	p, d := c.spline(seg, x)
	t := r3.Unit(d)
	u := r3.Scale(c.outward, r3.Unit(r3.Cross(t, c.occlusal)))
	v := r3.Unit(r3.Cross(u, t))
	if r3.Dot(v, c.occlusal) < 0 {
		v = r3.Scale(-1, v)
	}
	return Frame{Arc: c.starts[seg] + c.segmentLength(seg, x), Origin: p, U: u, V: v, T: t}
}

// TangentSpread returns by how much the tangent at arc length s (mm) turns about the occlusal direction when
// the arch points around it are each moved at random, buccolingually, by one standard deviation of
// 1 mm: radians per mm. Between two points the tangent scatters more than at a point.
func (c *Curve) TangentSpread(s float64) float64 {
	const h = 1e-4 // mm
	seg, x := c.locate(s)
	u := c.Frame(s).U
	before := r3.Unit(c.derivative(seg, x))
	sum := 0.0
	for i := range 4 {
		moved := *c
		moved.points = append([]r3.Vec{}, c.points...)
		moved.points[seg+i] = r3.Add(c.points[seg+i], r3.Scale(h, u))
		turn := r3.Dot(r3.Sub(r3.Unit(moved.derivative(seg, x)), before), u) / h
		sum += turn * turn
	}
	return math.Sqrt(sum)
}

// derivative returns the spline's derivative in segment seg at parameter x, by the parameter.
func (c *Curve) derivative(seg int, x float64) r3.Vec {
	_, d := c.spline(seg, x)
	return d
}
