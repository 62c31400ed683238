package ridge

import (
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/reformat"
)

// Edge is a place on a fitted edge of bone.
type Edge struct {
	At     reformat.UV // section mm
	Normal reformat.UV // unit, out of the bone through its outer surface
	Std    float64     // standard uncertainty of the place square to the edge, mm
	Inner  bool        // it is the plate's inner surface
}

// EdgeNear returns the fitted edge nearest to p, of the bone's outer surface or of its plate's inner one, at the foot of p on
// it. It returns [ErrNoEdge] (wrapped) where none lies within most mm, where the field ends before the bone does, and where
// none can be fitted; [ErrDisturbed] where it cannot be believed.
func (o *Ridge) EdgeNear(p reformat.UV, most float64) (Edge, error) {
	q, out, away := o.foot(p)
	if away > most+patchInside { // the inner surface lies no deeper than a fit looks
		return Edge{}, fmt.Errorf("%w: (%.2f, %.2f) mm: the bone's surface is %.1f mm away", ErrNoEdge, p.U, p.V, away)
	}
	if o.cutNear(q) {
		return Edge{}, fmt.Errorf("%w: the field ends before the bone does", ErrNoEdge)
	}
	c, w, err := o.edge(q, scale(-1, out), hit{in: scale(-1, out)})
	if err != nil {
		return Edge{}, err
	}
	out = w.outwardAt(c.at)
	best := Edge{Std: math.Inf(1)}
	near := most
	take := func(c crossing, ok, inner bool, more float64) {
		if d := norm(sub(c.at, p)); ok && d <= near {
			near, best = d, Edge{At: c.at, Normal: out, Std: math.Hypot(math.Hypot(c.sd, o.ruleTerm(w, c)), more), Inner: inner}
		}
	}
	outer, ok := w.outer(p, out)
	take(outer, ok, false, 0)
	inner, ok := w.inner(p, out)
	take(inner, ok, true, w.marrowTerm())
	if math.IsInf(best.Std, 1) {
		return Edge{}, fmt.Errorf("%w: (%.2f, %.2f) mm: none within %.1f mm", ErrNoEdge, p.U, p.V, most)
	}
	return best, nil
}

// Clone returns a ridge to which what was asked of this one is known, and nothing that is asked of either later.
func (o *Ridge) Clone() *Ridge {
	o.mu.Lock()
	defer o.mu.Unlock()
	return &Ridge{Outline: o.Outline, site: o.site, dense: o.dense, walls: slices.Clone(o.walls)}
}

// foot returns the outline's point nearest to p, the outward normal there, and how far it is, mm.
func (o *Outline) foot(p reformat.UV) (at, out reformat.UV, away float64) {
	away = math.Inf(1)
	for i, a := range o.Points {
		next := (i + 1) % len(o.Points)
		d := sub(o.Points[next], a)
		f := math.Max(0, math.Min(1, dot(sub(p, a), d)/math.Max(dot(d, d), 1e-12)))
		q := add(a, scale(f, d))
		if x := norm(sub(p, q)); x < away {
			at, away = q, x
			out = unit(add(scale(1-f, o.outward(i)), scale(f, o.outward(next))))
		}
	}
	return at, out, away
}
