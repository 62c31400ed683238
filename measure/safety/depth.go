package safety

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// overlap returns the gap between two convex bodies that meet: minus the length of the least
// translation that separates them, and the points that part last.
//
//	depth = min over unit n of  h(n) = support of (A − B) along n
//
// A polytope of support points grows inside A − B: its nearest face bounds the depth from below,
// h of that face's normal from above. Growth ends when the two agree to 1e-9 mm, or after
// 300 support points: then a ring of directions is equally good, or nearly (an implant in another's
// axis), and the best of them is followed downhill. Either way the value is a translation that
// separates; tested to 1e-6 mm against the least.
//
// Method: expanding polytope (van den Bergen G. Proc Game Developers Conf 2001; from memory).
func overlap(a, b convex) Gap {
	p, ok := startPolytope(a, b)
	if !ok {
		return Gap{}
	}
	depth, n := math.Inf(1), r3.Vec{}
	var face hullFace
	for range 300 {
		i := p.nearestFace()
		if i < 0 {
			break
		}
		face = p.faces[i]
		v := pick(a, b, face.n)
		h := r3.Dot(v.w, face.n)
		if h < depth {
			depth, n = h, face.n
		}
		if h-face.d <= 1e-9 {
			return Gap{Distance: -h, Near: p.witness(face.d)}
		}
		if !p.grow(v) {
			break
		}
	}
	for _, m := range guesses(a, b) {
		if h := r3.Dot(pick(a, b, m).w, m); h < depth {
			depth, n = h, m
		}
	}
	depth, n = downhill(a, b, depth, n)
	at := p.witness(face.d)[0]
	return Gap{Distance: -depth, Near: [2]r3.Vec{at, r3.Sub(at, r3.Scale(depth, n))}}
}

// guesses returns the normals of both bodies' faces in the planes that hold their own axis and the
// other's middle. Where the axes are parallel, the least way out is along one of them.
func guesses(a, b convex) []r3.Vec {
	ca, fa := a.normals()
	cb, fb := b.normals()
	out := fa(r3.Sub(cb, ca))
	for _, m := range fb(r3.Sub(ca, cb)) {
		out = append(out, r3.Scale(-1, m))
	}
	return out
}

// sideNormals returns ±axis and the normals, across·e + along·axis, of a body of revolution on
// both sides of the plane that holds its axis and the direction d.
func sideNormals(axis, d r3.Vec, across, along float64) []r3.Vec {
	out := []r3.Vec{axis, r3.Scale(-1, axis)}
	e := r3.Sub(d, r3.Scale(r3.Dot(d, axis), axis))
	if length(e) == 0 {
		return out
	}
	e = unit(e)
	for _, way := range []float64{1, -1} {
		out = append(out, r3.Add(r3.Scale(way*across, e), r3.Scale(along, axis)))
	}
	return out
}

// downhill follows h(n) from n to a minimum nearby: steps in eight directions on the sphere,
// turned every time because creases of h run anywhere, halved when four turns in a row lead
// nowhere.
func downhill(a, b convex, h float64, n r3.Vec) (float64, r3.Vec) {
	step, failed := 0.05, 0
	for i := 0; i < 1500 && step > 1e-8; i++ {
		u := across(n)
		w := r3.Cross(n, u)
		best, at := h, n
		for k := range 8 {
			s, c := math.Sincos(float64(k)*math.Pi/4 + float64(i))
			m := unit(r3.Add(n, r3.Add(r3.Scale(step*c, u), r3.Scale(step*s, w))))
			if g := r3.Dot(pick(a, b, m).w, m); g < best {
				best, at = g, m
			}
		}
		if failed++; best < h-1e-3*step*step {
			failed = 0
		}
		if failed == 4 {
			step, failed = step/2, 0
		}
		h, n = best, at
	}
	return h, n
}

// polytope is a convex hull of support points of A − B.
type polytope struct {
	vertices []vertex
	faces    []hullFace
}

type hullFace struct {
	v [3]int
	n r3.Vec  // outward unit normal
	d float64 // distance of its plane from the origin along n, mm
}

// startPolytope returns a tetrahedron of support points.
func startPolytope(a, b convex) (*polytope, bool) {
	p := &polytope{}
	x := r3.Vec{X: 1}
	p.vertices = append(p.vertices, pick(a, b, x), pick(a, b, r3.Scale(-1, x)))
	line := r3.Sub(p.vertices[1].w, p.vertices[0].w)
	if length(line) == 0 {
		return nil, false
	}
	side := across(unit(line))
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
	u, v := pick(a, b, d), pick(a, b, r3.Scale(-1, d))
	if off(r3.Sub(v.w, p.vertices[0].w)) > off(r3.Sub(u.w, p.vertices[0].w)) {
		u = v
	}
	p.vertices = append(p.vertices, u)
}

// face returns a face through three vertices; a sliver lies infinitely far out, so that
// nobody looks behind it.
func (p *polytope) face(v [3]int) hullFace {
	o := p.vertices[v[0]].w
	n := r3.Cross(r3.Sub(p.vertices[v[1]].w, o), r3.Sub(p.vertices[v[2]].w, o))
	l := length(n)
	if l < 1e-18 {
		return hullFace{v: v, d: math.Inf(1)}
	}
	n = r3.Scale(1/l, n)
	return hullFace{v, n, r3.Dot(n, o)}
}

func (p *polytope) nearestFace() int {
	at, least := -1, math.Inf(1)
	for i := range p.faces {
		if p.faces[i].d < least {
			at, least = i, p.faces[i].d
		}
	}
	return at
}

// grow adds a vertex: the faces that see it go, and their rim is joined to it. It returns
// false, and changes nothing, when no face sees it or rounding has torn the rim.
func (p *polytope) grow(v vertex) bool {
	var kept []hullFace
	var rim [][2]int
	for _, f := range p.faces {
		if !(r3.Dot(f.n, v.w)-f.d > 1e-12) {
			kept = append(kept, f)
			continue
		}
		for i := range 3 {
			rim = toggle(rim, f.v[i], f.v[(i+1)%3])
		}
	}
	if !isLoop(rim) {
		return false
	}
	p.faces = kept
	p.vertices = append(p.vertices, v)
	for _, e := range rim {
		p.faces = append(p.faces, p.face([3]int{e[0], e[1], len(p.vertices) - 1}))
	}
	return true
}

// toggle adds the edge a→b to the rim, or takes b→a out of it.
func toggle(rim [][2]int, a, b int) [][2]int {
	for i, e := range rim {
		if e == [2]int{b, a} {
			rim[i] = rim[len(rim)-1]
			return rim[:len(rim)-1]
		}
	}
	return append(rim, [2]int{a, b})
}

// isLoop puts the edges of the rim in order and says whether they make one loop that
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

// witness returns the points of the two bodies that meet at the polytope's point nearest to the
// origin, d being the distance of the nearest face. Where several faces share a plane, only
// one of them holds that point.
func (p *polytope) witness(d float64) (at [2]r3.Vec) {
	least := math.Inf(1)
	for i := range p.faces {
		if !(p.faces[i].d <= d+1e-9) {
			continue
		}
		f := p.faces[i].v
		u, v, w := p.vertices[f[0]], p.vertices[f[1]], p.vertices[f[2]]
		t := triangle{u.w, v.w, w.w}
		x, k := t.nearest(r3.Vec{})
		if l := r3.Norm2(x); l < least {
			ta, tb := triangle{u.a, v.a, w.a}, triangle{u.b, v.b, w.b}
			least, at = l, [2]r3.Vec{ta.point(k), tb.point(k)}
		}
	}
	return at
}
