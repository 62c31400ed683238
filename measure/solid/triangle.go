package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Triangle is one facet of a surface, or a segment where two of its corners are one; mm.
type Triangle [3]r3.Vec

// Nearest returns the point of the triangle nearest to x, mm, and its barycentric coordinates.
//
// Source: Ericson C. Real-Time Collision Detection, 2005, 5.1.5 (the regions; from memory).
func (t *Triangle) Nearest(x r3.Vec) (r3.Vec, [3]float64) {
	ab, ac, ax := r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]), r3.Sub(x, t[0])
	d1, d2 := r3.Dot(ab, ax), r3.Dot(ac, ax)
	if d1 <= 0 && d2 <= 0 {
		return t[0], [3]float64{1, 0, 0}
	}
	bx := r3.Sub(x, t[1])
	d3, d4 := r3.Dot(ab, bx), r3.Dot(ac, bx)
	if d3 >= 0 && d4 <= d3 {
		return t[1], [3]float64{0, 1, 0}
	}
	cx := r3.Sub(x, t[2])
	d5, d6 := r3.Dot(ab, cx), r3.Dot(ac, cx)
	if d6 >= 0 && d5 <= d6 {
		return t[2], [3]float64{0, 0, 1}
	}
	n := r3.Cross(ab, ac)
	va, vb, vc := r3.Dot(n, r3.Cross(bx, cx)), r3.Dot(n, r3.Cross(cx, ax)), r3.Dot(n, r3.Cross(ax, bx))
	if va > 0 && vb > 0 && vc > 0 {
		s := va + vb + vc
		w := [3]float64{va / s, vb / s, vc / s}
		return t.point(w), w
	}
	return t.nearestEdge(x)
}

func (t *Triangle) nearestEdge(x r3.Vec) (p r3.Vec, w [3]float64) {
	least := math.Inf(1)
	for i := range 3 {
		j := (i + 1) % 3
		e := r3.Sub(t[j], t[i])
		s := 0.0
		if l := r3.Norm2(e); l > 0 {
			s = min(max(r3.Dot(r3.Sub(x, t[i]), e)/l, 0), 1)
		}
		q := r3.Add(t[i], r3.Scale(s, e))
		if d := r3.Norm2(r3.Sub(x, q)); d < least {
			least, p, w = d, q, [3]float64{}
			w[i], w[j] = 1-s, s
		}
	}
	return p, w
}

func (t *Triangle) point(w [3]float64) r3.Vec {
	return r3.Add(r3.Add(r3.Scale(w[0], t[0]), r3.Scale(w[1], t[1])), r3.Scale(w[2], t[2]))
}

func (t *Triangle) signed(x r3.Vec) (float64, r3.Vec) {
	p, _ := t.Nearest(x)
	v := r3.Sub(x, p)
	d := length(v)
	if d == 0 {
		return 0, r3.Vec{}
	}
	return d, r3.Scale(1/d, v)
}

func (t *Triangle) edge(i int) roundCone { return newRoundCone(t[i], t[(i+1)%3], 0, 0) }

func (t *Triangle) box() box { return ballBox(t[0], 0).with(ballBox(t[1], 0)).with(ballBox(t[2], 0)) }

// coneTriangle returns the gap between a frustum and a triangle; a distance of −0 or less
// says that they meet and is no depth. Beyond stop (mm) it is anything no less than stop.
//
// The triangle's nearest point lies on an edge (three line searches), or inside it: then the frustum's
// furthest point towards the triangle's plane has its foot in the triangle. Any one such point
// will do: where there are many and an edge runs under some, that edge is as near.
func coneTriangle(f *flatCone, t *Triangle, stop float64) Gap {
	best := Gap{Distance: math.Inf(1)}
	if d := lowerBound(f, t); d > stop {
		return Gap{Distance: d}
	}
	for i := range 3 {
		e := t.edge(i)
		if g := lineSearch(&e, f, math.Inf(-1), min(stop, best.Distance)).swapped(); g.Distance < best.Distance {
			best = g
		}
		if best.Distance <= 0 {
			return best
		}
	}
	n := r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))
	if r3.Norm2(n) == 0 {
		return best
	}
	n = unit(n)
	level := r3.Dot(n, t[0])
	low, high := f.support(r3.Scale(-1, n)), f.support(n)
	below, above := r3.Dot(low, n)-level, r3.Dot(high, n)-level
	foot, d := low, below
	switch {
	case above < 0:
		foot, d = high, -above
	case below <= 0: // the plane cuts the frustum: one point of the cut decides
		foot, d = r3.Add(low, r3.Scale(below/(below-above), r3.Sub(high, low))), 0
		if below == above {
			foot = low
		}
	}
	if p, w := t.Nearest(foot); w[0] > 0 && w[1] > 0 && w[2] > 0 && d < best.Distance {
		return Gap{Distance: d, Near: [2]r3.Vec{foot, p}}
	}
	return best
}

// lowerBound returns a lower bound of the distance, mm, from the ball around the triangle's centre.
func lowerBound(f *flatCone, t *Triangle) float64 {
	c := r3.Scale(1.0/3, r3.Add(r3.Add(t[0], t[1]), t[2]))
	d, _ := f.signed(c)
	return d - math.Sqrt(max(r3.Norm2(r3.Sub(t[0], c)), r3.Norm2(r3.Sub(t[1], c)), r3.Norm2(r3.Sub(t[2], c))))
}

// triangles returns the gap between two triangles; 0 where they meet. The nearest points of two
// triangles apart lie on a corner and a face, or on two edges.
func triangles(s, t *Triangle) Gap {
	best := Gap{Distance: math.Inf(1)}
	keep := func(g Gap) {
		if g.Distance < best.Distance {
			best = g
		}
	}
	for i := range 3 {
		p, _ := t.Nearest(s[i])
		keep(gapOf(s[i], p))
		q, _ := s.Nearest(t[i])
		keep(gapOf(q, t[i]))
		es, et := s.edge(i), t.edge(i)
		keep(piercing(es, t))
		keep(piercing(et, s))
		for j := range 3 {
			e := t.edge(j)
			keep(lineSearch(&es, &e, math.Inf(-1), best.Distance))
		}
	}
	best.Distance = max(best.Distance, 0)
	return best
}

// piercing returns a gap of 0 where the edge runs through the triangle, else an infinite one.
func piercing(e roundCone, t *Triangle) Gap {
	n := r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))
	b, _ := e.at(e.l)
	da, db := r3.Dot(n, r3.Sub(e.a, t[0])), r3.Dot(n, r3.Sub(b, t[0]))
	if da*db > 0 || da == db {
		return Gap{Distance: math.Inf(1)}
	}
	x := r3.Add(e.a, r3.Scale(da/(da-db), r3.Sub(b, e.a)))
	p, w := t.Nearest(x)
	if w[0] > 0 && w[1] > 0 && w[2] > 0 {
		return Gap{Near: [2]r3.Vec{x, p}}
	}
	return Gap{Distance: math.Inf(1)}
}
