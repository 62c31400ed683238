package ridge

import (
	"fmt"
	"math"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Surface is what part of the bone's surface a line leaves it through.
type Surface int

// The surfaces. The base is where the outward normal lies within 45° of the line: the method's definition.
const (
	Base Surface = iota
	BuccalWall
	LingualWall
)

// BoneEnd is where the axis leaves the bone.
type BoneEnd struct {
	uncertainty.Length             // from the crest along the axis, mm: a height only where Through is Base
	At                 reformat.UV // section mm
	Through            Surface
}

// inBone is how far below the crest the line to the far end begins, mm: more than a fitted crest's error, less than any bone is
// high. It moves no end.
const inBone = 0.3

// End returns where the axis leaves the outline at its far end, through which surface, and the length from
// the crest to it with its budget, in mm. It returns [ErrNoEnd] where the field ends first.
func (o *Ridge) End(a Axis, h Placement) (BoneEnd, error) {
	in := a.At(inBone)
	_, b, ok := o.span(in, a.Dir)
	if !ok {
		return BoneEnd{}, fmt.Errorf("height: %w", ErrNoWidth)
	}
	if at := add(in, scale(b.s, a.Dir)); o.cutNear(at) {
		return BoneEnd{At: at}, ErrNoEnd
	}
	c, w, err := o.outerEdge(in, a.Dir, b)
	if err != nil {
		return BoneEnd{}, fmt.Errorf("height: %w", err)
	}
	value := dot(sub(c.at, a.Crest), a.Dir)
	budget := append(o.HeightBudget(a, value, a.farOn(w, c), h),
		uncertainty.Term{Name: "edge noise, base", Std: c.sd},
		uncertainty.Term{Name: "edge rule, base", Std: o.ruleTerm(w, c)})
	return BoneEnd{uncertainty.Length{Value: value, Budget: budget}, c.at, a.through(w.outwardAt(c.at))}, nil
}

// through returns the surface whose outward normal (unit) this is.
func (a Axis) through(normal reformat.UV) Surface {
	switch {
	case dot(normal, a.Dir) >= math.Sqrt2/2:
		return Base
	case dot(normal, a.Side()) > 0:
		return BuccalWall
	}
	return LingualWall
}

// Far is how the far end of a height moves with its section.
type Far struct {
	At      reformat.UV // where it is, section mm
	Slope   float64     // how far it comes up along the axis per mm along the arch (no unit)
	PerTurn float64     // by how much the height grows per radian of turn of the axis, mm
}

// farOn is the far end of a height on wall w.
func (a Axis) farOn(w *Wall, c crossing) Far {
	perTurn := a.PerTurn(func(t Axis) float64 {
		end, ok := w.outer(t.Crest, t.Dir)
		if !ok {
			return math.NaN()
		}
		return dot(sub(end.at, t.Crest), t.Dir)
	})
	return Far{At: c.at, Slope: w.p[pST] / c.square, PerTurn: perTurn}
}

// HeightBudget returns the terms that every height, mm, from this crest to a far end shares: the crest's
// edge, the axis, the section and the scale. The caller adds the far end's own terms.
//
// A section farther along the arch meets other heights of crest and far end, and another axis; one that
// is turned by φ meets a place u mm beside the curve φ·u farther along.
func (o *Ridge) HeightBudget(a Axis, height float64, far Far, h Placement) uncertainty.Budget {
	fall := a.crestSlope()
	return uncertainty.Budget{
		scaleTerm(height, h),
		o.crestTerm(a, 1),
		uncertainty.Moved("axis direction", math.Hypot(a.DirSD, h.Tilt), far.PerTurn),
		uncertainty.Moved("section place along the arch", h.Position, fall+far.Slope-far.PerTurn*a.DirAlong),
		uncertainty.Moved("section direction", h.Rotation, fall*a.Crest.U+far.Slope*far.At.U-far.PerTurn*a.DirTurn),
	}
}
