package measure

import (
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// Result is everything one case gave: numbers, where they were taken, and on what.
type Result struct {
	Case            string
	Jaw             Jaw
	Occlusal        r3.Vec // unit vector, patient LPS
	OcclusalFrom    string
	OrientationNote string
	Sites           []SiteResult
	Arch            ArchResult
	Structures      []safety.Structure // what the plan marked, as held against the implants
	Margins         []NamedRule
	Cautions        []Caution // of series, plan and sites: each is carried into every output
	Scan            Scan
	Plan            PlanFacts
	ScaleHalfWidth  float64 // relative, no unit
	Synthetic       bool
}

// Row is one number of measurements.csv: quantity, where, value, uncertainty, verdict.
type Row struct {
	Quantity quantity.Name
	At       *float64 // depth below the crest (below the platform for bone beside an implant), mm; nil: does not apply
	To       string
	Value    *float64 // in Unit; nil: no number, and Note says why
	Unit     string   // "mm", "mm2", "mm3", "deg" or "1"
	Budget   uncertainty.Budget
	Margin   *float64 // mm; nil: no margin applies
	Verdict  safety.Verdict
	Note     string
	Kind     safety.Kind // of the structure, for a clearance
}

// newRow returns a row without a number, in its quantity's unit; what it goes to and its note may be empty.
func newRow(q quantity.Name, to, note string) Row {
	return Row{Quantity: q, To: to, Unit: q.Unit(), Note: note}
}

// with returns the row with a number.
func (r Row) with(value float64, b uncertainty.Budget) Row {
	r.Value, r.Budget = &value, b
	return r
}

// SiteResult is what was measured at one site. A site that could not be measured carries Err
// and rows without values.
type SiteResult struct {
	ID          string              `json:"id"`
	Tooth       string              `json:"tooth"`
	Side        Side                `json:"side,omitempty"`       // where the site lies, by its place and never by its number; empty: not known
	Name        string              `json:"name,omitempty"`       // tooth and place in words: "36, lower left first molar"
	Frame       reformat.Frame      `json:"frame"`                // of the site's section
	Outline     []reformat.UV       `json:"outline_mm,omitempty"` // closed outer edge of the bone, section mm; first point not repeated
	Crest       reformat.UV         `json:"crest_mm"`             // crest point, section mm
	Axis        reformat.UV         `json:"axis"`                 // unit vector crest to base, section
	AxisFrom    AxisRule            `json:"axis_from"`
	Chords      []Chord             `json:"chords,omitempty"`                // one a depth of the plan
	HeightEnd   reformat.UV         `json:"height_end_mm"`                   // where the height ends on the axis line, section mm
	HeightTo    Limit               `json:"height_to"`                       // what it ends at; empty: no height
	HeightOpen  string              `json:"height_open,omitempty"`           // why that is not the limit asked for: "canal not marked"; empty: it is
	UsableDepth *float64            `json:"usable_crest_depth_mm,omitempty"` // of the usable crest below the crest, mm; nil: not asked or none
	Level       *Level              `json:"level,omitempty"`                 // where the crest is levelled; nil: it is not
	Implant     *safety.Implant     `json:"implant,omitempty"`               // the virtual implant as held against the margins
	Restoration [][]reformat.UV     `json:"restoration_mm,omitempty"`        // lines along which the section cuts the planned teeth, section mm
	Mucosa      [][]reformat.UV     `json:"mucosa_mm,omitempty"`             // and the planned mucosa
	Findings    []safety.Finding    `json:"findings,omitempty"`
	SizesTried  []safety.SizeResult `json:"sizes_tried,omitempty"` // the sizes tried, in the plan's order; empty: none asked
	Rows        []Row               `json:"measurements,omitempty"`
	Verdict     safety.Verdict      `json:"verdict"`         // the worst of its findings
	Note        string              `json:"note,omitempty"`  // the notes in one line, for tables
	Notes       []Caution           `json:"notes,omitempty"` // what must be known of its numbers, and why some are missing
	Err         string              `json:"error,omitempty"` // why the site could not be measured; empty: measured
}

// Level is the cut that levels a site's crest, in its section.
type Level struct {
	Depth float64        `json:"depth_mm"` // of the new crest below the old one along the axis, mm
	Line  [2]reformat.UV `json:"line_mm"`  // where the cut enters and leaves the bone, section mm
}

// Chord is one width of the ridge in its section, with the inner edges of its plates.
type Chord struct {
	Depth        float64      `json:"depth_mm"`  // below the crest along the axis, mm
	Buccal       reformat.UV  `json:"buccal_mm"` // outer edges, section mm
	Lingual      reformat.UV  `json:"lingual_mm"`
	BuccalInner  *reformat.UV `json:"buccal_inner_mm,omitempty"` // endosteal edges; nil: thinner than the scan resolves, or not found
	LingualInner *reformat.UV `json:"lingual_inner_mm,omitempty"`
}

// ArchResult holds the rows that concern several sites. Row.To of a pair row names nothing;
// the pair is in Sites.
type ArchResult struct {
	Curve  []r3.Vec  `json:"curve_mm,omitempty"` // the arch curve, evenly spaced, patient LPS, mm
	Length float64   `json:"length_mm"`          // mm
	Rows   []ArchRow `json:"measurements,omitempty"`

	Planned []PlannedTooth `json:"planned_teeth,omitempty"`
}

// ArchRow is a row whose site column is "arch" or two site ids joined by "|".
type ArchRow struct {
	Sites string
	Row
}

// NamedRule is one margin in force.
type NamedRule struct {
	Name string `json:"name"` // kind of structure, "buccal_plate", "lingual_plate" …
	safety.Rule
	Changed bool `json:"changed_by_plan"` // the plan changed it
}

// Scan is what was measured on, without identity.
type Scan struct {
	SeriesHash  string     `json:"series_hash"`          // sha256 that stands for the series
	FrameHash   string     `json:"frame_hash,omitempty"` // sha256 of its frame of reference UID; empty: it has none
	Size        [3]int     `json:"size_voxels"`          // voxels: columns, rows, slices
	Spacing     [3]float64 `json:"spacing_mm"`           // mm
	Encoding    string     `json:"encoding"`             // transfer syntax in words
	Orientation string     `json:"orientation"`          // in words
	Verdict     string     `json:"verdict"`              // "fit", "fit with cautions"
	Cautions    []Caution  `json:"cautions,omitempty"`   // what the series itself gives reason for
	Blur        float64    `json:"blur_sigma_mm"`        // Gaussian sigma estimated at the bone's edges, mm; NaN: not estimated
	Noise       float64    `json:"noise_sd"`             // SD in homogeneous bone or soft tissue, grey values; NaN: not estimated
}

// PlanFacts identify the plan, by its bytes: plans are named after patients, so no file name stands in a result.
type PlanFacts struct {
	SHA256 string
	Review *Reviewed // nil: nobody reviewed it. It changes no number and is not part of result.json
}

// Reviewed says who went through the plan. It is a record, not a signature.
type Reviewed struct {
	By, Role, At string
	Void         string // why it no longer stands: "the plan was changed"; empty: it does
}

// reviewed returns the review of a plan as it stands on a series.
func reviewed(p *plan.Placed, series string) *Reviewed {
	r := p.Review
	if r == nil {
		return nil
	}
	return &Reviewed{r.By, r.Role, r.At, r.Void(p.Contents, series)}
}

// Lookup returns the first row with this quantity (and depth, mm, when at is not NaN).
func (s *SiteResult) Lookup(q quantity.Name, at float64) (Row, bool) {
	for _, r := range s.Rows {
		if r.Quantity == q && (at != at || r.At != nil && *r.At == at) {
			return r, true
		}
	}
	return Row{}, false
}
