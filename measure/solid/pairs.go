package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// search descends both trees for the nearest pair of pieces, no further off than stop (mm). Where
// pieces meet it returns all the pairs that do (for surfaces: the first). It may end with the first
// gap below enough (mm) that it finds.
func (s *Shape) search(o *Shape, enough, stop float64) (Gap, [][2]int) {
	w := pairSearch{a: s, b: o, best: Gap{Distance: stop}, enough: enough, first: s.surface != nil || o.surface != nil}
	if w.bound(0, 0) <= stop {
		w.visit(0, 0)
	}
	return w.best, w.met
}

// pairSearch is a search for the nearest pair of pieces of two shapes.
type pairSearch struct {
	a, b   *Shape
	best   Gap
	met    [][2]int // the pairs that meet
	first  bool     // end with the first pair that meets
	enough float64  // end with the first gap below it, mm
}

func (w *pairSearch) done() bool { return w.first && len(w.met) > 0 || w.best.Distance < w.enough }

// bound returns a lower bound of the distance of what two nodes hold, mm: from their boxes, and
// where one body is a frustum from the ball around the other's box, which is tighter for a
// frustum that lies across the axes.
func (w *pairSearch) bound(i, j int) float64 {
	p, q := &w.a.tree.nodes[i], &w.b.tree.nodes[j]
	d := p.apart(&q.box)
	if d > w.best.Distance {
		return d
	}
	if f := w.a.cone; f != nil {
		e, _ := f.signed(q.middle)
		d = max(d, e-q.radius)
	}
	if f := w.b.cone; f != nil {
		e, _ := f.signed(p.middle)
		d = max(d, e-p.radius)
	}
	return d
}

// visit searches what two nodes hold; the larger node is split first.
func (w *pairSearch) visit(i, j int) {
	p, q := &w.a.tree.nodes[i], &w.b.tree.nodes[j]
	switch {
	case p.leaf() && q.leaf():
		w.leaves(p, q)
	case q.leaf() || !p.leaf() && p.size() > q.size():
		w.both([2]int{p.left, j}, [2]int{p.right, j})
	default:
		w.both([2]int{i, q.left}, [2]int{i, q.right})
	}
}

// both visits two pairs of nodes, the nearer first, unless they are too far.
func (w *pairSearch) both(x, y [2]int) {
	dx, dy := w.bound(x[0], x[1]), w.bound(y[0], y[1])
	if dy < dx {
		x, y, dx, dy = y, x, dy, dx
	}
	if dx <= w.best.Distance {
		w.visit(x[0], x[1])
	}
	if dy <= w.best.Distance && !w.done() {
		w.visit(y[0], y[1])
	}
}

// leaves compares every piece of one leaf with every piece of another.
func (w *pairSearch) leaves(p, q *node) {
	for _, i := range w.a.tree.order[p.from:p.to] {
		for _, j := range w.b.tree.order[q.from:q.to] {
			g := w.a.pair(w.b, i, j, w.enough, w.best.Distance)
			if g.Distance < 0 || g.Distance == 0 && w.first {
				w.met = append(w.met, [2]int{i, j})
				g.Distance = 0
			}
			if g.Distance < w.best.Distance {
				w.best = g
			}
		}
	}
}

// pair returns the gap between two pieces; below zero it says only that they meet.
func (s *Shape) pair(o *Shape, i, j int, enough, stop float64) Gap {
	switch {
	case s.chain != nil && o.chain != nil:
		return lineSearch(&s.chain[i], &o.chain[j], enough, stop)
	case s.chain != nil && o.cone != nil:
		return lineSearch(&s.chain[i], o.cone, enough, stop)
	case s.chain != nil:
		return lineSearch(&s.chain[i], &o.triangles[j], enough, stop)
	case s.cone != nil && o.cone != nil:
		g, ok := gjk(s.cone, o.cone, r3.Sub(o.cone.c, s.cone.c))
		if !ok {
			g.Distance = -1 // they meet; the depth is asked for later
		}
		return g
	case s.cone != nil && o.triangles != nil:
		return coneTriangle(s.cone, &o.triangles[j], stop)
	case s.triangles != nil && o.triangles != nil:
		return triangles(&s.triangles[i], &o.triangles[j])
	}
	return o.pair(s, j, i, enough, stop).swapped()
}

// depth returns the gap between two convex pieces that meet.
func (s *Shape) depth(o *Shape, i, j int) Gap {
	if s.chain != nil && s.chain[i].l == 0 {
		return s.pair(o, i, j, math.Inf(-1), math.Inf(1)) // a ball: its signed distance is the depth
	}
	if o.chain != nil && o.chain[j].l == 0 {
		return o.depth(s, j, i).swapped()
	}
	return overlap(s.convex(i), o.convex(j))
}

func (s *Shape) convex(i int) convex {
	if s.cone != nil {
		return s.cone
	}
	return &s.chain[i]
}
