package measure

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// The bone beside an implant, buccal and lingual of it.

// beside returns the bone between implant and outer outline at one depth on one side, mm, measured once.
func (t *standing) beside(im safety.Implant, depth, side float64) (uncertainty.Length, error) {
	at := spot{im, depth, side}
	known, ok := t.ray[at]
	if !ok {
		known.Length, known.err = t.measureBeside(im, depth, side)
		t.ray[at] = known
	}
	return known.Length, known.err
}

func (t *standing) measureBeside(im safety.Implant, depth, side float64) (uncertainty.Length, error) {
	if t.s.ridge == nil || t.s.out.Err != "" {
		return uncertainty.Length{}, fmt.Errorf("no outline of the bone: %s", t.s.out.Err)
	}
	at, err := t.post(im, depth, true)
	if err != nil {
		return uncertainty.Length{}, err
	}
	r := at.to(side)
	l, err := r.ridge.Beside(r.at, r.dir, r.turn, t.c.placementFor(t.s, r.frame.Arc))
	if out := r.outside(); err != nil && out > 0 {
		return uncertainty.Length{}, &outsideError{out}
	}
	if to := t.ahead(r); to < 0 || err == nil && to < l.Value {
		l, err = t.c.upTo(to), nil
	}
	l.Value -= r.radius
	return l, err
}

// outsideError says that an implant's axis stands outside the bone.
type outsideError struct{ by float64 }

func (e *outsideError) Error() string {
	return "the implant stands outside the bone by " + mm(e.by)
}

// thinnest returns the depth at which the bone on one side is least, mm below the platform; it is an
// [outsideError] where the axis leaves the bone, by the most that it does.
func (t *standing) thinnest(im safety.Implant, side float64) (depth float64, err error) {
	const step = 0.25 // mm; the outline's own points lie 0.3 mm apart
	if t.s.ridge == nil || t.s.out.Err != "" {
		return 0, fmt.Errorf("no outline of the bone: %s", t.s.out.Err)
	}
	best, depth, out := math.Inf(1), -1.0, 0.0
	for n, d := int(math.Ceil(im.Length/step)), 0; d <= n; d++ {
		at := im.Length * float64(d) / float64(n)
		p, err := t.post(im, at, false)
		if err != nil {
			return 0, err
		}
		left := t.coarse(p.to(side))
		switch {
		case math.IsInf(left, -1):
			out = math.Max(out, p.outside())
		case math.IsNaN(left):
			return 0, errors.New("the field ends before the bone beside the implant does")
		case left < best:
			best, depth = left, at
		}
	}
	if out > 0 {
		return 0, &outsideError{out}
	}
	return depth, nil
}

// boneDepths are where the bone beside an implant is measured, mm below its platform.
var boneDepths = []float64{1, 3, 5}

// sides of an implant, with the quantity and the margin of the bone there.
var sides = []struct {
	quantity   quantity.Name
	rule, word string
	sign       float64
}{{quantity.BuccalBone, safety.BuccalPlate, "buccally", 1}, {quantity.LingualBone, safety.LingualPlate, "lingually", -1}}

// boneRows measures the bone beside the implant at 1, 3 and 5 mm below its platform and where it is
// least.
func (c *run) boneRows(s *site, im safety.Implant) {
	t := c.standing(s)
	for _, side := range sides {
		for _, d := range boneDepths {
			if d <= im.Length {
				l, err := t.beside(im, d, side.sign)
				s.add(c.boneRow(side.quantity, side.rule, side.word, &d, l, err, ""))
			}
		}
		l, d, err := t.leastBeside(im, side.sign)
		s.add(c.boneRow(side.quantity, side.rule, side.word, nil, l, err, fmt.Sprintf("least over the whole length, %.1f mm below the platform", d)))
	}
}

// leastBeside measures the bone on one side where it is least, and returns how far below the platform that is, mm.
// The outline alone tells the place to a tenth of a millimetre of bone: the implant's ends and the depths that have rows
// of their own are measured, too.
func (t *standing) leastBeside(im safety.Implant, side float64) (least uncertainty.Length, depth float64, err error) {
	depth, err = t.thinnest(im, side)
	if err != nil {
		return least, depth, err
	}
	if least, err = t.beside(im, depth, side); err != nil {
		return least, depth, err
	}
	for _, d := range slices.Concat([]float64{0, im.Length}, boneDepths) {
		if d > im.Length {
			continue
		}
		p, err := t.post(im, d, false)
		if err != nil || t.coarse(p.to(side)) > least.Value+coarseOff {
			continue
		}
		if l, err := t.beside(im, d, side); err == nil && l.Value < least.Value {
			least, depth = l, d
		}
	}
	return least, depth, nil
}

// coarseOff is how much more bone than there is the outline alone may show, mm. Our choice: three times what it scatters.
const coarseOff = 0.3

// boneRow makes the row of the bone on one side. An implant that leaves the bone is not held, whatever its
// margin and its U.
func (c *run) boneRow(q quantity.Name, rule, word string, at *float64, l uncertainty.Length, err error, note string) Row {
	margin := c.rules[rule].Margin
	r := newRow(q, "", note)
	r.At, r.Margin, r.Verdict = at, &margin, safety.NotAssessed
	var out *outsideError
	switch {
	case errors.As(err, &out):
		r.Verdict, r.Note = safety.NotHeld, out.Error()
	case err != nil:
		r.Note = plain(err)
	default:
		r.Value, r.Budget, r.Verdict = &l.Value, l.Budget, safety.Judge(l, margin)
		if l.Value < 0 {
			r.Note = cells.Note(fmt.Sprintf("the implant stands outside the bone %s by %s", word, mm(-l.Value)), note)
		}
	}
	return r
}
