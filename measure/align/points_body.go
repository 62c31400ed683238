package align

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/fit"
	"ridgerule/measure/solid"
)

// Scan bodies: an upright cylinder with a flat top, screwed into an implant and seen by a scanner of surfaces. Its side
// gives the axis, its top the height; the platform lies the body's length below the top.

// ErrBody is the fault of a surface on which no scan body is found.
var ErrBody = errors.New("align: no scan body")

// Body is a scan body found on a surface, in the surface's frame.
type Body struct {
	Top    r3.Vec  // where the axis meets the top, mm
	Axis   r3.Vec  // unit vector from the top down, to the apex
	Radius float64 // mm
	RMS    float64 // of the side's corners off the cylinder, mm; not the error of the recording
	Sides  int     // corners of the side that were fitted
}

const (
	// A scan body's radius, mm: those in use have 1.5 to 3.5 (common practice, no source); beyond it is a tooth or a groove.
	leastRadius, mostRadius = 1.0, 5.0
	// How far below its top the side is looked at, mm. Scan bodies stand 4 to 10 mm out of the mucosa (common practice, no
	// source); more takes in mucosa, less loses axis: an error of the axis goes with 1/length^1.5.
	sideDepth = 8.0
	// A facet is of the top within 10° of the axis, of the side within 10° of across it: wider takes in bevels, narrower
	// loses facets to a scanner's noise. Our choice.
	topCos, sideCos = 0.985, 0.174
	leastSides      = 24  // corners that a side must have: three for each of five parameters and more; fewer give no spread
	badRest         = 0.2 // mm: a side that lies so far off its cylinder is none; a scanner's noise is 0.01 to 0.05. Our choice
	topRadius       = 1.0 // mm about a mark from which the top's direction is first taken: the least radius of a body
	tukey           = 4.685
)

// BodyAt returns the scan body on whose top the mark lies, to some millimetres.
func BodyAt(s *solid.Sheet, mark r3.Vec) (Body, error) {
	p, facet := s.Nearest(mark)
	if d := r3.Norm(r3.Sub(p, mark)); d > 3 {
		return Body{}, fmt.Errorf("%w: the mark (%.2f, %.2f, %.2f) lies %.1f mm off the surface; mark the top of the body", ErrBody, mark.X, mark.Y, mark.Z, d)
	}
	up, _ := s.Normal(facet)
	for range 3 { // the mean of the facets about the mark that face alike
		var sum r3.Vec
		for i := range s.Triangles {
			n, area := s.Normal(i)
			if t := s.Triangle(i); area > 0 && r3.Dot(n, up) > 0.9 {
				if q, _ := t.Nearest(p); r3.Norm(r3.Sub(q, p)) < topRadius {
					sum = r3.Add(sum, r3.Scale(area, n))
				}
			}
		}
		if r3.Norm(sum) == 0 {
			return Body{}, fmt.Errorf("%w: the surface has no facets at (%.2f, %.2f, %.2f)", ErrBody, p.X, p.Y, p.Z)
		}
		up = r3.Unit(sum)
	}
	return fitBody(s, p, r3.Scale(-1, up))
}

// fitBody fits the cylinder below the top, which goes through p across the first axis.
func fitBody(s *solid.Sheet, p, axis r3.Vec) (Body, error) {
	c := cylinder{centre: p, axis: axis}
	var points []r3.Vec
	for range 4 { // the side's facets are chosen by the axis, which is found from them
		points = sideOf(s, p, c)
		if len(points) < leastSides {
			return Body{}, fmt.Errorf("%w: %d corners of a side below (%.2f, %.2f, %.2f), at least %d are needed; mark the top of an upright cylinder", ErrBody, len(points), p.X, p.Y, p.Z, leastSides)
		}
		if err := c.fit(points); err != nil {
			return Body{}, err
		}
	}
	b := Body{Axis: c.axis, Radius: c.radius, RMS: c.rms, Sides: len(points)}
	switch {
	case !(b.Radius >= leastRadius && b.Radius <= mostRadius):
		return b, fmt.Errorf("%w: a cylinder of radius %.2f mm below (%.2f, %.2f, %.2f); scan bodies have %g to %g mm", ErrBody, b.Radius, p.X, p.Y, p.Z, leastRadius, mostRadius)
	case !(b.RMS <= badRest):
		return b, fmt.Errorf("%w: the side below (%.2f, %.2f, %.2f) lies %.2f mm off a cylinder; at most %g mm is one", ErrBody, p.X, p.Y, p.Z, b.RMS, badRest)
	}
	level, err := topOf(s, p, c)
	b.Top = r3.Add(c.centre, r3.Scale(level-r3.Dot(c.centre, c.axis), c.axis))
	return b, err
}

// cylinder is a cylinder without ends.
type cylinder struct {
	centre, axis r3.Vec // a point of the axis, mm; unit
	radius, rms  float64
}

// off returns how far x lies outside the cylinder, mm, and the unit vector from the axis to x.
func (c *cylinder) off(x r3.Vec) (float64, r3.Vec) {
	v := across(r3.Sub(x, c.centre), c.axis)
	d := r3.Norm(v)
	if d == 0 {
		return -c.radius, r3.Vec{}
	}
	return d - c.radius, r3.Scale(1/d, v)
}

// sideOf returns the corners of the facets that face across the axis, stand near it and begin less than sideDepth below
// the top. Before the first fit every distance up to a scan body's greatest counts, later those near the cylinder.
func sideOf(s *solid.Sheet, top r3.Vec, c cylinder) []r3.Vec {
	seen := map[int]bool{}
	var out []r3.Vec
	for i, t := range s.Triangles {
		n, area := s.Normal(i)
		if area == 0 || math.Abs(r3.Dot(n, c.axis)) > sideCos {
			continue
		}
		first := math.Inf(1) // of the facet, below the top
		for _, k := range t {
			first = min(first, r3.Dot(r3.Sub(s.Points[k], top), c.axis))
		}
		if first < -1 || first > sideDepth {
			continue
		}
		for _, k := range t {
			d, outward := c.off(s.Points[k])
			near := c.radius == 0 && d < mostRadius || c.radius > 0 && math.Abs(d) < max(3*badRest, 3*c.rms)
			if !seen[k] && near && r3.Dot(n, outward) >= 0 {
				seen[k] = true
				out = append(out, s.Points[k])
			}
		}
	}
	return out
}

// fit fits the cylinder to the points: Gauss and Newton on the distances, weighted so that a bevel or a spot of mucosa
// hardly counts (Tukey's biweight).
func (c *cylinder) fit(points []r3.Vec) error {
	if c.radius == 0 {
		var all []float64
		for _, x := range points {
			d, _ := c.off(x)
			all = append(all, d)
		}
		c.radius = fit.Quantile(all, 0.5)
	}
	for range 40 {
		step, err := c.step(points)
		if err != nil {
			return err
		}
		if step < 1e-9 {
			break
		}
	}
	sum := 0.0
	var all []float64
	for _, x := range points {
		d, _ := c.off(x)
		all = append(all, math.Abs(d))
	}
	slices.Sort(all)
	for _, d := range all[:len(all)*9/10] { // a tenth may be bevel
		sum += d * d
	}
	c.rms = math.Sqrt(sum / float64(len(all)*9/10))
	return nil
}

// step does one step and returns its size, mm. The parameters are two tilts and two shifts across the axis and the radius.
func (c *cylinder) step(points []r3.Vec) (float64, error) {
	u, v := frameOf(c.axis)
	c.centre = r3.Add(c.centre, r3.Scale(r3.Dot(r3.Sub(centroid(points), c.centre), c.axis), c.axis)) // tilts about the middle
	rest := make([]float64, len(points))
	var sizes []float64
	for i, x := range points {
		rest[i], _ = c.off(x)
		sizes = append(sizes, math.Abs(rest[i]))
	}
	scale := max(1e-4, fit.MADToSD*fit.Quantile(sizes, 0.5)) * tukey // 0.1 µm: below it all counts
	normal, right := mat.NewSymDense(5, nil), mat.NewVecDense(5, nil)
	for i, x := range points {
		_, n := c.off(x)
		z := r3.Dot(r3.Sub(x, c.centre), c.axis)
		w := math.Max(0, 1-rest[i]*rest[i]/(scale*scale))
		row := []float64{-z * r3.Dot(n, u), -z * r3.Dot(n, v), -r3.Dot(n, u), -r3.Dot(n, v), -1}
		for a := range 5 {
			for b := a; b < 5; b++ {
				normal.SetSym(a, b, normal.At(a, b)+w*w*row[a]*row[b])
			}
			right.SetVec(a, right.AtVec(a)-w*w*row[a]*rest[i])
		}
	}
	var d mat.VecDense
	if err := d.SolveVec(normal, right); err != nil {
		return 0, fmt.Errorf("%w: its side does not fix a cylinder", ErrBody)
	}
	tilt := r3.Add(r3.Scale(d.AtVec(0), u), r3.Scale(d.AtVec(1), v))
	shift := r3.Add(r3.Scale(d.AtVec(2), u), r3.Scale(d.AtVec(3), v))
	c.axis, c.centre, c.radius = r3.Unit(r3.Add(c.axis, tilt)), r3.Add(c.centre, shift), c.radius+d.AtVec(4)
	return sideDepth*r3.Norm(tilt) + r3.Norm(shift) + math.Abs(d.AtVec(4)), nil
}

// topOf returns how far along the axis the top lies, mm: the median, by area, of the facets across the axis over the
// cylinder, near the place where the top was.
func topOf(s *solid.Sheet, p r3.Vec, c cylinder) (float64, error) {
	type piece struct{ at, area float64 }
	var all []piece
	total := 0.0
	for i := range s.Triangles {
		n, area := s.Normal(i)
		t := s.Triangle(i)
		x := centroid(t[:])
		d, _ := c.off(x)
		if area > 0 && -r3.Dot(n, c.axis) > topCos && d < 0 && math.Abs(r3.Dot(r3.Sub(x, p), c.axis)) < 1 {
			all, total = append(all, piece{r3.Dot(x, c.axis), area}), total+area
		}
	}
	if total < 0.1*math.Pi*c.radius*c.radius { // a screw's hole may take most of it
		return 0, fmt.Errorf("%w: the cylinder at (%.2f, %.2f, %.2f) has no flat top", ErrBody, p.X, p.Y, p.Z)
	}
	slices.SortFunc(all, func(a, b piece) int { return int(math.Copysign(1, a.at-b.at)) })
	sum := 0.0
	for _, x := range all {
		if sum += x.area; sum >= total/2 {
			return x.at, nil
		}
	}
	return all[len(all)-1].at, nil
}

// Platform returns the position of the implant under a body that is so many mm long from its top to the platform.
func (b *Body) Platform(name string, long float64) Position {
	return Position{Name: name, At: r3.Add(b.Top, r3.Scale(long, b.Axis)), Axis: b.Axis, U: math.NaN(), UAxis: math.NaN()}
}
