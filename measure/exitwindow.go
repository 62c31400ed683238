package measure

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// exitWindow answers the size search where an axis leaves its planned tooth, against the plan's window. The tooth is that of the site's
// implant, or of one that stands where the search begins.
type exitWindow struct {
	c      *run
	s      *site
	tooth  tooth
	middle *[2]float64 // of the tooth, buccal and mesial, mm; nil: not asked yet
	why    string      // why there is no tooth; "": there is one
}

// exitFor returns the window of a site's size search; nil where the plan gives none.
func (c *run) exitFor(s *site, first safety.Implant) safety.Exit {
	if c.plan.Restoration == nil || c.plan.Restoration.Window == nil {
		return nil
	}
	if s.out.Implant != nil {
		first = *s.out.Implant
	}
	w := &exitWindow{c: c, s: s}
	if w.tooth, w.why = c.toothOf(s, &first); w.why == "" {
		w.why = c.otherScan()
	}
	return w
}

// Reserve is [safety.Exit.Reserve].
func (w *exitWindow) Reserve(im safety.Implant) (reserve, u float64, reason string) {
	none := func(why string) (float64, float64, string) { return math.NaN(), math.NaN(), why }
	if w.why != "" {
		return none(w.why)
	}
	e, why := w.c.leaves(w.s, &im, w.tooth)
	if why != "" {
		return none(why)
	}
	if w.middle == nil {
		at, why := w.tooth.middle(e)
		if why != "" {
			w.why = why
			return none(why)
		}
		w.middle = &at
	}
	off, window := e.from(*w.middle), w.c.plan.Restoration.Window
	reserve = math.Inf(1)
	for i, side := range [2][2]float64{{window.Buccal, window.Lingual}, {window.Mesial, window.Distal}} {
		left := math.Min(side[0]-off[i], side[1]+off[i])
		if math.IsInf(left, 1) {
			continue // neither side is limited
		}
		b := w.c.movedExit(e, []r3.Vec{e.buccal, e.mesial}[i])
		if b == nil {
			return none("how uncertain the alignment of the planned teeth is, is not known")
		}
		if std := b.Std(); left-uncertainty.Coverage*std < reserve-uncertainty.Coverage*u {
			reserve, u = left, std
		}
	}
	return reserve, u, ""
}

// Doubt is [safety.Exit.Doubt].
func (w *exitWindow) Doubt() string {
	if w.c.plan.Restoration.Align.Accepted == nil {
		return "the alignment of the planned teeth was accepted by nobody"
	}
	return ""
}
