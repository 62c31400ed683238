package report

import (
	"fmt"
	"math"
	"slices"

	"ridgerule/measure"
)

// scanFacts says what was measured on and with what.
func scanFacts(c Case) []fact {
	s, r := c.Result.Scan, c.Result
	facts := []fact{
		{"Fit to measure", s.Verdict},
		{"Voxels", fmt.Sprintf("%d × %d × %d", s.Size[0], s.Size[1], s.Size[2])},
		{"Voxel spacing", plain(s.Spacing[0]) + " × " + plain(s.Spacing[1]) + " × " + plain(s.Spacing[2]) + " mm"},
		{"Encoding", s.Encoding},
		{"Orientation", s.Orientation},
		{"Blur at the bone's edges", estimate(s.Blur, 2, " mm (Gaussian sigma)")},
		{"Noise", estimate(s.Noise, 0, " grey values (SD)")},
		{"Scale of the scan", "within ±" + plain(round3(100*r.ScaleHalfWidth)) + " %, part of every budget"},
		{"Series", "SHA-256 " + s.SeriesHash},
		{"Plan", "SHA-256 " + r.Plan.SHA256},
		{"Made by", c.Provenance.Tool},
	}
	var names []string
	for name := range c.Provenance.Options {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		facts = append(facts, fact{"Option " + name, c.Provenance.Options[name]})
	}
	return slices.DeleteFunc(facts, func(f fact) bool { return f.Value == "" })
}

func round3(x float64) float64 { return math.Round(x*1000) / 1000 }

func estimate(x float64, decimals int, unit string) string {
	if math.IsNaN(x) {
		return "not estimated"
	}
	return rounded(x, decimals) + unit
}

// conventionFacts says which directions and rules the numbers were taken under.
func conventionFacts(r *measure.Result) []fact {
	o := r.Occlusal
	facts := []fact{
		{"Sections", "perpendicular to the arch curve of the plan"},
		{"Occlusal direction", fmt.Sprintf("(%s, %s, %s) in the patient (x to the left, y to posterior, z to the head): %s",
			rounded(o.X, 3), rounded(o.Y, 3), rounded(o.Z, 3), r.OcclusalFrom)},
	}
	if r.OrientationNote != "" {
		facts = append(facts, fact{"In the plan's words", r.OrientationNote})
	}
	return append(facts,
		fact{"Width", "perpendicular to the site's axis, outer edge to outer edge, at a depth below the crest point"},
		fact{"Height", "along the axis from the crest point to the level of the first limit"},
		fact{"Tilt", "between the section's base direction and the axis; positive when the base lies buccal of the crest"},
		fact{"In the sections", "what a line means stands under each; the ruler and the depths run along the axis; hatched is outside the field"},
		fact{"Uncertainty", "± is the expanded uncertainty U = 2·u (JCGM 100), rounded up to two significant digits"},
		fact{"Verdict", "held: distance − U reaches the margin. not held: distance + U does not, or the bodies overlap. uncertain: neither. not assessed: something is missing"})
}
