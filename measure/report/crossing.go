package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// crossStep is the grid on which a structure's crossing is drawn, mm: a third of a printed line.
// Nothing is measured on it.
const crossStep = 0.2

// crossing returns the lines along which a structure crosses the section within box, section mm:
// the outline of a capsule chain, the cut edges of a surface.
func crossing(s measure.Structure, f reformat.Frame, box [2]reformat.UV) [][]reformat.UV {
	if s.Surface != nil {
		return f.Cut(s.Surface.Points, s.Surface.Triangles)
	}
	near := nearSegments(s, f)
	if len(near) == 0 {
		return nil
	}
	return contour(near, box)
}

// segment is one capsule of a chain in the section's frame: u, v and distance off the plane.
type segment struct {
	a, b   r3.Vec
	ra, rb float64
}

// nearSegments returns the capsules that reach the section's plane.
func nearSegments(s measure.Structure, f reformat.Frame) []segment {
	local := func(p r3.Vec) r3.Vec {
		q, off := f.Section(p)
		return r3.Vec{X: q.U, Y: q.V, Z: off}
	}
	var out []segment
	for i := range s.Path {
		j := min(i+1, len(s.Path)-1)
		if i >= len(s.Radii) || j >= len(s.Radii) || j == i && i > 0 {
			continue
		}
		g := segment{local(s.Path[i]), local(s.Path[j]), s.Radii[i], s.Radii[j]}
		reach := math.Max(g.ra, g.rb)
		if math.Min(g.a.Z, g.b.Z) <= reach && math.Max(g.a.Z, g.b.Z) >= -reach {
			out = append(out, g)
		}
	}
	return out
}

// outside returns the distance (mm) of p from the capsule's surface, negative inside. Between the
// ends the radius changes linearly with the foot of the perpendicular.
func (g segment) outside(p r3.Vec) float64 {
	ab := r3.Sub(g.b, g.a)
	t := 0.0
	if n := r3.Norm2(ab); n > 0 {
		t = math.Min(1, math.Max(0, r3.Dot(r3.Sub(p, g.a), ab)/n))
	}
	return r3.Norm(r3.Sub(p, r3.Add(g.a, r3.Scale(t, ab)))) - g.ra - t*(g.rb-g.ra)
}

// contour returns the zero line of the distance to the nearest capsule, closed ones with their first point again at
// their end.
func contour(near []segment, box [2]reformat.UV) [][]reformat.UV {
	lo, hi := bounds(near, box)
	nu, nv := int((hi.U-lo.U)/crossStep)+2, int((hi.V-lo.V)/crossStep)+2
	if nu < 2 || nv < 2 || nu > 2000 || nv > 2000 {
		return nil
	}
	inside := make([]float64, 0, nu*nv) // mm within the nearest capsule
	for j := range nv {
		for i := range nu {
			d := math.Inf(1)
			for _, g := range near {
				d = math.Min(d, g.outside(r3.Vec{X: lo.U + float64(i)*crossStep, Y: lo.V + float64(j)*crossStep}))
			}
			inside = append(inside, -d)
		}
	}
	var lines [][]reformat.UV
	for _, c := range reformat.Contours(inside, nu, 0, 0) {
		line := each(c.Points, func(p [2]float64) reformat.UV { return reformat.UV{U: lo.U + p[0]*crossStep, V: lo.V + p[1]*crossStep} })
		if c.Closed {
			line = append(line, line[0])
		}
		lines = append(lines, line)
	}
	return lines
}

// bounds returns the part of box that the capsules reach.
func bounds(near []segment, box [2]reformat.UV) (lo, hi reformat.UV) {
	lo, hi = reformat.UV{U: math.Inf(1), V: math.Inf(1)}, reformat.UV{U: math.Inf(-1), V: math.Inf(-1)}
	for _, g := range near {
		r := math.Max(g.ra, g.rb) + 2*crossStep
		lo.U, hi.U = math.Min(lo.U, math.Min(g.a.X, g.b.X)-r), math.Max(hi.U, math.Max(g.a.X, g.b.X)+r)
		lo.V, hi.V = math.Min(lo.V, math.Min(g.a.Y, g.b.Y)-r), math.Max(hi.V, math.Max(g.a.Y, g.b.Y)+r)
	}
	lo = reformat.UV{U: math.Max(lo.U, box[0].U), V: math.Max(lo.V, box[0].V)}
	hi = reformat.UV{U: math.Min(hi.U, box[1].U), V: math.Min(hi.V, box[1].V)}
	return lo, hi
}
