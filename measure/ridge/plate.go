package ridge

import (
	"errors"
	"fmt"
	"math"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Plate is the thickness of a cortical plate along a chord.
type Plate struct {
	uncertainty.Length
	Inner reformat.UV // endosteal edge, section mm
	Err   error       // why there is no number: [ErrThin], [ErrSolid], [ErrUnsure] or [ErrNoEdge]
}

// Why a plate has no number.
var (
	ErrThin   = errors.New("thinner than this scan resolves") // the message gives the limit
	ErrSolid  = errors.New("solid cortex on this chord")
	ErrUnsure = errors.New("not known well enough to be a number")
)

// plates measures both plates, buccal and lingual, of the chord through p along side, which is toward
// buccal.
func (o *Ridge) plates(c fineChord, p, side reformat.UV, width uncertainty.Length, h Placement) [2]Plate {
	both := [2]Plate{o.plate(c.highWall, p, scale(-1, side), h), o.plate(c.lowWall, p, side, h)}
	return believed(both, o.solid(c, side), width)
}

// believed takes the number from plates that cannot be: where the image shows no marrow on the chord
// there is no plate, whatever a fit has found beside it; two that would leave no marrow between them within
// the width's uncertainty contradict each other; one whose U is above half of it is not known.
func believed(both [2]Plate, solid bool, width uncertainty.Length) [2]Plate {
	found := len(both[0].Budget) > 0 && len(both[1].Budget) > 0
	meet := found && both[0].Value+both[1].Value > width.Value-width.U()
	for i := range both {
		p := &both[i]
		switch {
		case solid:
			p.Err = ErrSolid
		case p.Err != nil:
		case meet:
			p.Err = fmt.Errorf("%w: plates of %.1f and %.1f mm would leave no marrow between them", ErrUnsure, both[0].Value, both[1].Value)
		case p.U() > p.Value/2:
			p.Err = fmt.Errorf("%w: %.1f mm with an uncertainty of %.1f mm, more than half of it", ErrUnsure, p.Value, p.U())
		}
	}
	return both
}

// How a chord is looked at for marrow: at steps of solidStep, mm, from solidEdge sigma of the blur inside
// its ends, where the blurred outer edges have gone, each place a mean over solidRun steps to both sides along the
// chord and solidAlong, mm, along the arch against noise. Our choice; a slit of marrow narrower than
// twice the blur does not show.
const (
	solidStep  = 0.2
	solidEdge  = 1.5
	solidRun   = 1
	solidAlong = 0.3
)

// solid reports whether the image shows no marrow between the ends of the chord: nowhere darker than
// half-way from its cortex to the series' marrow. It says so only of a series that has taught both.
func (o *Outline) solid(c fineChord, side reformat.UV) bool {
	t := o.tissue
	if !t.known() || !(t.Cortex > t.Marrow) {
		return false
	}
	level := (c.lowWall.p[pG1] + c.highWall.p[pG1] - (t.Cortex - t.Marrow)) / 2
	inset := solidEdge * t.Blur
	length := dot(sub(c.high.at, c.low.at), side) - inset
	for s := inset; s <= length; s += solidStep {
		if g := o.about(add(c.low.at, scale(s, side)), side); !(g > level) {
			return false
		}
	}
	return true
}

// about returns the mean grey value about p on the line along side; NaN outside the field.
func (o *Outline) about(p, side reformat.UV) (mean float64) {
	for k := -solidRun; k <= solidRun; k++ {
		at := add(p, scale(float64(k)*solidStep, side))
		for _, t := range [3]float64{-solidAlong, 0, solidAlong} {
			mean += o.field.Grey(at, t) / (3 * (2*solidRun + 1))
		}
	}
	return mean
}

// plate measures the plate behind wall w along the inward line p + s·in.
func (o *Ridge) plate(w *Wall, p, in reformat.UV, h Placement) Plate {
	outer, ok := w.outer(p, in)
	inner, ok2 := w.inner(p, in)
	if !ok || !ok2 {
		return Plate{Err: fmt.Errorf("%w: no inner surface within %.1f mm", ErrNoEdge, 4*fitScale(o.field))}
	}
	along := dot(sub(inner.at, outer.at), in)
	t := o.tissue
	if !t.known() {
		t.Blur = w.Blur()
	}
	fwhm := t.FWHM()
	by := inner.by
	for i := range by {
		by[i] -= outer.by[i]
	}
	out := Plate{Inner: inner.at}
	out.Value = along
	out.Budget = uncertainty.Budget{
		{Name: "edge noise", Std: w.spread(by)},
		{Name: "edge rule", Std: math.Hypot(o.ruleTerm(w, outer), o.ruleTerm(w, inner))},
		{Name: "marrow", Std: w.marrowTerm()},
		h.direction(along*in.U*w.p[pST], along*in.U),
		scaleTerm(along, h),
	}
	if w.p[pTau] < fwhm || along <= 0 {
		out.Err = fmt.Errorf("%w (about %.1f mm)", ErrThin, math.Ceil(fwhm*10-1e-9)/10)
	}
	return out
}

// marrowTerm is what trabeculae behind the plate do to its inner edge, mm: a patch of marrow brighter or
// darker by d beside an edge of step S moves its half level by ½·d over the slope S/(σ·√(2π)).
// No further than that slope reaches: d counts as no more than S.
func (w *Wall) marrowTerm() float64 {
	if w.marrow == 0 {
		return 0
	}
	return math.Sqrt(math.Pi/2) * w.p[pSigma] * w.marrow / math.Max(w.p[pG1]-w.p[pG2], w.marrow)
}
