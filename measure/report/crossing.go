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

// contour returns the zero line of the distance to the nearest capsule, by marching squares; each
// piece is one cell's chord.
func contour(near []segment, box [2]reformat.UV) [][]reformat.UV {
	lo, hi := bounds(near, box)
	nu, nv := int((hi.U-lo.U)/crossStep)+2, int((hi.V-lo.V)/crossStep)+2
	if nu < 2 || nv < 2 || nu > 2000 || nv > 2000 {
		return nil
	}
	field := make([]float64, nu*nv)
	at := func(i, j int) reformat.UV {
		return reformat.UV{U: lo.U + float64(i)*crossStep, V: lo.V + float64(j)*crossStep}
	}
	for j := range nv {
		for i := range nu {
			q, d := at(i, j), math.Inf(1)
			for _, g := range near {
				d = math.Min(d, g.outside(r3.Vec{X: q.U, Y: q.V}))
			}
			if math.Abs(d) < 1e-3 {
				d = 1e-3 // mm; a corner on the line would give chords of no length
			}
			field[j*nu+i] = d
		}
	}
	var chords [][2]reformat.UV
	for j := 0; j+1 < nv; j++ {
		for i := 0; i+1 < nu; i++ {
			corner := [4]reformat.UV{at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)}
			value := [4]float64{field[j*nu+i], field[j*nu+i+1], field[(j+1)*nu+i+1], field[(j+1)*nu+i]}
			chords = append(chords, cell4(corner, value)...)
		}
	}
	return reformat.Join(chords)
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

// cell4 returns the chords of the zero line in one cell, whose corners go round it.
func cell4(corner [4]reformat.UV, value [4]float64) [][2]reformat.UV {
	var cut []reformat.UV
	for k := range 4 {
		n := (k + 1) % 4
		if (value[k] < 0) == (value[n] < 0) {
			continue
		}
		t := value[k] / (value[k] - value[n])
		cut = append(cut, reformat.UV{
			U: corner[k].U + t*(corner[n].U-corner[k].U),
			V: corner[k].V + t*(corner[n].V-corner[k].V),
		})
	}
	switch len(cut) {
	case 2:
		return [][2]reformat.UV{{cut[0], cut[1]}}
	case 4:
		return [][2]reformat.UV{{cut[0], cut[1]}, {cut[2], cut[3]}}
	}
	return nil
}
