package safety

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// Options say what else is uncertain about a distance. The zero value adds nothing.
type Options struct {
	Terms     []uncertainty.Term // from the image, the same for every distance, mm
	ScaleHalf float64            // relative half-width of the scan's scale error, without unit; see method 5
}

// Check measures the distance of an implant from every structure and holds each against its
// margin, in the structures' order. The implant counts as placed exactly as planned: placing
// error is part of the literature's margins and is not added here.
//
// The budget of a distance d holds the marking of the structure (its SD), the terms of the
// options, and the scale of the scan (d·half-width/√3, rectangular).
//
// What has PlannedRemoval, and a structure without a margin that is not overlapped, are measured, not
// judged; the finding's Reason says so. Check fails for a body that is none ([solid.ErrBody]).
func Check(im Implant, structures []Structure, rules Rules, opts Options) ([]Finding, error) {
	scene, err := NewScene(structures)
	if err != nil {
		return nil, err
	}
	return scene.Check(im, rules, opts)
}

// Scene is a plan's structures made ready, for many questions about the same structures.
type Scene struct {
	structures []Structure
	shapes     []*solid.Shape
}

// NewScene checks the structures and builds what makes distances fast. It returns [solid.ErrBody]
// for the first structure that is no body, has no SD ≥ 0 or a margin that is not ≥ 0.
func NewScene(structures []Structure) (*Scene, error) {
	s := &Scene{structures: structures}
	for i := range structures {
		t := &structures[i]
		if !(t.SD >= 0) || math.IsInf(t.SD, 0) {
			return nil, fmt.Errorf("%w: structure %q has sd %g mm, want a number ≥ 0", solid.ErrBody, t.Name, t.SD)
		}
		if t.Margin != nil && !(*t.Margin >= 0 && !math.IsInf(*t.Margin, 0)) {
			return nil, fmt.Errorf("%w: structure %q has margin %g mm, want a number ≥ 0", solid.ErrBody, t.Name, *t.Margin)
		}
		sh, err := t.Shape()
		if err != nil {
			return nil, err
		}
		s.shapes = append(s.shapes, sh)
	}
	return s, nil
}

// Check is [Check] on the scene's structures.
func (s *Scene) Check(im Implant, rules Rules, opts Options) ([]Finding, error) {
	body, err := im.Shape()
	if err != nil {
		return nil, err
	}
	out := make([]Finding, len(s.shapes))
	for i, sh := range s.shapes {
		g := body.Gap(sh)
		t := &s.structures[i]
		f := Finding{To: t.Name, Kind: t.Kind, Near: g.Near,
			Distance: uncertainty.Length{Value: g.Distance, Budget: opts.budget(g.Distance, t.SD)}}
		rule, ok := rules.For(t)
		out[i] = f.held(rule, ok && !t.PlannedRemoval)
		switch {
		case !ok && !t.PlannedRemoval && g.Distance < 0:
			out[i].Verdict, out[i].Source = NotHeld, "an overlap holds no margin, however small"
		case t.PlannedRemoval:
			out[i].Reason = "will be removed: distance reported, not judged"
		case !ok:
			out[i].Reason = fmt.Sprintf("no margin for kind %q: give margin_mm to have it judged", t.Kind)
		case t.PlannedLift > 0:
			out[i].Reason = fmt.Sprintf("a lift of %g mm is planned: shown, not judged", t.PlannedLift)
		}
	}
	return out, nil
}

// Hold holds any distance, one found in the image say, against the rule of this name.
// A distance or an uncertainty that is NaN reads as not assessed, for the reason given.
func Hold(to string, kind Kind, d uncertainty.Length, near [2]r3.Vec, rules Rules, name, reason string) Finding {
	rule, ok := rules[name]
	f := Finding{To: to, Kind: kind, Distance: d, Near: near, Reason: reason}.held(rule, ok)
	switch {
	case !ok:
		f.Reason = fmt.Sprintf("no margin for %q", name)
	case f.Verdict != NotAssessed:
		f.Reason = ""
	}
	return f
}

// held fills in margin and verdict; without a judgement the verdict is [NoMargin].
func (f Finding) held(rule Rule, judge bool) Finding {
	f.Verdict = NoMargin
	if judge {
		f.Margin, f.Source, f.Verdict = rule.Margin, rule.Source, Judge(f.Distance, rule.Margin)
	}
	if f.Verdict == NotAssessed && f.Reason == "" {
		f.Reason = "the distance or its uncertainty is not known"
	}
	return f
}

// budget returns the budget (mm) of a distance of d mm from a structure marked to sd mm.
func (o Options) budget(d, sd float64) uncertainty.Budget {
	var b uncertainty.Budget
	if sd > 0 {
		b = append(b, uncertainty.Term{Name: "marking of the structure", Std: sd})
	}
	b = append(b, o.Terms...)
	if c := d * uncertainty.Rectangular(o.ScaleHalf); c != 0 { // NaN too: it must not get lost
		b = append(b, uncertainty.Term{Name: "scale of the scan", Std: uncertainty.Rectangular(o.ScaleHalf), Sensitivity: d})
	}
	return b
}

// Worst returns the gravest of the verdicts: not held, then not assessed, then uncertain, then held;
// [NoMargin] where nothing was judged.
func Worst(verdicts ...Verdict) Verdict {
	worst := NoMargin
	for _, v := range verdicts {
		if v.WorseThan(worst) {
			worst = v
		}
	}
	return worst
}
