package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
)

// Block is a box of grey values in the patient, for drawing a surface through it.
//
//	P = Origin + i·Step[0] + j·Step[1] + k·Step[2]
type Block struct {
	Origin r3.Vec    // centre of the first value, patient LPS, mm
	Step   [3]r3.Vec // to the next column, row, slice, mm
	Size   [3]int    // values along each
	Grey   []float32 // column fastest, then row, then slice; NaN: outside the field, taken as no bone
}

// tetrahedra are the six that fill a cell, each by its corners (bit 0: column, 1: row, 2: slice).
// All share the cell's long diagonal, so that neighbouring cells cut their common face alike and
// the surface has no gap.
//
// Source: Kuhn's triangulation of the cube; marching tetrahedra after Doi A, Koide A. IEICE Trans
// 1991;E74:214–224 (from memory).
var tetrahedra = [6][4]int{{0, 1, 3, 7}, {0, 3, 2, 7}, {0, 2, 6, 7}, {0, 6, 4, 7}, {0, 4, 5, 7}, {0, 5, 1, 7}}

// BoneSurface returns the closed surface of the bone around a section, of which the block's slices are parallels:
// where the grey values pass level from outside, marrow and canals being bone (see [wholeBone]). Its triangles are
// counter-clockwise seen from outside, in patient LPS, mm. Where the bone leaves the block the surface is
// closed by a flat lid half a step outside it.
func BoneSurface(b Block, level float64) *measure.Surface {
	m := mesher{b: wholeBone(b, level), level: level, at: map[[2]int]int{}, out: &measure.Surface{}}
	m.flipped = r3.Dot(b.Step[0], r3.Cross(b.Step[1], b.Step[2])) < 0
	for k := -1; k < b.Size[2]; k++ {
		for j := -1; j < b.Size[1]; j++ {
			for i := -1; i < b.Size[0]; i++ {
				m.cell(i, j, k)
			}
		}
	}
	return m.out
}

// mesher builds a surface; each point lies on an edge between two grid points and is made once.
type mesher struct {
	b       Block
	level   float64
	flipped bool
	at      map[[2]int]int
	out     *measure.Surface
}

// corner is a grid point with its number on the grid padded by one, and its value above level.
type corner struct {
	i, j, k int
	id      int
	above   float64
}

func (m *mesher) corner(i, j, k int) corner {
	n := m.b.Size
	c := corner{i, j, k, ((k+1)*(n[1]+2)+j+1)*(n[0]+2) + i + 1, math.Inf(-1)}
	if i >= 0 && j >= 0 && k >= 0 && i < n[0] && j < n[1] && k < n[2] {
		if g := float64(m.b.Grey[(k*n[1]+j)*n[0]+i]); !math.IsNaN(g) {
			c.above = g - m.level
		}
	}
	return c
}

func (m *mesher) cell(i, j, k int) {
	var c [8]corner
	in := 0
	for v := range c {
		c[v] = m.corner(i+v&1, j+v>>1&1, k+v>>2&1)
		if c[v].above >= 0 {
			in++
		}
	}
	if in == 0 || in == 8 {
		return
	}
	for _, t := range tetrahedra {
		m.tetrahedron([4]corner{c[t[0]], c[t[1]], c[t[2]], c[t[3]]})
	}
}

// tetrahedron adds the triangle or the two that separate corners above the level from the others.
// Its corners are ordered so that (1−0)×(2−0)·(3−0) > 0 on a right-handed grid.
func (m *mesher) tetrahedron(c [4]corner) {
	var in, out []int
	for v := range c {
		if c[v].above >= 0 {
			in = append(in, v)
		} else {
			out = append(out, v)
		}
	}
	p := func(a, b int) int { return m.point(c[a], c[b]) }
	switch len(in) {
	case 1:
		m.triangle(p(in[0], out[0]), p(in[0], out[1]), p(in[0], out[2]), even(in[0], out[0], out[1], out[2]))
	case 3:
		m.triangle(p(in[0], out[0]), p(in[1], out[0]), p(in[2], out[0]), !even(out[0], in[0], in[1], in[2]))
	case 2:
		a, b, d, e := p(in[0], out[0]), p(in[0], out[1]), p(in[1], out[1]), p(in[1], out[0])
		turn := even(in[0], in[1], out[0], out[1])
		m.triangle(a, b, d, turn)
		m.triangle(a, d, e, turn)
	}
}

// even reports whether (a, b, c, d) is an even permutation of 0, 1, 2, 3.
func even(a, b, c, d int) bool {
	p := [4]int{a, b, c, d}
	swaps := 0
	for i := range p {
		for j := i + 1; j < 4; j++ {
			if p[i] > p[j] {
				swaps++
			}
		}
	}
	return swaps%2 == 0
}

func (m *mesher) triangle(a, b, c int, forward bool) {
	if forward == m.flipped {
		b, c = c, b
	}
	m.out.Triangles = append(m.out.Triangles, [3]int{a, b, c})
}

// point returns the number of the point where the level lies between two corners.
func (m *mesher) point(a, b corner) int {
	if a.id > b.id {
		a, b = b, a
	}
	key := [2]int{a.id, b.id}
	if n, made := m.at[key]; made {
		return n
	}
	t := 0.5
	if !math.IsInf(a.above, 0) && !math.IsInf(b.above, 0) {
		t = a.above / (a.above - b.above)
		// Kept off the corners: points of two edges must not fall together, or triangles would
		// have no area.
		t = math.Min(1-1e-4, math.Max(1e-4, t))
	}
	pa, pb := m.place(a), m.place(b)
	n := len(m.out.Points)
	m.out.Points = append(m.out.Points, r3.Add(pa, r3.Scale(t, r3.Sub(pb, pa))))
	m.at[key] = n
	return n
}

func (m *mesher) place(c corner) r3.Vec {
	p := r3.Add(m.b.Origin, r3.Scale(float64(c.i), m.b.Step[0]))
	return r3.Add(r3.Add(p, r3.Scale(float64(c.j), m.b.Step[1])), r3.Scale(float64(c.k), m.b.Step[2]))
}

// ImplantSurface returns a virtual implant as a closed surface of 2·sides points on its two rims:
// a prism inside the cylinder or cone, whose faces lie at most radius·(1 − cos(π/sides)) within it.
func ImplantSurface(b measure.Implant, sides int) *measure.Surface {
	sides = max(3, sides)
	axis := r3.Unit(b.Axis)
	x := r3.Cross(axis, r3.Vec{X: 1})
	if r3.Norm(x) < 0.5 {
		x = r3.Cross(axis, r3.Vec{Y: 1})
	}
	x = r3.Unit(x)
	y := r3.Cross(axis, x)
	apex := b.ApexDiameter
	if apex == 0 {
		apex = b.Diameter
	}
	tip := r3.Add(b.Platform, r3.Scale(b.Length, axis))
	out := &measure.Surface{Points: []r3.Vec{b.Platform, tip}}
	for n := range sides {
		sin, cos := math.Sincos(2 * math.Pi * float64(n) / float64(sides))
		side := r3.Add(r3.Scale(cos, x), r3.Scale(sin, y))
		out.Points = append(out.Points, r3.Add(b.Platform, r3.Scale(b.Diameter/2, side)), r3.Add(tip, r3.Scale(apex/2, side)))
	}
	for n := range sides {
		a, c := 2+2*n, 2+2*((n+1)%sides)
		out.Triangles = append(out.Triangles, [3]int{0, c, a}, [3]int{1, a + 1, c + 1}, [3]int{a, c, c + 1}, [3]int{a, c + 1, a + 1})
	}
	return out
}
