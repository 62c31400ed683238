package phantom

import "gonum.org/v1/gonum/spatial/r3"

// Section is the plane of one cross-section, spanned by two unit vectors.
type Section struct {
	Origin r3.Vec `json:"origin"` // on the arch curve; patient, mm
	Buccal r3.Vec `json:"buccal"` // away from the inside of the arch
	Up     r3.Vec `json:"up"`     // from base to crest
}

// Truth is what a perfect measurement of the case finds; it is written as truth.json.
type Truth struct {
	Case  string      `json:"case"`
	Jaw   string      `json:"jaw"`
	Blur  float64     `json:"blur_mm"`
	Noise float64     `json:"noise"`
	Voxel [3]float64  `json:"voxel_mm"`
	Sites []SiteTruth `json:"sites"`
}

// SiteTruth is the truth of one site, in the section that the plan's arch curve defines.
type SiteTruth struct {
	ID         string          `json:"site"`
	Arc        float64         `json:"arc_mm"`
	Section    Section         `json:"section"`
	Ridge      AxisTruth       `json:"ridge"`      // along the axis the ridge defines
	Design     AxisTruth       `json:"design"`     // along the axis the shape was drawn with
	Occlusal   AxisTruth       `json:"occlusal"`   // along −Up
	Clearances []ClearanceTrue `json:"clearances"` // of the site's planned implant
}

// AxisTruth is the truth of one section along one axis.
type AxisTruth struct {
	Axis    r3.Vec       `json:"axis"`  // crest to base, unit
	Crest   r3.Vec       `json:"crest"` // patient, mm
	Tilt    float64      `json:"tilt_deg"`
	Heights []HeightTrue `json:"heights"` // to every limit present, the least first
	Widths  []WidthTrue  `json:"widths"`
	Buccal  HollowTrue   `json:"buccal_undercut"`
	Lingual HollowTrue   `json:"lingual_undercut"`
}

// HeightTrue is the distance along the axis from the crest to the level of a limit.
type HeightTrue struct {
	To     string  `json:"to"` // canal, sinus, nasal_floor, border
	Height float64 `json:"height_mm"`
}

// WidthTrue is one chord with its plates.
type WidthTrue struct {
	At      float64  `json:"at_mm"`
	Width   float64  `json:"width_mm"`
	Buccal  *float64 `json:"buccal_plate_mm"`  // nil: no marrow on the chord
	Lingual *float64 `json:"lingual_plate_mm"` // nil: no marrow on the chord
}

// HollowTrue is an undercut; Depth 0 is none.
type HollowTrue struct {
	Depth float64 `json:"depth_mm"` // from the line that touches the wall above and below
	Level float64 `json:"level_mm"` // of the deepest point, below the crest along the axis
}

// ClearanceTrue is the least surface-to-surface distance of the planned implant.
type ClearanceTrue struct {
	To       string  `json:"to"` // the structure's name, or the other site
	Distance float64 `json:"distance_mm"`
}
