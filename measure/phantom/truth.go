package phantom

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

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
	Loops []LoopTrue  `json:"anterior_loops,omitempty"`
	Sites []SiteTruth `json:"sites"`
}

// LoopTrue is how far a mandibular canal runs past its mental foramen before it turns back to it: from the
// foramen's border to the loop's, along the arch, toward the midline.
type LoopTrue struct {
	Side   string  `json:"side"` // left or right
	Length float64 `json:"length_mm"`
}

// SiteTruth is the truth of one site, in the section that the plan's arch curve defines.
type SiteTruth struct {
	ID       string       `json:"site"`
	Arc      float64      `json:"arc_mm"`
	Section  Section      `json:"section"`
	Ridge    AxisTruth    `json:"ridge"`    // along the axis the ridge defines
	Design   AxisTruth    `json:"design"`   // along the axis the shape was drawn with
	Occlusal AxisTruth    `json:"occlusal"` // along −Up
	Implant  *ImplantTrue `json:"implant"`  // the site's planned implant
}

// AxisTruth is the truth of one section along one axis.
type AxisTruth struct {
	Axis    r3.Vec       `json:"axis"`  // crest to base, unit
	Crest   r3.Vec       `json:"crest"` // patient, mm
	Tilt    float64      `json:"tilt_deg"`
	Heights []HeightTrue `json:"heights"`                          // to every limit present, the least first
	Beside  float64      `json:"floor_beside_septum_mm,omitempty"` // height to the sinus floor beside the septum that the axis runs into; 0: it meets none
	Widths  []WidthTrue  `json:"widths"`
	Buccal  HollowTrue   `json:"buccal_undercut"`
	Lingual HollowTrue   `json:"lingual_undercut"`
	Socket  *SocketTrue  `json:"socket,omitempty"` // nil: the axis starts in none
}

// HeightTrue is the distance along the axis from the crest to the level of a limit. Where the axis
// runs into a septum of the sinus it leaves bone at the septum's free edge: that is the height to
// the sinus, though the floor beside the septum is nearer ([AxisTruth.Beside]).
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
	Depth float64 `json:"depth_mm"`       // from the line that touches the wall above and below
	Level float64 `json:"level_mm"`       // of the deepest point, below the crest along the axis
	To    float64 `json:"searched_to_mm"` // below the crest, as far as the wall was followed
}

// ImplantTrue is the truth of one planned implant.
type ImplantTrue struct {
	Clearances []ClearanceTrue `json:"clearances"`
	Beside     []BesideTrue    `json:"bone_beside"`
}

// ClearanceTrue is a least surface-to-surface distance.
type ClearanceTrue struct {
	To       string  `json:"to"` // the structure's name, or the other site
	Distance float64 `json:"distance_mm"`
}

// BesideTrue is the bone beside the implant in its section, at a depth below its platform.
type BesideTrue struct {
	At      float64 `json:"at_mm"`
	Buccal  float64 `json:"buccal_mm"`
	Lingual float64 `json:"lingual_mm"`
}

// Truth returns what a perfect measurement of every site of [Jaw.Plan] finds, or an error
// wrapping [ErrNoChord] that names the site whose section misses the ridge.
func (j *Jaw) Truth() (Truth, error) {
	o := j.opt
	t := Truth{Case: o.Case, Jaw: o.Jaw.String(), Blur: o.Scan.Blur, Noise: o.Scan.Noise, Voxel: o.Scan.Voxel}
	t.Loops = j.loops()
	for i, s := range j.plan.Sites {
		site, err := j.siteTruth(i)
		if err != nil {
			return Truth{}, fmt.Errorf("phantom: site %s: %w", s.ID(), err)
		}
		t.Sites = append(t.Sites, site)
	}
	return t, nil
}

// loops measures the anterior loops along the arch. Canal and foramen have one radius, so that their borders
// are as far apart as their centres.
func (j *Jaw) loops() (out []LoopTrue) {
	arc := func(p r3.Vec) float64 { return math.Abs(j.shape.arch.length(j.shape.arch.foot(p.X, p.Y).x)) }
	for side, t := range j.shape.loop {
		if len(t.path) == 0 {
			continue
		}
		end := math.Inf(1)
		for _, p := range t.path {
			end = min(end, arc(p))
		}
		out = append(out, LoopTrue{sideName[side], arc(j.shape.exit[side].path[0]) - end})
	}
	return out
}

func (j *Jaw) siteTruth(i int) (SiteTruth, error) {
	s := j.plan.Sites[i]
	sec, arc := j.SectionAt(s.At)
	t := SiteTruth{ID: s.ID(), Arc: arc, Section: sec, Implant: j.implantTruth(i, sec)}
	drawn, down := j.drawnAxis(sec), r3.Scale(-1, sec.Up)
	for _, a := range []struct {
		axis *r3.Vec
		to   *AxisTruth
	}{{nil, &t.Ridge}, {&drawn, &t.Design}, {&down, &t.Occlusal}} {
		var err error
		if *a.to, err = j.TruthIn(sec, sec.Origin, a.axis); err != nil {
			return SiteTruth{}, err
		}
	}
	return t, nil
}

// Write writes the truth as JSON: lengths in mm, angles in degrees, points in the patient's frame.
func (t Truth) Write(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	return e.Encode(t)
}
