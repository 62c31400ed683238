package report

import (
	"encoding/json"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// The shape of result.json, described for others by result.schema.json. Names carry units; a
// number that is not known is null.

type resultJSON struct {
	Format     int               `json:"format"`
	Content    string            `json:"content_sha256"`
	Files      map[string]string `json:"files,omitempty"`
	Case       string            `json:"case"`
	Jaw        measure.Jaw       `json:"jaw"`
	Synthetic  bool              `json:"synthetic"`
	Cautions   []measure.Caution `json:"cautions"`
	Provenance provenanceJSON    `json:"provenance"`
	Scan       scanJSON          `json:"scan"`
	Convention conventionJSON    `json:"convention"`
	Margins    []marginJSON      `json:"margins"`
	Structures []structureJSON   `json:"structures"`
	Sites      []siteJSON        `json:"sites"`
	Arch       archJSON          `json:"arch"`
}

type provenanceJSON struct {
	Tool    string            `json:"tool"`
	Date    string            `json:"date,omitempty"`
	Options map[string]string `json:"options,omitempty"`
	Plan    planJSON          `json:"plan"`
	Source  *sourceJSON       `json:"source,omitempty"`
}

// sourceJSON holds replaced UIDs only: those of a series lead to the patient; so does no pseudonym without its key.
type sourceJSON struct {
	Study     string   `json:"study_uid,omitempty"`
	Series    string   `json:"series_uid,omitempty"`
	Frame     string   `json:"frame_of_reference_uid,omitempty"`
	Class     string   `json:"class_uid,omitempty"`
	Images    []string `json:"image_uids,omitempty"`
	Pseudonym string   `json:"pseudonym,omitempty"`
}

type planJSON struct {
	SHA256 string `json:"sha256"`
}

type scanJSON struct {
	SeriesHash     string            `json:"series_hash"`
	FrameHash      string            `json:"frame_hash,omitempty"`
	Size           [3]int            `json:"size_voxels"`
	Spacing        [3]num            `json:"spacing_mm"`
	Encoding       string            `json:"encoding"`
	Orientation    string            `json:"orientation"`
	Verdict        string            `json:"verdict"`
	Cautions       []measure.Caution `json:"cautions,omitempty"`
	Blur           num               `json:"blur_sigma_mm"`
	Noise          num               `json:"noise_sd"`
	ScaleHalfWidth num               `json:"scale_half_width"`
}

type conventionJSON struct {
	Occlusal vec    `json:"occlusal"`
	From     string `json:"occlusal_from"`
	Note     string `json:"orientation_note,omitempty"`
}

type marginJSON struct {
	Name    string `json:"name"`
	Margin  num    `json:"margin_mm"`
	Source  string `json:"source"`
	Mark    string `json:"mark,omitempty"`
	Changed bool   `json:"changed_by_plan"`
}

type structureJSON struct {
	Name       string       `json:"name"`
	Kind       measure.Kind `json:"kind"`
	Path       []vec        `json:"path_mm,omitempty"`
	Radii      []num        `json:"radii_mm,omitempty"`
	Surface    *surfaceJSON `json:"surface,omitempty"`
	SD         num          `json:"sd_mm"`
	Margin     *float64     `json:"margin_mm,omitempty"`
	Removal    bool         `json:"planned_removal,omitempty"`
	Lift       float64      `json:"planned_lift_mm,omitempty"`
	Proposed   bool         `json:"proposed,omitempty"`
	Confidence *float64     `json:"confidence,omitempty"`
}

type surfaceJSON struct {
	Points    []vec    `json:"points_mm"`
	Triangles [][3]int `json:"triangles"`
}

type frameJSON struct {
	Arc     num `json:"arc_mm"`
	Origin  vec `json:"origin_mm"`
	Buccal  vec `json:"buccal"`
	Coronal vec `json:"coronal"`
	Along   vec `json:"along_arch"`
}

type chordJSON struct {
	Depth        num `json:"depth_mm"`
	Buccal       uv  `json:"buccal_mm"`
	Lingual      uv  `json:"lingual_mm"`
	BuccalInner  *uv `json:"buccal_inner_mm,omitempty"`
	LingualInner *uv `json:"lingual_inner_mm,omitempty"`
}

type levelJSON struct {
	Depth num   `json:"depth_mm"`
	Line  [2]uv `json:"line_mm"`
}

type implantJSON struct {
	Platform     vec `json:"platform_mm"`
	Axis         vec `json:"axis"`
	Diameter     num `json:"diameter_mm"`
	ApexDiameter num `json:"apex_diameter_mm,omitempty"`
	Length       num `json:"length_mm"`
}

type findingJSON struct {
	To       string             `json:"to"`
	Kind     measure.Kind       `json:"kind"`
	Distance num                `json:"distance_mm"`
	Std      num                `json:"standard_uncertainty_mm"`
	U        num                `json:"expanded_uncertainty_mm"`
	Budget   uncertainty.Budget `json:"budget,omitempty"`
	Near     [2]vec             `json:"nearest_points_mm"`
	Margin   num                `json:"margin_mm"`
	Source   string             `json:"margin_source,omitempty"`
	Verdict  measure.Verdict    `json:"verdict"`
	Reason   string             `json:"reason,omitempty"`
}

type rungJSON struct {
	Diameter     num             `json:"diameter_mm"`
	Length       num             `json:"length_mm"`
	ApexDiameter num             `json:"apex_diameter_mm,omitempty"`
	Lateral      num             `json:"shift_buccal_mm"`
	Depth        num             `json:"shift_apical_mm"`
	InSection    num             `json:"turn_in_section_deg"`
	MesioDistal  num             `json:"turn_along_arch_deg"`
	Implant      implantJSON     `json:"implant"`
	Reserve      num             `json:"reserve_mm"`
	U            num             `json:"expanded_uncertainty_mm"`
	Limit        string          `json:"limit"`
	Verdict      measure.Verdict `json:"verdict"`
	Reason       string          `json:"reason,omitempty"`
	Findings     []findingJSON   `json:"findings,omitempty"`
}

type rowJSON struct {
	Sites    string             `json:"sites,omitempty"`
	Quantity quantity.Name      `json:"quantity"`
	At       *float64           `json:"at_mm,omitempty"`
	To       string             `json:"to,omitempty"`
	Value    *float64           `json:"value"`
	Unit     string             `json:"unit"`
	Std      *float64           `json:"standard_uncertainty,omitempty"`
	U        *float64           `json:"expanded_uncertainty,omitempty"`
	Budget   uncertainty.Budget `json:"budget,omitempty"`
	Margin   *float64           `json:"margin_mm,omitempty"`
	Verdict  measure.Verdict    `json:"verdict,omitempty"`
	Note     string             `json:"note,omitempty"`
	Kind     measure.Kind       `json:"kind,omitempty"`
}

type siteJSON struct {
	ID        string           `json:"id"`
	Tooth     string           `json:"tooth"`
	Side      measure.Side     `json:"side,omitempty"`
	Name      string           `json:"name,omitempty"`
	Frame     frameJSON        `json:"frame"`
	Outline   []uv             `json:"outline_mm,omitempty"`
	Crest     uv               `json:"crest_mm"`
	Axis      uv               `json:"axis"`
	AxisFrom  measure.AxisRule `json:"axis_from"`
	Chords    []chordJSON      `json:"chords,omitempty"`
	HeightEnd uv               `json:"height_end_mm"`
	HeightTo  measure.Limit    `json:"height_to"`
	Open      string           `json:"height_open,omitempty"`
	Usable    *float64         `json:"usable_crest_depth_mm,omitempty"`
	Level     *levelJSON       `json:"level,omitempty"`
	Implant   *implantJSON     `json:"implant,omitempty"`
	Findings  []findingJSON    `json:"findings,omitempty"`
	Tried     []rungJSON       `json:"sizes_tried,omitempty"`
	Rows      []rowJSON        `json:"measurements,omitempty"`
	Verdict   measure.Verdict  `json:"verdict"`
	Note      string           `json:"note,omitempty"`
	Err       string           `json:"error,omitempty"`
}

type archJSON struct {
	Curve  []vec     `json:"curve_mm,omitempty"`
	Length num       `json:"length_mm"`
	Rows   []rowJSON `json:"measurements,omitempty"`
}

// num is a number that may be unknown: NaN and infinities are null.
type num float64

func (n num) MarshalJSON() ([]byte, error) {
	if x := float64(n); math.IsNaN(x) || math.IsInf(x, 0) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(n))
}

func (n *num) UnmarshalJSON(data []byte) error {
	if string(data) == "null" {
		*n = num(math.NaN())
		return nil
	}
	return json.Unmarshal(data, (*float64)(n))
}

// vec is a point or direction in the patient: [x, y, z].
type vec [3]num

func vecOf(v r3.Vec) vec      { return vec{num(v.X), num(v.Y), num(v.Z)} }
func (v vec) patient() r3.Vec { return r3.Vec{X: float64(v[0]), Y: float64(v[1]), Z: float64(v[2])} }

// uv is a point or direction in a section: [u, v].
type uv [2]num

func uvOf(p reformat.UV) uv       { return uv{num(p.U), num(p.V)} }
func (p uv) section() reformat.UV { return reformat.UV{U: float64(p[0]), V: float64(p[1])} }

func uvPointer(p *reformat.UV) *uv {
	if p == nil {
		return nil
	}
	out := uvOf(*p)
	return &out
}

func (p *uv) pointer() *reformat.UV {
	if p == nil {
		return nil
	}
	out := p.section()
	return &out
}

// each maps a slice; nil stays nil.
func each[A, B any](in []A, f func(A) B) []B {
	if in == nil {
		return nil
	}
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = f(a)
	}
	return out
}
