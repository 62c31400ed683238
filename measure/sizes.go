package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// The pose limits of the size search: how far an implant may leave the site's platform and axis.
// Our choice, where the plan's sizes give no limits of their own.
var (
	seatLateral = [2]float64{-1.5, 1.5} // mm
	seatDepth   = [2]float64{0, 1}      // mm
	seatLean    = [2]float64{-10, 10}   // degrees in the section
	seatAlong   = [2]float64{-5, 5}     // degrees along the arch
)

// bone answers safety's question how an implant stands in the bone, from the sections it spans.
type bone struct {
	*standing
}

// Reserve returns by how much the bone beside and below the implant exceeds its margins, in mm, or
// anything of which reserve − 2u ≤ floor.
func (b bone) Reserve(im safety.Implant, floor float64) (reserve, u float64, limit string) {
	reserve, u = math.Inf(1), 2*b.c.edgeSD()
	enough := floor + uncertainty.Coverage*u
	for d := 0.0; d < im.Length+1; d++ {
		for _, side := range sides {
			r, err := b.ray(im, math.Min(d, im.Length), side.sign, false)
			if err != nil {
				return math.NaN(), math.NaN(), err.Error()
			}
			left := b.coarse(r) - b.c.rules[side.rule].Margin
			if math.IsNaN(left) {
				return math.NaN(), math.NaN(), "no bone beside the implant"
			}
			if left < reserve {
				reserve, limit = left, side.rule
			}
		}
		if reserve <= enough {
			return reserve, u, limit
		}
	}
	if end, rule, ok := b.below(im); ok && end < reserve {
		reserve, limit = end, rule
	}
	return reserve, u, limit
}

// below returns the reserve under the apex, in mm: the bone left to its end along the implant's
// axis, less the margin.
func (b bone) below(im safety.Implant) (float64, string, bool) {
	rule := safety.BasalCortex
	level := math.NaN()
	if b.s.height.seen {
		rule = string(b.s.height.to)
		level = b.s.height.Value
	}
	apex, axis := b.s.inSection(im)
	apex = reformat.UV{U: apex.U + im.Length*axis.U, V: apex.V + im.Length*axis.V}
	_, left := b.s.outline.Near(apex, axis)
	if !math.IsNaN(level) {
		left = level - dotUV(reformat.UV{U: apex.U - b.s.axis.Crest.U, V: apex.V - b.s.axis.Crest.V}, b.s.axis.Dir)
	}
	if math.IsNaN(left) {
		return math.Inf(-1), rule, true
	}
	return left - b.c.rules[rule].Margin, rule, true
}

// edgeSD is the standard uncertainty of the unfitted outline, mm: its points are read off single
// profiles. Docs/accuracy.md holds it against the phantom.
func (c *run) edgeSD() float64 { return math.Max(0.05, 0.3*c.tissue.Blur) }

// sizeRows tries the plan's sizes and reports the largest that hold every margin.
func (c *run) sizeRows(s *site) {
	if s.plan.Sizes == nil {
		return
	}
	rows := func(d, l *float64, note string) {
		s.add(Row{Quantity: "largest_diameter", Value: d, Unit: "mm", Note: note})
		s.add(Row{Quantity: "largest_length", Value: l, Unit: "mm", Note: note})
	}
	ladder, err := c.ladder(s)
	if err != nil {
		rows(nil, nil, plain(err))
		return
	}
	s.out.Ladder = ladder
	d, l, ok := safety.Holding(ladder)
	if !ok {
		rows(nil, nil, "no size given holds the margins given here: "+limits(ladder))
		return
	}
	rows(&d, &l, "largest of the sizes given that holds the margins given here, each for itself; not a choice")
}

// widest returns the largest diameter to try, in mm; 0 where there is none.
func (s *Sizes) widest() float64 {
	if len(s.Diameters) == 0 {
		return 0
	}
	return slices.Max(s.Diameters)
}

// limits says what stood in the way of the smallest size.
func limits(ladder []safety.Rung) string {
	if len(ladder) == 0 {
		return "none was given"
	}
	r := ladder[0]
	if r.Reason != "" {
		return r.Reason
	}
	return r.Limit
}

// ladder seeks a place for every size, each diameter about the platform that it would have by default.
func (c *run) ladder(s *site) ([]safety.Rung, error) {
	ask := s.plan.Sizes
	absent := safety.Missing(c.place(s, s.out.Implant, ask.widest()), c.plan.Structures, c.rules)
	stands := bone{c.standing(s)}
	var all []safety.Rung
	for _, d := range ask.Diameters {
		var sizes []safety.Size
		for _, l := range ask.Lengths {
			sizes = append(sizes, safety.Size{Diameter: d, Length: l})
		}
		rungs, err := c.scene.Ladder(c.seat(s, d), sizes, stands, c.rules, safety.Options{ScaleHalf: c.plan.ScaleHalfWidth}, absent)
		if err != nil {
			return nil, err
		}
		all = append(all, rungs...)
	}
	return all, nil
}

// seat is where an implant of a diameter (mm) is sought, and how far about it.
func (c *run) seat(s *site, diameter float64) safety.Seat {
	within := func(given *[2]float64, usual [2]float64) [2]float64 {
		if given != nil {
			return *given
		}
		return usual
	}
	ask := s.plan.Sizes
	return safety.Seat{
		Platform: s.frame.Patient(s.axis.At(c.platformOf(s, diameter).depth.Value)),
		Axis:     r3.Unit(s.frame.Direction(s.axis.Dir)), Buccal: s.frame.Direction(s.axis.Side()),
		Lateral: within(ask.Lateral, seatLateral), Depth: within(ask.Depth, seatDepth),
		InSection: within(ask.Lean, seatLean), MesioDistal: within(ask.Along, seatAlong),
	}
}
