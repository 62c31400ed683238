package solid

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// polytope is a convex hull of support points of A − B.
type polytope struct {
	vertices []vertex
	faces    []hullFace
}

type hullFace struct {
	v [3]int
	n r3.Vec  // outward unit normal
	d float64 // distance of its plane from the origin along n, mm

	final bool // nothing can be added behind it
}

// startPolytope returns a tetrahedron of support points.
func startPolytope(a, b convex) (*polytope, bool) {
	p := &polytope{}
	x := r3.Vec{X: 1}
	p.vertices = append(p.vertices, supportVertex(a, b, x), supportVertex(a, b, r3.Scale(-1, x)))
	line := r3.Sub(p.vertices[1].w, p.vertices[0].w)
	if length(line) == 0 {
		return nil, false
	}
	side := Across(unit(line))
	p.add(a, b, side, func(w r3.Vec) float64 { return length(r3.Cross(w, unit(line))) })
	n := r3.Cross(line, r3.Sub(p.vertices[2].w, p.vertices[0].w))
	if length(n) == 0 {
		return nil, false
	}
	n = unit(n)
	p.add(a, b, n, func(w r3.Vec) float64 { return math.Abs(r3.Dot(w, n)) })
	for _, f := range [4][3]int{{0, 1, 2}, {0, 3, 1}, {1, 3, 2}, {2, 3, 0}} {
		p.faces = append(p.faces, p.face(f))
	}
	for i, opposite := range [4]int{3, 2, 0, 1} {
		f := &p.faces[i]
		if r3.Dot(f.n, p.vertices[opposite].w) > f.d {
			*f = p.face([3]int{f.v[0], f.v[2], f.v[1]})
		}
	}
	return p, true
}

// add appends the support point along ±d that lies further off by the measure.
func (p *polytope) add(a, b convex, d r3.Vec, off func(r3.Vec) float64) {
	u, v := supportVertex(a, b, d), supportVertex(a, b, r3.Scale(-1, d))
	if off(r3.Sub(v.w, p.vertices[0].w)) > off(r3.Sub(u.w, p.vertices[0].w)) {
		u = v
	}
	p.vertices = append(p.vertices, u)
}

// face returns a face through three vertices; one without an area counts as infinitely far out, so
// that nothing is added behind it.
func (p *polytope) face(v [3]int) hullFace {
	o := p.vertices[v[0]].w
	n := r3.Cross(r3.Sub(p.vertices[v[1]].w, o), r3.Sub(p.vertices[v[2]].w, o))
	l := length(n)
	if l < 1e-18 {
		return hullFace{v: v, d: math.Inf(1)}
	}
	n = r3.Scale(1/l, n)
	return hullFace{v: v, n: n, d: r3.Dot(n, o)}
}

func (p *polytope) nearestFace() int {
	at, least := -1, math.Inf(1)
	for i := range p.faces {
		if f := &p.faces[i]; f.d < least && !f.final {
			at, least = i, f.d
		}
	}
	return at
}

// grow adds a vertex: face i and the faces around it that see the vertex go, and their rim is joined
// to it. Where rounding leaves no closed rim nothing changes, but face i is final.
func (p *polytope) grow(v vertex, i int) {
	var seeing []int
	for j, f := range p.faces {
		if j != i && r3.Dot(f.n, v.w)-f.d > 1e-12 {
			seeing = append(seeing, j)
		}
	}
	rim := toggleEdges(nil, p.faces[i].v)
	gone := map[int]bool{i: true}
	for spread := true; spread; {
		spread = false
		for _, j := range seeing {
			if f := p.faces[j].v; !gone[j] && sharesEdge(rim, f) {
				rim, gone[j], spread = toggleEdges(rim, f), true, true
			}
		}
	}
	if !isLoop(rim) {
		p.faces[i].final = true
		return
	}
	var kept []hullFace
	for j, f := range p.faces {
		if !gone[j] {
			kept = append(kept, f)
		}
	}
	p.vertices = append(p.vertices, v)
	for _, e := range rim {
		kept = append(kept, p.face([3]int{e[0], e[1], len(p.vertices) - 1}))
	}
	p.faces = kept
}

// sharesEdge reports whether a face has an edge on the rim.
func sharesEdge(rim [][2]int, f [3]int) bool {
	for i := range 3 {
		if slices.Contains(rim, [2]int{f[(i+1)%3], f[i]}) {
			return true
		}
	}
	return false
}

// toggleEdges toggles the three edges of a face.
func toggleEdges(rim [][2]int, f [3]int) [][2]int {
	for i := range 3 {
		rim = toggleEdge(rim, f[i], f[(i+1)%3])
	}
	return rim
}

// toggleEdge adds the edge a→b to the rim, or takes b→a out of it.
func toggleEdge(rim [][2]int, a, b int) [][2]int {
	for i, e := range rim {
		if e == [2]int{b, a} {
			rim[i] = rim[len(rim)-1]
			return rim[:len(rim)-1]
		}
	}
	return append(rim, [2]int{a, b})
}

// isLoop puts the edges of the rim in order and reports whether they make one loop that
// meets no corner twice.
func isLoop(rim [][2]int) bool {
	for i := range rim {
		next := -1
		for j := i + 1; j < len(rim); j++ {
			if rim[j][0] == rim[i][0] {
				return false
			}
			if rim[j][0] == rim[i][1] {
				next = j
			}
		}
		switch {
		case i == len(rim)-1:
			return rim[i][1] == rim[0][0]
		case next < 0:
			return false
		}
		rim[i+1], rim[next] = rim[next], rim[i+1]
	}
	return false
}

// contactPoints returns the points of the two bodies that meet at the polytope's point nearest to the
// origin, d being the distance of the nearest face. Where several faces share a plane, only
// one of them holds that point.
func (p *polytope) contactPoints(d float64) (at [2]r3.Vec) {
	least := math.Inf(1)
	for i := range p.faces {
		if !(p.faces[i].d <= d+1e-9) {
			continue
		}
		f := p.faces[i].v
		u, v, w := p.vertices[f[0]], p.vertices[f[1]], p.vertices[f[2]]
		t := Triangle{u.w, v.w, w.w}
		x, k := t.Nearest(r3.Vec{})
		if l := r3.Norm2(x); l < least {
			ta, tb := Triangle{u.a, v.a, w.a}, Triangle{u.b, v.b, w.b}
			least, at = l, [2]r3.Vec{ta.point(k), tb.point(k)}
		}
	}
	return at
}
