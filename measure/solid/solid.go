// Package solid holds bodies and measures the distances between them exactly: flat-ended cones
// ([Frustum], an implant), chains of round-ended cones ([Chain], a canal or a root) and closed
// triangle surfaces ([Surface], a sinus).
//
// To ask for one distance, call [Distance]. To ask many of the same bodies, make each ready once
// with its Shape method and call [Shape.Gap]; a search over poses asks [Shape.Estimate], which
// may stop early. A surface comes from a file by [ReadSTL] and goes to one by [WriteSTL].
//
// All vectors are patient coordinates (LPS) in mm; nothing here knows what a body stands for.
//
// Files, callers first: solid (bodies, distances), pairs (which pieces are nearest), linesearch,
// gjk and triangle (two pieces apart), depth, polytope and surfacedepth (overlaps), surface, pieces,
// tree; sheet (surfaces that may be open); stl and stl_write.
package solid

import (
	"errors"
	"fmt"
	"math"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrBody says that numbers do not describe a body.
var ErrBody = errors.New("solid: not a body")

// Body is what a distance is measured between.
type Body interface {
	// Shape returns the body made ready for distances, or [ErrBody] for numbers that are none.
	Shape() (*Shape, error)
}

// Gap is the least surface-to-surface distance of two bodies and where it is.
type Gap struct {
	Distance float64   // mm; negative: the depth of the overlap, see [Distance]
	Near     [2]r3.Vec // the two nearest points, the first body's first, patient LPS, mm
}

func gapOf(a, b r3.Vec) Gap { return Gap{Distance: length(r3.Sub(a, b)), Near: [2]r3.Vec{a, b}} }

func (g Gap) swapped() Gap { return Gap{g.Distance, [2]r3.Vec{g.Near[1], g.Near[0]}} }

// Distance returns the least distance between the surfaces of two bodies and the two nearest
// points, to 1e-9 mm. Both bodies are solid. Where they overlap
// the distance is minus the depth of the overlap:
//
//   - two convex bodies (frusta, balls, single pieces of a chain): the length of the least
//     translation that separates them, to 1e-6 mm;
//   - a chain: the worst of its pieces, each piece a convex body;
//   - a closed surface: how deep the other body's deepest point lies below the surface, found
//     to 0.02 mm (two closed surfaces: the larger of both). A body wholly inside a closed
//     surface overlaps it.
//
// It fails for a body whose numbers cannot be a body ([ErrBody]).
func Distance(a, b Body) (Gap, error) {
	sa, err := a.Shape()
	if err != nil {
		return Gap{}, err
	}
	sb, err := b.Shape()
	if err != nil {
		return Gap{}, err
	}
	return sa.Gap(sb), nil
}

// Frustum is a flat-ended cylinder or truncated cone.
type Frustum struct {
	Base      r3.Vec  // centre of the first end, patient LPS, mm
	Axis      r3.Vec  // unit vector to the second end
	Length    float64 // mm
	Radius    float64 // of the first end, mm
	TipRadius float64 // of the second end, mm
}

// Shape returns [ErrBody] for numbers that are not finite, an axis that is no unit vector, and a
// length or radius that is not positive.
func (f Frustum) Shape() (*Shape, error) {
	switch {
	case !fit.Finite(f.Base, f.Axis, r3.Vec{X: f.Radius, Y: f.TipRadius, Z: f.Length}):
		return nil, fmt.Errorf("%w: a number that is not finite", ErrBody)
	case math.Abs(length(f.Axis)-1) > 1e-6:
		return nil, fmt.Errorf("%w: axis of length %g, want a unit vector", ErrBody, length(f.Axis))
	case !(f.Radius > 0 && f.TipRadius > 0 && f.Length > 0):
		return nil, fmt.Errorf("%w: radii %g and %g mm, length %g mm", ErrBody, f.Radius, f.TipRadius, f.Length)
	}
	c := newFlatCone(f)
	return &Shape{cone: &c, tree: newTree([]box{c.box()})}, nil
}

// Chain is a chain of round-ended cones; one point is a ball.
type Chain struct {
	Path  []r3.Vec  // patient LPS, mm
	Radii []float64 // mm, one a point; between points the radius changes linearly
}

// Shape returns [ErrBody] for an empty path, radii that are not one a point, and numbers that are
// not finite or radii below 0.
func (c Chain) Shape() (*Shape, error) {
	if len(c.Path) == 0 || len(c.Radii) != len(c.Path) {
		return nil, fmt.Errorf("%w: %d points and %d radii", ErrBody, len(c.Path), len(c.Radii))
	}
	for i, p := range c.Path {
		if r := c.Radii[i]; !fit.Finite(p) || !(r >= 0) || math.IsInf(r, 0) {
			return nil, fmt.Errorf("%w: point %d is (%g, %g, %g) with radius %g mm", ErrBody, i+1, p.X, p.Y, p.Z, r)
		}
	}
	out := &Shape{}
	var boxes []box
	for i := range max(len(c.Path)-1, 1) {
		j := min(i+1, len(c.Path)-1)
		piece := newRoundCone(c.Path[i], c.Path[j], c.Radii[i], c.Radii[j])
		out.chain = append(out.chain, piece)
		boxes = append(boxes, piece.box())
	}
	out.tree = newTree(boxes)
	return out, nil
}

// Shape is a body made ready for distances: pieces of one kind under a tree of boxes.
type Shape struct {
	cone      *flatCone
	chain     []roundCone
	triangles []Triangle
	surface   *Surface // the closed surface of the triangles
	tree      *tree
}

// Shape returns the shape itself.
func (s *Shape) Shape() (*Shape, error) { return s, nil }

// Gap is [Distance] of two bodies that were made ready.
func (s *Shape) Gap(o *Shape) Gap {
	best, met := s.search(o, math.Inf(-1), math.Inf(1))
	switch {
	case s.surface != nil || o.surface != nil:
		return s.surfaceGap(o, best)
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

// Estimate returns the distance of a frustum from a chain or a surface, in mm, as a search over poses
// needs it: exact from enough to stop, anything no more than enough nearer than that, anything no
// less than stop beyond. Where they overlap the depth is not worked out: instead of it stands the
// distance of the frustum's axis from the other's surface, negative inside, less the frustum's larger
// radius. It is negative and falls as the axis goes deeper.
func (s *Shape) Estimate(o *Shape, enough, stop float64) float64 {
	g, met := s.search(o, max(enough, 0), stop)
	if len(met) > 0 || o.contains(s) {
		return s.axisDepth(o)
	}
	return g.Distance
}
