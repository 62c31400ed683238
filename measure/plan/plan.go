package plan

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
)

// Jaw is the jaw a plan is about.
type Jaw string

// The two jaws.
const (
	Mandible Jaw = "mandible"
	Maxilla  Jaw = "maxilla"
)

// Limit is what a ridge height ends at.
type Limit string

// The limits of a ridge height, as the plan file and the tables spell them.
const (
	ToAuto       Limit = "auto"
	ToCanal      Limit = "canal"
	ToSinus      Limit = "sinus"
	ToNasalFloor Limit = "nasal_floor"
	ToBorder     Limit = "border"

	// Where the axis leaves the bone before its base; a plan cannot ask for them.
	ToBuccalWall  Limit = "buccal_wall"
	ToLingualWall Limit = "lingual_wall"
)

// AxisRule says where a site's axis comes from.
type AxisRule string

// The axis rules. AxisGiven goes with a vector.
const (
	AxisRidge    AxisRule = "ridge"
	AxisOcclusal AxisRule = "occlusal"
	AxisGiven    AxisRule = "given"
)

// Plan is a site plan as its file says it: what to measure and what to keep away from. Its points are in the
// file's coordinates, which [Plan.Place] turns into patient coordinates on the grid of a scan.
//
// No function of this module changes a Plan that it is given; who wants another one changes a [Plan.Clone].
type Plan struct {
	Contents
	Voxels        bool     // points are voxel indices (i, j, k) and not patient coordinates
	OcclusalGiven r3.Vec   // unit vector from the base of the jaw toward the biting surface; 0: not given
	OcclusalPlane []r3.Vec // three points of the occlusal plane; nil: the direction, or the jaw's usual one
	LevelPoints   []r3.Vec // three points of the plane at which crests are levelled; nil: none
	OcclusalLevel []r3.Vec // three points of the planned occlusal plane, or one that it passes through; nil: none
}

// Placed is a plan on the grid of a scan: every point is in patient coordinates (LPS, mm), planes and directions
// are settled, the arch curve is laid, and what needs no pixel has been checked. [Plan.Place] makes it; it does
// not change once made.
type Placed struct {
	Contents
	Occlusal      r3.Vec // unit vector from the base of the jaw toward the biting surface
	OcclusalFrom  string // "given vector", "plane by three points", "default for the mandible" …
	LevelPlane    *Plane // at which crests are levelled; nil: none but where a site says
	OcclusalLevel *Plane // planned; nil: the restorative space is not asked
	Curve         *reformat.Curve
	Landmarks     Landmarks

	source *Source // for messages
	grid   volume.Grid
	doubts *Doubts
}

// Contents is what a plan holds whether it is placed or not. Points are in the file's coordinates in a [Plan], in
// the patient's (LPS, mm) in a [Placed]; lengths are mm in both.
type Contents struct {
	Case            string
	Jaw             Jaw
	OrientationNote string
	Arch            []r3.Vec // ≥ 4 points
	Midline         *r3.Vec  // a point on the patient's midline, near the arch; nil: not given
	PlacedSD        float64  // standard uncertainty of the arch points and sites, as placed, mm
	Sites           []Site
	Structures      []safety.Structure
	Margins         map[string]float64 // mm, overrides by kind of structure or "buccal_plate", "lingual_plate", "basal_cortex"
	MarginsSource   string
	ProsthesisEnd   []r3.Vec     // planned ends, whose distal extension is asked
	ScaleHalfWidth  float64      // relative half-width of the scan's scale error, no unit
	For             MadeFor      // the scan it was made on
	Declared        []Declared   // what the jaw does not have, or the scan does not show
	Proposed        []string     // "jaw", "occlusal", "arch": proposed by a program and confirmed by nobody
	Review          *Review      // nil: nobody reviewed it
	Restoration     *Restoration // the planned teeth; nil: none
	Readings        []Reading    // read off the pictures by somebody; ends in the file's coordinates
	Path            string       // the file it came from, base name only
	SHA256          string       // see [Hash]

	Files map[string]string // SHA-256 (64 hex digits) of the arch file and the surfaces, by the names that the plan gives them; nil: it names none
}

// Site is one candidate place for an implant.
type Site struct {
	ID, Tooth   string    // Tooth in ISO 3950 two-digit designation
	At          *r3.Vec   // projected on the arch; nil: ArcMM is set
	ArcMM       *float64  // arc length, mm
	Axis        AxisRule  //
	AxisVec     r3.Vec    // unit vector from crest to base, when Axis is AxisGiven
	HeightTo    Limit     //
	Crest       *r3.Vec   // the operator's crest point; nil: found
	Depths      []float64 // depths of the widths and plates below the crest, mm, ascending
	WantedWidth float64   // mm; 0: not asked
	Level       *float64  // how deep the crest is levelled, mm, 0: not at all; nil: at the plan's plane if it has one
	Implant     *PlannedImplant
	Sizes       *Sizes
	Confirmed   []string // findings that a person looked at: "place", "order", "side", "platform", "axis"
	Proposed    bool     // by a program, confirmed by nobody
}

// PlannedImplant is a site's virtual implant; what is left out comes from the measured site.
type PlannedImplant struct {
	Platform     *r3.Vec // nil: the crest point (or the usable crest)
	Axis         *r3.Vec // unit vector platform to apex; nil: the site's axis
	Diameter     float64 // mm
	ApexDiameter float64 // mm; 0: as Diameter
	Length       float64 // mm
	BeyondRidge  bool    // anchored on purpose outside the ridge: distances are given, nothing is judged
}

// Sizes are plain implant sizes to try at a site.
type Sizes struct {
	Diameters []float64 // mm, ascending
	Lengths   []float64 // mm, ascending

	// How far an implant may leave the site's platform and axis: least and most; nil: as
	// measure/sizes.go says.
	Lateral *[2]float64 // toward buccal, mm
	Depth   *[2]float64 // toward the apex, mm
	Lean    *[2]float64 // in the section, apex toward buccal, degrees
	Along   *[2]float64 // along the arch, apex toward axis × buccal, degrees
}

// Side is a side of the patient.
type Side string

// The two sides.
const (
	Left  Side = "left"
	Right Side = "right"
)

// Widest returns the largest diameter to try, in mm; 0 where there is none.
func (s *Sizes) Widest() float64 {
	if len(s.Diameters) == 0 {
		return 0
	}
	return slices.Max(s.Diameters)
}
