package safety

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// Placed is an implant at its site. SD is the standard uncertainty of each coordinate of the
// centres of both ends, mm: 0 for an implant that is only planned.
type Placed struct {
	Site, Tooth string // Tooth in ISO 3950
	Implant     Implant
	SD          float64 // mm
}

// Pair is what lies between two implants.
type Pair struct {
	Sites     [2]string
	Platforms uncertainty.Length // centre to centre of the platforms, mm
	Surface   Finding            // least surface distance held against the margin between implants
	Angle     uncertainty.Angle  // between the axes, 0…90°
}

// Pairs measures every pair of implants, in the order given: first with second, first with
// third, … It fails for an implant that is none ([solid.ErrBody]).
func Pairs(all []Placed, rules Rules, opts Options) ([]Pair, error) {
	for _, p := range all {
		if _, err := p.Implant.Shape(); err != nil {
			return nil, fmt.Errorf("site %q: %w", p.Site, err)
		}
	}
	var out []Pair
	for i := range all {
		for j := i + 1; j < len(all); j++ {
			out = append(out, pair(all[i], all[j], rules, opts))
		}
	}
	return out, nil
}

func pair(a, b Placed, rules Rules, opts Options) Pair {
	two := []Placed{a, b}
	platforms := func(p []Implant) float64 { return r3.Norm(r3.Sub(p[1].Platform, p[0].Platform)) }
	angle := func(p []Implant) float64 { return angleLines(p[0].Axis, p[1].Axis) }
	g, _ := solid.Distance(a.Implant, b.Implant) // both were validated
	surface := func(p []Implant) float64 { g, _ := solid.Distance(p[0], p[1]); return g.Distance }
	name := a.Site + "|" + b.Site
	return Pair{
		Sites:     [2]string{a.Site, b.Site},
		Platforms: opts.length(two, platforms),
		Surface:   Hold(name, ImplantBody, opts.length(two, surface), g.Near, rules, string(ImplantBody), ""),
		Angle:     angleOf(two, angle),
	}
}

// length returns a length that depends on implants, mm, with positions and scale in its budget.
func (o Options) length(all []Placed, f func([]Implant) float64) uncertainty.Length {
	v, b := propagate(all, f)
	return uncertainty.Length{Value: v, Budget: append(b, o.budget(v, 0)...)}
}

// angleOf returns an angle that depends on implants, degrees. Scale does not change an angle.
func angleOf(all []Placed, f func([]Implant) float64) uncertainty.Angle {
	v, b := propagate(all, f)
	return uncertainty.Angle{Value: v, Budget: b}
}

// propagate returns f of the implants and its budget, in f's unit: one term an implant, from
// moving each of the six coordinates of its two ends by one SD both ways. The larger of the
// two changes counts, so that an angle at its least value (parallel axes) is not called exact.
//
// Source: JCGM 100:2008, 5.1.3 note 2 (numerical derivatives).
func propagate(all []Placed, f func([]Implant) float64) (float64, uncertainty.Budget) {
	bodies := make([]Implant, len(all))
	for i, p := range all {
		bodies[i] = p.Implant
	}
	v := f(bodies)
	var budget uncertainty.Budget
	for i, p := range all {
		if !(p.SD > 0) {
			continue
		}
		sum := 0.0
		for k := range 6 {
			up, down := slices.Clone(bodies), slices.Clone(bodies)
			up[i], down[i] = moved(p.Implant, k, p.SD), moved(p.Implant, k, -p.SD)
			c := max(math.Abs(f(up)-v), math.Abs(f(down)-v))
			sum += c * c
		}
		budget = append(budget, uncertainty.Term{Name: "position of " + p.Site, Std: math.Sqrt(sum)})
	}
	return v, budget
}

// moved returns the implant with coordinate k (platform x y z, apex x y z) shifted by d mm; its
// length stays.
func moved(im Implant, k int, d float64) Implant {
	shift := r3.Scale(d, []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}[k%3])
	apex := im.Apex()
	if k < 3 {
		im.Platform = r3.Add(im.Platform, shift)
	} else {
		apex = r3.Add(apex, shift)
	}
	im.Axis = r3.Unit(r3.Sub(apex, im.Platform))
	return im
}

// Arch is what the implants of one jaw make together. It is information: reference values for
// spread and parallelism are not validated, and nothing here is judged.
type Arch struct {
	Sites      []string
	Mean       r3.Vec              // mean axis, unit vector, platform to apex
	ToMean     []uncertainty.Angle // of each axis to the mean axis, degrees
	ToOcclusal []uncertainty.Angle // of each axis to the occlusal direction, degrees; 0 is upright
	Spread     uncertainty.Angle   // largest of ToMean
	Common     r3.Vec              // best common axis: the axis whose largest angle to any implant is least
	Correction []uncertainty.Angle // of each axis to the common axis, degrees
	Largest    uncertainty.Angle   // largest of Correction: half the opening of the smallest cone that holds all axes
	AP         uncertainty.Length  // anterior–posterior spread, mm; NaN where APReason says why
	APSites    [3]string           // most anterior, then the two most distal, patient's right first
	APReason   string
}

// Spread measures the implants of one jaw together; occlusal points from the base of the jaw
// toward the biting surface. It fails for fewer than two implants, an implant that is none, or
// axes that do not lie in one half-space.
func Spread(all []Placed, occlusal r3.Vec, opts Options) (Arch, error) {
	if len(all) < 2 {
		return Arch{}, fmt.Errorf("safety: the arch needs two implants, there are %d", len(all))
	}
	var a Arch
	for _, p := range all {
		if _, err := p.Implant.Shape(); err != nil {
			return Arch{}, fmt.Errorf("site %q: %w", p.Site, err)
		}
		a.Sites = append(a.Sites, p.Site)
	}
	if n := r3.Norm(occlusal); !(n > 0) || math.IsInf(n, 1) {
		return Arch{}, fmt.Errorf("safety: occlusal direction (%g, %g, %g) is no direction", occlusal.X, occlusal.Y, occlusal.Z)
	}
	o := r3.Unit(occlusal)
	axes := axesOf(bodiesOf(all))
	a.Mean, a.Common = meanAxis(axes), smallestCone(axes)
	for i := range axes {
		if r3.Dot(axes[i], a.Common) <= 0 {
			return Arch{}, fmt.Errorf("safety: implant axes of %s do not lie in one half-space: check which end is the platform", strings.Join(a.Sites, ", "))
		}
		a.ToMean = append(a.ToMean, angleOf(all, func(p []Implant) float64 { return Angle(p[i].Axis, meanAxis(axesOf(p))) }))
		a.ToOcclusal = append(a.ToOcclusal, angleOf(all, func(p []Implant) float64 { return Angle(r3.Scale(-1, p[i].Axis), o) }))
		a.Correction = append(a.Correction, angleOf(all, func(p []Implant) float64 { return Angle(p[i].Axis, smallestCone(axesOf(p))) }))
	}
	a.Spread = angleOf(all, func(p []Implant) float64 { return widest(axesOf(p), meanAxis(axesOf(p))) })
	a.Largest = angleOf(all, func(p []Implant) float64 { return widest(axesOf(p), smallestCone(axesOf(p))) })
	a.ap(all, o, opts)
	return a, nil
}

func bodiesOf(all []Placed) []Implant {
	var out []Implant
	for _, p := range all {
		out = append(out, p.Implant)
	}
	return out
}

func axesOf(all []Implant) []r3.Vec {
	var out []r3.Vec
	for _, p := range all {
		out = append(out, p.Axis)
	}
	return out
}

// widest returns the largest angle between an axis and any of the axes, degrees.
func widest(axes []r3.Vec, to r3.Vec) float64 {
	w := 0.0
	for _, a := range axes {
		w = max(w, Angle(a, to))
	}
	return w
}

// Angle returns the angle between two vectors, 0…180 degrees, exact also when it is small.
func Angle(a, b r3.Vec) float64 {
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi
}

// angleLines returns the angle between two lines, 0…90 degrees.
func angleLines(a, b r3.Vec) float64 { d := Angle(a, b); return min(d, 180-d) }

func meanAxis(axes []r3.Vec) r3.Vec {
	var sum r3.Vec
	for _, a := range axes {
		sum = r3.Add(sum, a)
	}
	if r3.Norm(sum) == 0 {
		return axes[0]
	}
	return r3.Unit(sum)
}
