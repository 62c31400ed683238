package phantom

import "gonum.org/v1/gonum/spatial/r3"

// Kind is the jaw: mandible (the zero value) or maxilla.
type Kind int

// The two jaws.
const (
	Mandible Kind = iota
	Maxilla
)

// String returns "mandible" or "maxilla", as the site plan spells them.
func (k Kind) String() string { return [2]string{"mandible", "maxilla"}[k] }

// Options describe a jaw and its scan. The zero value is a plain, upright, noiseless mandible
// at 0.2 mm; [Demo] and [Random] give more lifelike ones.
type Options struct {
	Case      string    // label of the case in the plan; "" means "synthetic"
	Jaw       Kind      //
	Seed      uint64    // of noise, texture, site-to-site variation and scatter of arch points
	Shape     Shape     // the bone and what stands in it
	Grey      Levels    // grey values of the tissues
	Scan      Scan      // the grid, its blur and its noise
	Artefacts Artefacts // artefacts; the zero value has none
	Sockets   []int     // teeth (ISO 3950) that were taken out: their sockets; none of them stands
	Changes   []Change  // bone lost or gained since
	Implants  []Placed  // implants that stand in it
	Healing   float64   // of all sockets: 0 just emptied, with their cortical wall; 1 filled with marrow under a crest that has sunk
	Sites     []int     // teeth (ISO 3950) to measure; nil means eight usual sites of the jaw
	Teeth     []int     // standing teeth (ISO 3950); nil means the canines; empty and not nil: none
	Given     bool      // the plan gives each site the axis its shape was drawn with, else the ridge's own is to be found
	Hand      float64   // SD of the scatter of the plan's arch points, each of x and y, mm
}

// Shape is the bone. A zero length means the default in brackets, unless zero means none.
type Shape struct {
	Arch        float64 // size of the arch against a usual adult one, 0.85–1.15 [1]
	Width       float64 // ridge width below its rounded crest, mm [mandible 7.0, maxilla 7.5]
	Convexity   float64 // extra width half-way down to the base, mm; 0 is none
	Height      float64 // crest to base along the axis, mm [28; maxilla 34]
	CrestCap    float64 // height of the crest's rounding, mm [half the width: a half circle]
	Tilt        float64 // deg at every site, positive when the base lies buccal of the crest; 0 is upright
	Undercut    float64 // hollow of the lingual wall of the posterior mandible, of the buccal wall of the anterior maxilla, mm; 0 is none
	Level       float64 // depth of the hollow's deepest point below the crest, mm [11; maxilla 9]
	Crest       float64 // cortex at the crest, mm [1.2]
	Buccal      float64 // buccal plate, mm along the chord [1.6; maxilla 1.2]
	Lingual     float64 // lingual plate, mm along the chord [2.0; maxilla 1.4]
	Border      float64 // cortex at the base, mm [3.0; maxilla 1.5]
	Variation   float64 // 0…1: seeded, slow variation of all the above along the arch; 0 is none
	RidgeMucosa float64 // thickness over the crest and the walls, mm [2.0]

	CanalRadius float64 // mandibular canal, outer radius with its wall, mm [1.6]
	CanalWall   float64 // its cortical wall, inside that radius, mm [0.4]; negative: none
	CanalDepth  float64 // its roof below the crest at the first molar, along the axis, mm [14]
	Loop        float64 // anterior loop: how far the canal runs past the mental foramen before it turns back to it, mm along the arch; 0 is none

	SinusDepth  float64 // crest to sinus floor at the first molar, mm [9]
	SinusFloor  float64 // cortex of the sinus and nasal floor, mm [0.8]
	SinusMucosa float64 // lining of the sinus, mm; 0 is none
	Septum      float64 // a bony septum across the sinus: its height over the floor, mm; 0 is none
	NasalDepth  float64 // crest to nasal floor at the midline, mm [18]

	RootLean float64 // deg by which the roots of the standing teeth lean, their apices away from the midline; 0 is upright

	SeptumTooth int     // the tooth over which the septum stands (ISO 3950) [26]
	SeptumShift float64 // how far from that tooth's middle, mm along the arch, + toward the patient's left
	SeptumThick float64 // its thickness, mm [1.2]
}

// Levels are the relative grey values of the tissues; a zero Levels means the usual ones:
// air −1000, fat −100, soft tissue 50, marrow 400, cortex 1600, dentine 2000, enamel 2700.
type Levels struct {
	Air, Fat, Soft, Marrow, Cortex, Dentine, Enamel, Metal float64
	Texture                                                float64 // SD of the trabecular texture of the marrow; 0 is none
}

// Scan is the grid and the imaging.
type Scan struct {
	Voxel       [3]float64 // column, row and slice spacing, mm; 0 means 0.2, or the one before
	Size        [3]int     // voxels; 0 means as many as the jaw needs
	Centre      *r3.Vec    // patient position of the middle of the grid, mm; nil means the jaw's
	Turn        r3.Vec     // rotation of the grid: axis times angle in degrees; zero is axis-aligned
	Gantry      float64    // tilt of the gantry, deg: slices shifted along the row direction's normal (a sheared grid)
	Blur        float64    // sigma of the isotropic Gaussian, mm; 0 means 0.2
	Noise       float64    // SD of the grey values' noise; 0 is none
	Seed        uint64     // of the noise; 0 means the jaw's
	Correlation float64    // sigma of the noise's correlation in the slice, voxels; 0 is white
	Quick       bool       `json:"-"` // corners, junctions and thin plates may be blurred less exactly, up to three times faster
}

// Artefacts are the artefacts of a real scan; each zero value means none.
type Artefacts struct {
	Cupping float64 // grey value lost at the field's axis against its rim
	Streaks float64 // amplitude of the bright and dark bands from the implants or, without any, from a metal crown, grey values
	Bloom   float64 // by how much implants are drawn too large, all round, mm
	Top     float64 // grey values above this are written as this; 0 is none
	Rings   float64 // amplitude of rings about the field's axis, grey values
	Motion  r3.Vec  // the scan is the mean of two copies this far apart, mm
	Field   float64 // diameter of the cylinder outside which voxels are blank, mm
}
