package measure

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// The pose limits of the size search: how far an implant may leave the site's platform and axis.
// Our choice, where the plan's sizes give no limits of their own.
var (
	poseLateral = [2]float64{-1.5, 1.5} // mm
	poseDepth   = [2]float64{0, 1}      // mm
	poseLean    = [2]float64{-10, 10}   // degrees in the section
	poseAlong   = [2]float64{-5, 5}     // degrees along the arch
)

// bone answers safety's question how an implant stands in the bone, from the sections it spans.
type bone struct {
	*standing
	cavity *cavity // found over the site; nil: none
}

// Reserve returns by how much the bone beside and below the implant exceeds its margins, in mm, or
// anything of which reserve − 2u ≤ floor.
func (b bone) Reserve(im safety.Implant, floor float64) (reserve, u float64, limit string) {
	reserve, u = math.Inf(1), 2*b.c.edgeSD()
	enough := floor + uncertainty.Coverage*u
	for d := 0.0; d < im.Length+1; d++ {
		at, err := b.post(im, math.Min(d, im.Length), false)
		if err != nil {
			return math.NaN(), math.NaN(), err.Error()
		}
		for _, side := range sides {
			left := b.coarse(at.to(side.sign)) - b.c.rules[side.rule].Margin
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
	if b.cavity != nil {
		if b.cavity.open(im) {
			return math.NaN(), math.NaN(), b.cavity.body.Name + ": its floor was not found under the whole apex"
		}
		return reserve, u, limit // the cavity is a structure of the scene
	}
	end := b.below(im) - b.c.rules[safety.BasalCortex].Margin
	switch {
	case math.IsNaN(end):
		return math.NaN(), math.NaN(), "the end of the bone was not found below the apex"
	case end < reserve:
		return end, u, safety.BasalCortex
	}
	return reserve, u, limit
}

// edgeSD is the standard uncertainty of the unfitted outline, mm: its points are read off single
// profiles. Docs/accuracy.md holds it against the phantom.
func (c *run) edgeSD() float64 { return math.Max(0.05, 0.3*c.tissue.Blur) }

// sizeRows tries the plan's sizes and reports the largest that hold every margin.
func (c *run) sizeRows(s *site) {
	if s.plan.Sizes == nil {
		return
	}
	none := func(note string) {
		s.add(newRow(quantity.LargestDiameter, "", note))
		s.add(newRow(quantity.LargestLength, "", note))
	}
	tried, err := c.trySizes(s)
	if err != nil {
		none(plain(err))
		return
	}
	s.out.SizesTried = tried
	edge := safety.LargestHeld(tried)
	if len(edge) == 0 {
		none("no size given holds the margins given here: " + limits(tried))
		return
	}
	note := "at the edge of the sizes given that hold the margins given here: no wider one as long, no longer one as wide; not a choice"
	if c.plan.Restoration != nil && c.plan.Restoration.Window != nil {
		note += "; in a pose whose axis leaves the planned tooth within the window: " + c.plan.Restoration.Window.String()
	}
	for _, r := range edge {
		s.add(newRow(quantity.LargestDiameter, fmt.Sprintf("%g mm long", r.Length), note).with(r.Diameter, nil))
		s.add(newRow(quantity.LargestLength, fmt.Sprintf("%g mm wide", r.Diameter), note).with(r.Length, nil))
	}
}

// limits says what stood in the way of the smallest size.
func limits(tried []safety.SizeResult) string {
	if len(tried) == 0 {
		return "none was given"
	}
	r := tried[0]
	if r.Reason != "" {
		return r.Reason
	}
	return r.Limit
}

// trySizes seeks a pose for every size, each diameter about the platform that it would have by default.
func (c *run) trySizes(s *site) ([]safety.SizeResult, error) {
	ask := s.plan.Sizes
	absent := safety.Missing(c.place(s, s.out.Implant, ask.Widest()), c.plan.Structures, c.rules)
	stands, scene := bone{c.standing(s), c.cavityFor(s)}, c.scene
	if stands.cavity != nil {
		var err error
		if scene, err = safety.NewScene(append(slices.Clone(c.plan.Structures), stands.cavity.body)); err != nil {
			return nil, err
		}
	}
	var all []safety.SizeResult
	for _, d := range ask.Diameters {
		var sizes []safety.Size
		for _, l := range ask.Lengths {
			sizes = append(sizes, safety.Size{Diameter: d, Length: l})
		}
		results, err := scene.TrySizes(c.poses(s, d), sizes, stands, c.rules, safety.Options{ScaleHalf: c.plan.ScaleHalfWidth}, absent)
		if err != nil {
			return nil, err
		}
		all = append(all, results...)
	}
	return all, nil
}

// poses is where an implant of a diameter (mm) is sought, and how far about it.
func (c *run) poses(s *site, diameter float64) safety.PoseRange {
	within := func(given *[2]float64, usual [2]float64) [2]float64 {
		if given != nil {
			return *given
		}
		return usual
	}
	ask := s.plan.Sizes
	out := safety.PoseRange{
		Platform: s.frame.Patient(s.axis.At(c.platformOf(s, diameter).depth.Value)),
		Axis:     r3.Unit(s.frame.Direction(s.axis.Dir)), Buccal: s.frame.Direction(s.axis.Side()),
		Lateral: within(ask.Lateral, poseLateral), Depth: within(ask.Depth, poseDepth),
		InSection: within(ask.Lean, poseLean), MesioDistal: within(ask.Along, poseAlong),
	}
	out.Exit = c.exitFor(s, safety.Implant{Platform: out.Platform, Axis: out.Axis, Diameter: diameter, Length: ask.Lengths[0]})
	return out
}
