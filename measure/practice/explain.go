package practice

import (
	"fmt"
	"math"
	"strings"

	"ridgerule/measure/quantity"
)

// explain writes the note of a mark: which side is unsafe, then the probable cause.
func (m marker) explain(it *Sealed, k *Mark, said string) {
	var notes []string
	if k.Unsafe {
		notes = append(notes, unsafeWords(k))
	}
	if k.Verdict != Within {
		if cause := causeOf(it, k); cause != "" {
			notes = append(notes, cause)
		}
		k.Why = it.Why
	}
	if said != "" {
		notes = append(notes, said)
	}
	k.Note = strings.Join(notes, "; ")
}

// cause is the part of a note that says what was done: the same words for everybody who did it.
func (k *Mark) cause() string {
	parts := strings.Split(k.Note, "; ")
	if k.Unsafe && len(parts) > 1 {
		parts = parts[1:]
	}
	if strings.HasPrefix(parts[0], "the line leans") {
		return "the line leans from the one asked for"
	}
	cause, _, _ := strings.Cut(parts[0], ", which makes")
	return cause
}

// unsafeWords says what an error on the unsafe side would have led to.
func unsafeWords(k *Mark) string {
	e := math.Abs(k.Error)
	switch k.Question.Quantity {
	case quantity.RidgeHeight:
		return fmt.Sprintf("unsafe side: planned by this, an implant would be %.1f mm too long", e)
	case quantity.LingualUndercut:
		return fmt.Sprintf("unsafe side: the undercut is %.1f mm deeper than read", e)
	case quantity.Clearance:
		return fmt.Sprintf("unsafe side: the implant stands %.1f mm nearer to the root than read", e)
	case AnteriorLoop:
		return fmt.Sprintf("unsafe side: the nerve runs on %.1f mm further than read", e)
	}
	return fmt.Sprintf("unsafe side: there is %.1f mm less bone than read", e)
}

// causeOf is the probable cause of an error: the reader's line where that accounts for most of it, else the trap
// whose answer was given, else where the edges were put.
func causeOf(it *Sealed, k *Mark) string {
	if k.Frame != nil && math.Abs(*k.Frame) > math.Abs(*k.Edge) {
		if k.Lean != nil && math.Abs(*k.Lean) >= 5 && k.Question.Quantity != quantity.RidgeTilt {
			return fmt.Sprintf("the line leans %.0f° from the one asked for, which makes %s of it", math.Abs(*k.Lean), signed(*k.Frame, k.Unit))
		}
		return fmt.Sprintf("the line lies elsewhere than asked, which makes %s of it", signed(*k.Frame, k.Unit))
	}
	near, best := k.Tolerance, -1
	for i, t := range it.Traps {
		if d := math.Abs(t.Value - *k.Value); d < near && d < math.Abs(k.Error)/2 {
			near, best = d, i
		}
	}
	if best >= 0 {
		return it.Traps[best].Words
	}
	switch {
	case k.Verdict == Blundered:
		return "far off, as if another structure, another side or another item had been read"
	case k.Unit == "deg":
		return "the axis was laid otherwise: find the middles of two widths far apart"
	case askedAlong(k.Question.Quantity):
		return "an edge was put elsewhere: it is half-way between bright and dark"
	case k.Error > 0:
		return "the edges were put too far out: an edge is half-way between bright and dark"
	}
	return "the edges were put too far in: an edge is half-way between bright and dark"
}

// signed writes an error as a person reads it: "+0.8 mm", "−3°".
func signed(x float64, unit string) string {
	sign, digits := "+", 1
	if x < 0 {
		sign = "−"
	}
	if unit == "deg" {
		return fmt.Sprintf("%s%.*f°", sign, digits, math.Abs(x))
	}
	return fmt.Sprintf("%s%.*f mm", sign, digits, math.Abs(x))
}
