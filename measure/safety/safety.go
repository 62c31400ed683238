// Package safety holds the distances between an implant and what it must keep away from against
// margins, and says what cannot be known.
//
// To hold one implant against a plan's structures, call [Check]; for many implants make a [Scene]
// once and ask [Scene.Check]. What should have been marked and was not comes from [Missing], which
// sizes can hold the margins from [Scene.TrySizes], and how implants stand to each other from
// [Pairs] and [Spread].
//
// Vectors flow in (patient LPS, mm), a [Finding] a pair flows out. The package never sees an
// image. What is not known is [NotAssessed] with its reason and never reads as [Held].
//
// Files, callers first: safety (types, one verdict), check, margins, missing, sizes and sizesearch,
// arch, apspread and smallestcone.
package safety

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// Kind says what a structure is, in the words of the plan file.
type Kind string

// The kinds of structure.
const (
	Canal         Kind = "canal"
	MentalForamen Kind = "mental_foramen"
	AnteriorLoop  Kind = "anterior_loop"
	IncisiveCanal Kind = "incisive_canal"
	Sinus         Kind = "sinus"
	NasalFloor    Kind = "nasal_floor"
	Root          Kind = "root"
	ImplantBody   Kind = "implant"
	Other         Kind = "other"
)

// Structure is something an implant must keep away from: a chain of capsules or a closed surface.
type Structure struct {
	Name           string         `json:"name"` // unique in its plan
	Kind           Kind           `json:"kind"`
	Path           []r3.Vec       `json:"path_mm,omitempty"`        // capsule chain, patient LPS, mm; one point is a sphere; empty when Surface is set
	Radii          []float64      `json:"radii_mm,omitempty"`       // mm, one a point of Path; between points the radius changes linearly
	Surface        *solid.Surface `json:"surface,omitempty"`        // closed triangle surface, patient LPS, mm; nil when Path is set
	SD             float64        `json:"sd_mm"`                    // standard uncertainty of its marking, mm
	Margin         *float64       `json:"margin_mm,omitempty"`      // mm; nil: the rule of its kind
	PlannedRemoval bool           `json:"planned_removal,omitzero"` // a root or an implant that will be taken out: distances are reported, not judged
	PlannedLift    float64        `json:"planned_lift_mm,omitzero"` // by which the floor of a sinus is to be raised, mm; shown beside its distance, never judged
	Proposed       bool           `json:"proposed,omitzero"`        // by a program, confirmed by nobody: no margin to it is more than uncertain
	Confidence     *float64       `json:"confidence,omitempty"`     // of the program that proposed it, 0 to 1, no unit; nil: none
}

// Implant is a virtual implant: a flat-ended cylinder or cone.
type Implant struct {
	Platform     r3.Vec  `json:"platform_mm"`               // centre of the platform, patient LPS, mm
	Axis         r3.Vec  `json:"axis"`                      // unit vector from platform to apex
	Diameter     float64 `json:"diameter_mm"`               // at the platform, mm
	ApexDiameter float64 `json:"apex_diameter_mm,omitzero"` // at the apex, mm; 0: as Diameter
	Length       float64 `json:"length_mm"`                 // mm
}

// Shape returns the implant as a body; [solid.ErrBody] for numbers that are no implant.
func (im Implant) Shape() (*solid.Shape, error) {
	apex := im.ApexDiameter
	if apex == 0 {
		apex = im.Diameter
	}
	s, err := solid.Frustum{Base: im.Platform, Axis: im.Axis, Length: im.Length, Radius: im.Diameter / 2, TipRadius: apex / 2}.Shape()
	if err != nil {
		return nil, fmt.Errorf("implant: %w", err)
	}
	return s, nil
}

// Apex returns the centre of the apical end, patient LPS, mm.
func (im Implant) Apex() r3.Vec { return r3.Add(im.Platform, r3.Scale(im.Length, im.Axis)) }

// Shape returns the structure as a body; [solid.ErrBody] for a path, radii or a surface that are no
// structure.
func (s Structure) Shape() (shape *solid.Shape, err error) {
	switch {
	case s.Surface == nil:
		shape, err = solid.Chain{Path: s.Path, Radii: s.Radii}.Shape()
	case len(s.Path) > 0:
		err = fmt.Errorf("%w: both a path and a surface", solid.ErrBody)
	default:
		shape, err = s.Surface.Shape()
	}
	if err != nil {
		return nil, fmt.Errorf("structure %q: %w", s.Name, err)
	}
	return shape, nil
}

// Verdict is what a distance says about a margin.
type Verdict string

// The verdicts, mildest first. The empty verdict means that no margin applies.
const (
	NoMargin    Verdict = ""
	Held        Verdict = "held"
	Uncertain   Verdict = "uncertain"
	NotAssessed Verdict = "not assessed"
	NotHeld     Verdict = "not held"
)

// order ranks the verdicts, mildest first. What is not known is worse than what is in doubt: nobody
// looked. Overlap is worse than all; a [Finding] knows whether it is one.
var order = map[Verdict]int{NoMargin: 0, Held: 1, Uncertain: 2, NotAssessed: 3, NotHeld: 4}

// WorseThan reports whether v is a graver verdict than w.
func (v Verdict) WorseThan(w Verdict) bool { return order[v] > order[w] }

// Verdicts returns the verdicts of [Held] to [NotHeld], the gravest first.
func Verdicts() []Verdict { return []Verdict{NotHeld, NotAssessed, Uncertain, Held} }

// Rule is the margin of one kind of structure with where it comes from.
type Rule struct {
	Margin float64 `json:"margin_mm"` // mm
	Source string  `json:"source"`
	Mark   string  `json:"mark,omitempty"` // how far the source was verified: "abstract read", "from memory" …
}

// Finding is one distance held against one margin.
type Finding struct {
	To       string // the structure's or other site's name
	Kind     Kind
	Distance uncertainty.Length // surface to surface, mm; negative: depth of overlap; NaN: not known
	Near     [2]r3.Vec          // the two nearest points (implant's first), patient LPS, mm
	Margin   float64            // mm; meaningless when Verdict is NoMargin
	Source   string             // of the margin
	Verdict  Verdict
	Reason   string // why not assessed, or what else must be known
}

// Judge holds distance d against margin (mm):
//
//	not held if d < 0 (an overlap, whatever its U) or d + U < margin
//	held if d − U ≥ margin; otherwise uncertain
//
// A distance that is NaN is not assessed.
func Judge(d uncertainty.Length, margin float64) Verdict {
	u := d.U()
	switch {
	case d.Value < 0:
		return NotHeld
	case d.Value-u >= margin:
		return Held
	case d.Value+u < margin:
		return NotHeld
	case d.Value == d.Value && u == u:
		return Uncertain
	}
	return NotAssessed
}
