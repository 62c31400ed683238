package ridge

import (
	"fmt"
	"sync"

	"ridgerule/measure/reformat"
)

// Ridge is the bone at a site as numbers are measured on it: an outline whose edges are fitted to the voxels, with what the
// series has taught, where a number needs one. Only [Outline.Weigh] and [Outline.Fit] make it, so that no number
// comes before its outline. Many may ask it at once.
type Ridge struct {
	*Outline

	site  siteTrust
	dense func() []Body // looked for once

	mu    sync.Mutex
	walls []*Wall // fitted so far
}

// Fit returns the ridge that the outline bounds. Nothing is held against the image there: a site's own numbers come from
// [Outline.Weigh].
func (o *Outline) Fit() *Ridge {
	return &Ridge{Outline: o, dense: sync.OnceValue(func() []Body { return o.holding(denseParts(o.seen, o.tissue)) })}
}

// Weigh returns the ridge that the outline bounds, the image there judged by walls fitted without knowledge of the series:
// what disturbs it is in the numbers' U.
func (o *Outline) Weigh() *Ridge {
	bare := *o
	bare.tissue = Tissue{}
	judge, r := bare.Fit(), o.Fit()
	judge.sample()
	judge.weigh()
	r.site = judge.site
	return r
}

// wall returns a fitted wall near p with inward normal about in: one that was fitted before, or a
// new one: of two that lie as near the one that was asked for first serves both.
func (o *Ridge) wall(p, in reformat.UV) (*Wall, error) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, w := range o.walls {
		if w.near(p) && dot(w.in, in) > 0.9 { // 26° apart: past that it is another wall; our choice
			return w, nil
		}
	}
	w, err := FitWall(o.field, p, in, o.depthFrom(p, in), o.tissue)
	if err != nil {
		return nil, err
	}
	o.walls = append(o.walls, w)
	return w, nil
}

// edge refines crossing h of the line p + s·d on its fitted wall.
func (o *Ridge) edge(p, d reformat.UV, h hit) (crossing, *Wall, error) {
	at := add(p, scale(h.s, d))
	w, err := o.wall(at, h.in)
	if err != nil {
		return crossing{}, nil, err
	}
	c, ok := w.outer(p, d)
	if !ok || norm(sub(c.at, at)) > 1.2*w.reach { // past its patch a wall is a guess; our choice
		return crossing{}, nil, fmt.Errorf("%w: (%.2f, %.2f) mm: the line runs along the surface", ErrNoEdge, at.U, at.V)
	}
	if err := o.trusted(w); err != nil {
		return crossing{}, nil, err
	}
	return c, w, nil
}

// outerEdge is edge where only the bone's outer surface is asked for. A cortex thicker than its surface's radius of curvature,
// as at the base of a jaw, has its inner surface past the centre of curvature, where the layers' model has no depth: fitted
// with it the outer one comes out too flat. It is fitted alone where the inner one lies deep enough not to touch it.
func (o *Ridge) outerEdge(p, d reformat.UV, h hit) (crossing, *Wall, error) {
	c, w, err := o.edge(p, d, h)
	if err != nil || !w.plate || !w.p.deep(fitScale(o.field)) {
		return c, w, err
	}
	how := thorough
	how.alone = true
	alone, err := fitWall(o.field, c.at, w.in, o.depthFrom(c.at, w.in), o.tissue, how)
	if err != nil || o.trusted(alone) != nil {
		return c, w, nil
	}
	if at, ok := alone.outer(p, d); ok {
		return at, alone, nil
	}
	return c, w, nil
}
