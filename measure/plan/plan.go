package plan

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

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

// Plan is a checked site plan: what to measure and what to keep away from. Every point is in
// patient coordinates (LPS, mm), whatever the file used; see [Plan.VoxelPoints].
type Plan struct {
	Case            string
	Jaw             Jaw
	VoxelPoints     bool   // the file gave voxel indices and [Plan.Place] has not yet been called
	Occlusal        r3.Vec // unit vector from the base of the jaw toward the biting surface
	OcclusalFrom    string // "given vector", "plane by three points", "default for the mandible" …
	OrientationNote string
	Arch            []r3.Vec // ≥ 4 points, mm
	PlacedSD        float64  // standard uncertainty of the arch points and sites, as placed, mm
	Sites           []Site
	Structures      []safety.Structure
	Margins         map[string]float64 // mm, overrides by kind of structure or "buccal_plate", "lingual_plate", "basal_cortex"
	MarginsSource   string
	LevelPlane      *Plane     // at which crests are levelled; nil: none but where a site says
	OcclusalLevel   *Plane     // planned; nil: the restorative space is not asked
	ProsthesisEnd   []r3.Vec   // planned ends, whose distal extension is asked, mm
	ScaleHalfWidth  float64    // relative half-width of the scan's scale error, no unit
	Path            string     // the file it came from, base name only
	SHA256          string     // of the file's bytes, LF at the end of each line
	Midline         *r3.Vec    // a point on the patient's midline, near the arch, mm; nil: not given
	For             MadeFor    // the scan it was made on
	Declared        []Declared // what the jaw does not have, or the scan does not show
	Proposed        []string   // "jaw", "occlusal", "arch": proposed by a program and confirmed by nobody
	Cautions        []Caution  // what looks odd but may be meant; carried into every output

	plane *[3]r3.Vec      // the occlusal plane's points until they are placed
	cut   *planePoints    // of LevelPlane until they are placed
	level *planePoints    // of OcclusalLevel, likewise
	marks map[string]mark // where each point and station stands in the file
}

// Site is one candidate place for an implant.
type Site struct {
	ID, Tooth   string    // Tooth in ISO 3950 two-digit designation
	At          *r3.Vec   // projected on the arch, mm; nil: ArcMM is set
	ArcMM       *float64  // arc length, mm
	Axis        AxisRule  //
	AxisVec     r3.Vec    // unit vector from crest to base, when Axis is AxisGiven
	HeightTo    Limit     //
	Crest       *r3.Vec   // the operator's crest point, mm; nil: found
	Depths      []float64 // depths of the widths and plates below the crest, mm, ascending
	WantedWidth float64   // mm; 0: not asked
	Level       *float64  // how deep the crest is levelled, mm, 0: not at all; nil: at the plan's plane if it has one
	Implant     *PlannedImplant
	Sizes       *Sizes
	Confirmed   []string // findings that a person looked at: "place", "order", "side", "platform", "axis"
	Proposed    bool     // by a program, confirmed by nobody
	Line        int      // of the plan file, for messages
}

// PlannedImplant is a site's virtual implant; what is left out comes from the measured site.
type PlannedImplant struct {
	Platform     *r3.Vec // mm; nil: the crest point (or the usable crest)
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
