package ridge

import (
	"fmt"
	"math"

	"ridgerule/measure/uncertainty"
)

// usableRun is how far the ridge must stay wide enough below the usable crest, mm: the method's
// definition.
const usableRun = 3.0

// UsableCrest returns the least depth below the crest from which the width is at least want mm
// onward for 3 mm, with its budget, in mm. It returns [ErrNoWidth] (wrapped) where the ridge is
// nowhere that wide for that long.
func (o *Ridge) UsableCrest(a Axis, want float64, h Placement) (uncertainty.Length, error) {
	const step = 0.1
	reach := o.reach(a)
	first, run := -1.0, 0.0
	for d := 0.0; d < reach; d += step {
		x, y, ok := o.span(a.At(d), a.Side())
		if !ok || y.s-x.s < want {
			first = -1
			continue
		}
		if first < 0 {
			first = d
		}
		if run = d - first; run >= usableRun {
			break
		}
	}
	if first < 0 || run < usableRun-step {
		return uncertainty.Length{}, fmt.Errorf("%w: nowhere %g mm wide for %g mm of height", ErrNoWidth, want, usableRun)
	}
	return o.fineUsable(a, want, first, h), nil
}

// fineUsable refines the depth on fitted chords by the secant method. What makes the width too large makes
// the depth too small, by the width's growth with depth.
func (o *Ridge) fineUsable(a Axis, want, depth float64, h Placement) uncertainty.Length {
	out := uncertainty.Length{Value: depth, Budget: uncertainty.Budget{{Name: "outline", Std: 0.1}}}
	for range 6 {
		w, err := o.Width(a, depth, h)
		if err != nil {
			return out
		}
		c, err := o.chord(a.At(depth), a.Side())
		if err != nil {
			return out
		}
		slope := math.Max(0.1, o.slope(a, depth, c)) // mm a mm: a ridge that hardly widens has no depth surer than ten times its width; our choice
		next := math.Max(0, depth-(w.Value-want)/slope)
		if math.Abs(next-depth) > 1 {
			return out
		}
		out = uncertainty.Length{Value: next, Budget: w.Budget.Scaled(-1 / slope)}
		if math.Abs(next-depth) < 1e-4 { // mm: no number shows it
			break
		}
		depth = next
	}
	return out
}
