package align

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// Implant is an implant as it is planned or as it stands: a flat-ended cylinder or cone.
type Implant struct {
	Platform r3.Vec  // centre of its coronal end, mm
	Axis     r3.Vec  // unit, to the apex
	Diameter float64 // at the platform, mm
	Apex     float64 // diameter at the apex, mm; 0 means that of the platform
	Length   float64 // mm
}

// at returns the point of the body's axis so many mm below the platform.
func (b Implant) at(depth float64) r3.Vec { return r3.Add(b.Platform, r3.Scale(depth, b.Axis)) }

// Deviation is by how much a placed implant is off its plan: d = placed − planned, a the planned axis.
//
//	coronal   |d| at the platform            depth    d·a at the platform, + deeper
//	apical    |d| at the apex                lateral  |d − (d·a)·a|
//
// The apex is that of the shorter of the two: an implant of another length is compared where both are. Where the placed axis
// pierces the planned platform's plane is another lateral deviation in use ([Deviation.Entry]); the two differ where
// depth and angle both do.
//
// Source: the definitions in use in the literature (docs/alignment.md).
type Deviation struct {
	Coronal, Apical               uncertainty.Length // mm
	Depth                         uncertainty.Length // mm, signed
	LateralCoronal, LateralApical uncertainty.Length // mm
	Mesial, Buccal                uncertainty.Length // mm, the signed parts of LateralCoronal; distal and lingual are negative
	MesialApical, BuccalApical    uncertainty.Length // mm, those of LateralApical
	Entry                         uncertainty.Length // mm; NaN where the placed axis runs beside the plane
	Angle                         uncertainty.Angle  // degrees
	ApexAt                        float64            // how deep below the platform the apices were compared, mm
}

// Sides are the directions of a site, in the planned implant's frame; unit vectors, made perpendicular to its axis here.
type Sides struct{ Mesial, Buccal r3.Vec }

// Deviate returns the deviations of placed, found in the second scan, from planned, given in the first; t takes first to
// second. Each carries the alignment at its place, and how well the placed implant is known. known is false, and the
// budgets are empty, where the alignment's uncertainty is not.
func Deviate(planned Implant, placed FoundImplant, t Transform, sides Sides) (d Deviation, known bool) {
	back := t.Inverse()
	there := Implant{back.Apply(placed.Platform), back.Turn(placed.Axis), placed.Diameter, placed.Apex, placed.Length}
	d.ApexAt = min(planned.Length, placed.Length)
	a := planned.Axis
	m := r3.Unit(across(sides.Mesial, a))
	b := r3.Unit(across(sides.Buccal, a))
	q := question{back: back, placed: placed, there: there}
	top, tip := r3.Sub(there.Platform, planned.Platform), r3.Sub(there.at(d.ApexAt), planned.at(d.ApexAt))
	side, sideTip := across(top, a), across(tip, a)
	d.Coronal, d.Apical = q.length(r3.Norm(top), 0, top), q.length(r3.Norm(tip), d.ApexAt, tip)
	d.Depth = q.length(r3.Dot(top, a), 0, a)
	d.LateralCoronal, d.LateralApical = q.length(r3.Norm(side), 0, side), q.length(r3.Norm(sideTip), d.ApexAt, sideTip)
	d.Mesial, d.Buccal = q.length(r3.Dot(top, m), 0, m), q.length(r3.Dot(top, b), 0, b)
	d.MesialApical, d.BuccalApical = q.length(r3.Dot(tip, m), d.ApexAt, m), q.length(r3.Dot(tip, b), d.ApexAt, b)
	d.Entry = q.entry(planned)
	d.Angle = q.angle(a)
	return d, t.Spread != nil
}

// question holds what every deviation asks.
type question struct {
	back   Transform // second → first
	placed FoundImplant
	there  Implant // the placed one, in the first scan
}

// length returns a deviation of value mm, so deep below the placed platform, along dir (of any length; none: any) in the
// first scan.
func (q question) length(value, depth float64, dir r3.Vec) uncertainty.Length {
	out := uncertainty.Length{Value: value}
	if r3.Norm(dir) == 0 {
		dir = q.there.Axis
	}
	dir = r3.Unit(dir)
	term, known := q.back.Term(q.there.at(depth), dir)
	if !known {
		return out
	}
	along := r3.Dot(dir, q.there.Axis)
	across := math.Sqrt(max(0, 1-along*along))
	out.Budget = uncertainty.Budget{term,
		uncertainty.Moved("placed implant found along its axis", q.placed.Along, math.Abs(along)),
		uncertainty.Moved("placed implant found across its axis", q.placed.across(depth), across)}
	return out
}

// entry is how far the placed axis pierces the planned platform's plane from the platform's centre, mm.
func (q question) entry(planned Implant) uncertainty.Length {
	lean := r3.Dot(q.there.Axis, planned.Axis)
	if math.Abs(lean) < 0.1 {
		return uncertainty.Length{Value: math.NaN()}
	}
	depth := -r3.Dot(r3.Sub(q.there.Platform, planned.Platform), planned.Axis) / lean
	off := r3.Sub(q.there.at(depth), planned.Platform)
	return q.length(r3.Norm(off), depth, off)
}

// angle is that between the planned axis a and the placed one.
func (q question) angle(a r3.Vec) uncertainty.Angle {
	cross := r3.Cross(a, q.there.Axis)
	out := uncertainty.Angle{Value: math.Atan2(r3.Norm(cross), r3.Dot(a, q.there.Axis)) * 180 / math.Pi}
	about := cross
	if r3.Norm(about) < 1e-9 {
		about = r3.Cross(a, r3.Vec{X: 0.6, Y: 0.8})
	}
	term, known := q.back.AngleTerm(r3.Unit(about))
	if known {
		out.Budget = uncertainty.Budget{term, {Name: "placed implant's axis", Std: q.placed.Lean}}
	}
	return out
}
