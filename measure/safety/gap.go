package safety

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Gap is the least surface-to-surface distance of two bodies and where it is.
type Gap struct {
	Distance float64   // mm; negative: the depth of the overlap, see [Distance]
	Near     [2]r3.Vec // the two nearest points, the first body's first, patient LPS, mm
}

// Body is what a distance is measured between: an [Implant] or a [Structure].
type Body interface{ shape() (*shape, error) }

// Distance returns the least distance between the surfaces of two bodies and the two nearest
// points, to 1e-9 mm. Both bodies are solid. Where they overlap
// the distance is minus the depth of the overlap:
//
//   - two convex bodies (implants, spheres, single capsules): the length of the least
//     translation that separates them, to 1e-6 mm;
//   - a chain: the worst of its pieces, each piece a convex body;
//   - a closed surface: how deep the other body's deepest point lies below the surface, found
//     to 0.02 mm (two closed surfaces: the larger of both). A body wholly inside a closed
//     surface overlaps it.
//
// It fails for a body whose numbers cannot be a body ([ErrBody]).
func Distance(a, b Body) (Gap, error) {
	sa, err := a.shape()
	if err != nil {
		return Gap{}, err
	}
	sb, err := b.shape()
	if err != nil {
		return Gap{}, err
	}
	return sa.gap(sb), nil
}

// shape is a body made ready for distances: pieces under a tree of boxes.
type shape struct {
	frustum   *frustum
	cones     []roundCone
	triangles []triangle
	surface   *Surface // the closed surface of the triangles
	tree      *tree
}

func (im Implant) shape() (*shape, error) {
	if err := im.Validate(); err != nil {
		return nil, err
	}
	f := newFrustum(im)
	return &shape{frustum: &f, tree: newTree([]box{f.box()})}, nil
}

func (s Structure) shape() (*shape, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	if s.Surface != nil {
		return s.Surface.shape(), nil
	}
	out := &shape{}
	var boxes []box
	for i := range max(len(s.Path)-1, 1) {
		j := min(i+1, len(s.Path)-1)
		c := newRoundCone(s.Path[i], s.Path[j], s.Radii[i], s.Radii[j])
		out.cones = append(out.cones, c)
		boxes = append(boxes, c.box())
	}
	out.tree = newTree(boxes)
	return out, nil
}

// gap returns the gap between two shapes.
func (s *shape) gap(o *shape) Gap {
	best, met := s.search(o, math.Inf(-1), math.Inf(1))
	switch {
	case s.surface != nil || o.surface != nil:
		return s.sinks(o, best)
	case len(met) == 0:
		return best
	}
	worst := Gap{Distance: math.Inf(1)}
	for _, m := range met {
		if g := s.depth(o, m[0], m[1]); g.Distance < worst.Distance {
			worst = g
		}
	}
	return worst
}

// search walks both trees for the nearest pair of pieces, no further off than stop (mm). Where
// pieces meet it returns all the pairs that do (for surfaces: the first). It may end with the first
// gap below enough (mm) that it finds.
func (s *shape) search(o *shape, enough, stop float64) (Gap, [][2]int) {
	w := walk{a: s, b: o, best: Gap{Distance: stop}, enough: enough, first: s.surface != nil || o.surface != nil}
	if w.bound(0, 0) <= stop {
		w.visit(0, 0)
	}
	return w.best, w.met
}

type walk struct {
	a, b  *shape
	best  Gap
	met   [][2]int
	first bool // the first pair that meets is enough

	enough float64 // a gap below it is, too, mm
}

func (w *walk) done() bool { return w.first && len(w.met) > 0 || w.best.Distance < w.enough }

// bound returns a lower bound of the distance of what two nodes hold, mm: from their boxes, and
// where one body is an implant from the ball around the other's box, which is tighter for an
// implant that lies across the axes.
func (w *walk) bound(i, j int) float64 {
	p, q := &w.a.tree.nodes[i], &w.b.tree.nodes[j]
	d := p.apart(&q.box)
	if d > w.best.Distance {
		return d
	}
	if f := w.a.frustum; f != nil {
		e, _ := f.signed(q.middle)
		d = max(d, e-q.radius)
	}
	if f := w.b.frustum; f != nil {
		e, _ := f.signed(p.middle)
		d = max(d, e-p.radius)
	}
	return d
}

func (w *walk) visit(i, j int) {
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
func (w *walk) both(x, y [2]int) {
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

func (w *walk) leaves(p, q *node) {
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
func (s *shape) pair(o *shape, i, j int, enough, stop float64) Gap {
	switch {
	case s.cones != nil && o.cones != nil:
		return slideWithin(&s.cones[i], &o.cones[j], enough, stop)
	case s.cones != nil && o.frustum != nil:
		return slideWithin(&s.cones[i], o.frustum, enough, stop)
	case s.cones != nil:
		return slideWithin(&s.cones[i], &o.triangles[j], enough, stop)
	case s.frustum != nil && o.frustum != nil:
		g, ok := gjk(s.frustum, o.frustum, r3.Sub(o.frustum.c, s.frustum.c))
		if !ok {
			g.Distance = -1 // they meet; how deep is asked later
		}
		return g
	case s.frustum != nil && o.triangles != nil:
		return frustumTriangle(s.frustum, &o.triangles[j], stop)
	case s.triangles != nil && o.triangles != nil:
		return triangles(&s.triangles[i], &o.triangles[j])
	}
	return o.pair(s, j, i, enough, stop).swapped()
}

// depth returns the gap between two convex pieces that meet.
func (s *shape) depth(o *shape, i, j int) Gap {
	if s.cones != nil && s.cones[i].l == 0 {
		return s.pair(o, i, j, math.Inf(-1), math.Inf(1)) // a ball: its signed distance is the least way out
	}
	if o.cones != nil && o.cones[j].l == 0 {
		return o.depth(s, j, i).swapped()
	}
	return overlap(s.convex(i), o.convex(j))
}

func (s *shape) convex(i int) convex {
	if s.frustum != nil {
		return s.frustum
	}
	return &s.cones[i]
}

// apexDiameter returns the diameter at the apex, mm.
func (im Implant) apexDiameter() float64 {
	if im.ApexDiameter == 0 {
		return im.Diameter
	}
	return im.ApexDiameter
}

// Apex returns the centre of the apical end, patient LPS, mm.
func (im Implant) Apex() r3.Vec { return r3.Add(im.Platform, r3.Scale(im.Length, im.Axis)) }

// ErrBody says that numbers do not describe a body.
var ErrBody = fmt.Errorf("safety: not a body")

// Validate returns [ErrBody] for numbers that are no implant.
func (im Implant) Validate() error {
	switch {
	case !finite(im.Platform, im.Axis, r3.Vec{X: im.Diameter, Y: im.ApexDiameter, Z: im.Length}):
		return fmt.Errorf("%w: implant with a number that is not finite", ErrBody)
	case math.Abs(length(im.Axis)-1) > 1e-6:
		return fmt.Errorf("%w: implant axis of length %g, want a unit vector", ErrBody, length(im.Axis))
	case !(im.Diameter > 0 && im.Length > 0 && im.ApexDiameter >= 0):
		return fmt.Errorf("%w: implant of diameter %g, apex diameter %g, length %g mm", ErrBody, im.Diameter, im.ApexDiameter, im.Length)
	}
	return nil
}

// Validate returns [ErrBody] for a path, radii or a surface that are no structure.
func (s Structure) Validate() error {
	switch {
	case s.Surface != nil && len(s.Path) > 0:
		return fmt.Errorf("%w: structure %q has both a path and a surface", ErrBody, s.Name)
	case s.Surface != nil:
		if err := s.Surface.Validate(); err != nil {
			return fmt.Errorf("structure %q: %w", s.Name, err)
		}
		return nil
	case len(s.Path) == 0 || len(s.Radii) != len(s.Path):
		return fmt.Errorf("%w: structure %q has %d points and %d radii", ErrBody, s.Name, len(s.Path), len(s.Radii))
	}
	for i, p := range s.Path {
		if r := s.Radii[i]; !finite(p) || !(r >= 0) || math.IsInf(r, 0) {
			return fmt.Errorf("%w: structure %q, point %d is (%g, %g, %g) with radius %g mm", ErrBody, s.Name, i+1, p.X, p.Y, p.Z, r)
		}
	}
	return nil
}
