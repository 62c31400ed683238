package safety

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// Bone answers how an implant stands in the bone. The section's outline or the volume is
// behind it; this package sees neither.
type Bone interface {
	// Reserve returns by how much the bone beside the implant exceeds its margins, in mm
	// (negative: by how much it falls short), its standard uncertainty in mm, and which plate
	// or limit decides. NaN says that it is not known, with the reason as limit. Where reserve − 2u
	// is no more than floor, mm, anything no more than floor will do for it, NaN too.
	Reserve(im Implant, floor float64) (reserve, u float64, limit string)
}

// Exit answers where an implant's axis leaves its planned tooth, against a window that the user gave. The tooth's surface is behind
// it; this package sees none.
type Exit interface {
	// Reserve returns by how much that place lies within the window, on the side where that is least sure, in mm (negative: by how
	// much it lies beyond), and its standard uncertainty in mm. NaN says that it is not known, with the reason.
	Reserve(im Implant) (reserve, u float64, reason string)
	// Doubt says why no place is sure whatever its uncertainty: nobody accepted where the tooth stands. Empty: nothing does.
	Doubt() string
}

// ExitWindow is what a [SizeResult] names as its limit where the window of an [Exit] decides.
const ExitWindow = "exit window"

// PoseRange is where an implant would stand, and how far it may leave that pose.
type PoseRange struct {
	Platform r3.Vec // mm
	Axis     r3.Vec // unit vector, platform to apex
	Buccal   r3.Vec // in the section, unit vector; its part along Axis is taken out

	Lateral     [2]float64 // shift along Buccal, least and most, mm
	Depth       [2]float64 // shift along Axis, least and most, mm
	InSection   [2]float64 // turn in the section, apex toward Buccal, least and most, degrees
	MesioDistal [2]float64 // turn along the arch, apex toward Axis × Buccal, least and most, degrees

	Exit Exit // keeps the axis within a window of the planned tooth; nil: it may leave it anywhere
}

// Pose is how an implant stands within a [PoseRange]: its difference from the range's own.
type Pose struct {
	Lateral     float64 `json:"shift_buccal_mm"`     // mm
	Depth       float64 `json:"shift_apical_mm"`     // mm
	InSection   float64 `json:"turn_in_section_deg"` // degrees
	MesioDistal float64 `json:"turn_along_arch_deg"` // degrees
}

// Size is a plain implant size.
type Size struct {
	Diameter float64 `json:"diameter_mm"`               // mm
	Length   float64 `json:"length_mm"`                 // mm
	Apex     float64 `json:"apex_diameter_mm,omitzero"` // diameter at the apex, mm; 0: as Diameter
}

// SizeResult is one size that was tried at a site, in the best pose found for it.
type SizeResult struct {
	Size
	Pose     Pose      `json:",inline"`
	Implant  Implant   `json:"implant"`
	Reserve  float64   `json:"reserve_mm"`              // of what limits: distance − margin, mm; NaN: not known
	U        float64   `json:"expanded_uncertainty_mm"` // expanded uncertainty of that reserve, mm
	Limit    string    `json:"limit"`                   // what limits, and so decides the verdict: a structure's name or what the bone said
	Verdict  Verdict   `json:"verdict"`                 // held: every reserve − U ≥ 0; not held: some reserve + U < 0; not assessed: see Reason
	Reason   string    `json:"reason,omitempty"`
	Findings []Finding `json:"findings,omitempty"` // of all structures in this pose

	known Verdict // of what limits
}

// TrySizes seeks, for every size, the pose among poses in which the smallest
// reserve − U is largest, over all structures that are judged, the bone and the exit window. It answers
// whether a size can hold the margins given here; it chooses nothing.
//
// A finding in absent (see [Missing]) makes every result not assessed that is not surely not held.
// The same question gives the same answer: the search draws no random numbers. It finds a local
// optimum from a grid of initial poses; a better one may exist, so not held means "none found".
//
// It fails for limits that are no interval or lie beyond ±60°, and for a size or an axis that makes no body ([solid.ErrBody]).
func (s *Scene) TrySizes(poses PoseRange, sizes []Size, bone Bone, rules Rules, opts Options, absent []Finding) ([]SizeResult, error) {
	if err := poses.check(); err != nil {
		return nil, err
	}
	f := sizeSearch{scene: s, poses: poses, bone: bone, rules: rules, opts: opts}
	f.prepare()
	if len(sizes) > 0 {
		f.nearFirst(sizes[0])
	}
	out := make([]SizeResult, len(sizes))
	var last *Pose // the last size's best, where the next is sought too
	for i, size := range sizes {
		if _, err := poses.implant(size, Pose{}).Shape(); err != nil {
			return nil, fmt.Errorf("size %g × %g mm: %w", size.Diameter, size.Length, err)
		}
		pose := f.best(size, last)
		last = &pose
		r, err := f.result(size, pose, absent)
		if err != nil {
			return nil, err
		}
		out[i] = r
	}
	return out, nil
}

// LargestHeld returns the sizes at the edge of what holds, the widest first: of those whose verdict is
// held, each that no other one of at least its diameter and at least its length exceeds.
func LargestHeld(results []SizeResult) []SizeResult {
	var held, out []SizeResult
	for _, r := range results {
		if r.Verdict == Held {
			held = append(held, r)
		}
	}
	slices.SortStableFunc(held, func(a, b SizeResult) int {
		return cmp.Or(cmp.Compare(b.Diameter, a.Diameter), cmp.Compare(b.Length, a.Length))
	})
	for _, r := range held {
		if len(out) == 0 || r.Length > out[len(out)-1].Length {
			out = append(out, r)
		}
	}
	return out
}

func (s PoseRange) check() error {
	for _, l := range []struct {
		name  string
		limit [2]float64
		most  float64
	}{{"lateral shift", s.Lateral, 50}, {"depth", s.Depth, 50}, {"turn in the section", s.InSection, 60}, {"mesio-distal turn", s.MesioDistal, 60}} {
		if !(l.limit[0] <= l.limit[1] && l.limit[0] >= -l.most && l.limit[1] <= l.most) {
			return fmt.Errorf("safety: limits of the %s are %g … %g, want least ≤ most within ±%g", l.name, l.limit[0], l.limit[1], l.most)
		}
	}
	b := r3.Sub(s.Buccal, r3.Scale(r3.Dot(s.Buccal, s.Axis), s.Axis))
	if !(math.Abs(r3.Norm(s.Axis)-1) <= 1e-6 && r3.Norm(b) >= 1e-6) {
		return fmt.Errorf("%w: poses about axis %v and buccal direction %v", solid.ErrBody, s.Axis, s.Buccal)
	}
	return nil
}

// implant returns the implant of a size in a pose: turned about the range's platform centre,
// then shifted.
func (s PoseRange) implant(size Size, p Pose) Implant {
	buccal := r3.Unit(r3.Sub(s.Buccal, r3.Scale(r3.Dot(s.Buccal, s.Axis), s.Axis)))
	side := r3.Cross(s.Axis, buccal)
	turn := r3.Add(r3.Scale(tan(p.InSection), buccal), r3.Scale(tan(p.MesioDistal), side))
	at := r3.Add(s.Platform, r3.Add(r3.Scale(p.Lateral, buccal), r3.Scale(p.Depth, s.Axis)))
	return Implant{Platform: at, Axis: r3.Unit(r3.Add(s.Axis, turn)), Diameter: size.Diameter, ApexDiameter: size.Apex, Length: size.Length}
}

func tan(degrees float64) float64 { return math.Tan(degrees * math.Pi / 180) }

// result holds a size in its pose against everything.
func (f *sizeSearch) result(size Size, p Pose, absent []Finding) (SizeResult, error) {
	r := SizeResult{Size: size, Pose: p, Implant: f.poses.implant(size, p), Reserve: math.NaN(), U: math.NaN(), Verdict: Held}
	var err error
	if r.Findings, err = f.scene.Check(r.Implant, f.rules, f.opts); err != nil {
		return r, err
	}
	for _, x := range r.Findings {
		switch x.Verdict {
		case NoMargin:
		case NotAssessed:
			r.unknown(x.Reason)
		default:
			r.take(x.Distance.Value-x.Margin, x.Distance.U(), x.To, x.Distance.Value < 0)
		}
	}
	switch {
	case f.bone == nil:
		r.unknown("the bone beside the implant was not given")
	default:
		if reserve, u, limit := f.bone.Reserve(r.Implant, math.Inf(-1)); reserve == reserve && u == u {
			r.take(reserve, uncertainty.Coverage*u, limit, false)
		} else {
			r.unknown(limit)
		}
	}
	for _, x := range absent {
		r.unknown(x.Reason)
	}
	r.exits(f.poses.Exit)
	return r, nil
}

// exits counts where the axis leaves its planned tooth in: a place that is not sure leaves nothing held.
func (r *SizeResult) exits(exit Exit) {
	if exit == nil {
		return
	}
	reserve, u, why := exit.Reserve(r.Implant)
	if reserve != reserve || u != u {
		r.unknown(why)
		return
	}
	r.take(reserve, uncertainty.Coverage*u, ExitWindow, false)
	if why := exit.Doubt(); why != "" {
		if r.Verdict == Held {
			r.Verdict = Uncertain
		}
		r.say(why)
	}
}

// take counts one reserve and its U, mm, in; an overlap is not held whatever its U. What limits is the worst by verdict, then by reserve − U: so
// that the number told is the one that decided. (A sure loss of 0.5 ± 0.2 mm has more reserve − U than a
// doubt of 0.5 ± 2 mm.)
func (r *SizeResult) take(reserve, u float64, limit string, overlap bool) {
	verdict := Held
	switch {
	case overlap, reserve+u < 0:
		verdict = NotHeld
	case reserve-u < 0:
		verdict = Uncertain
	}
	first := math.IsNaN(r.Reserve)
	if first || verdict.WorseThan(r.known) || verdict == r.known && reserve-u < r.Reserve-r.U {
		r.Reserve, r.U, r.Limit, r.known = reserve, u, limit, verdict
	}
	if verdict == NotHeld || verdict == Uncertain && r.Verdict == Held {
		r.Verdict = verdict
	}
}

// unknown counts something in that is not known.
func (r *SizeResult) unknown(reason string) {
	if r.Verdict != NotHeld {
		r.Verdict = NotAssessed
	}
	r.say(reason)
}

func (r *SizeResult) say(reason string) {
	if r.Reason != "" {
		r.Reason += "; "
	}
	r.Reason += reason
}
