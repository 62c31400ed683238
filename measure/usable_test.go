package measure

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

// combined is the standard uncertainty of a sum of terms, by hand: terms of one group add with their signs,
// groups and the others in squares. Source: JCGM 100:2008, equations 10 and 16 with r = ±1.
func combined(parts ...uncertainty.Budget) float64 {
	squares, groups := 0.0, map[string]float64{}
	for _, part := range parts {
		for _, t := range part {
			if t.Group != "" {
				groups[t.Group] += t.Contribution()
				continue
			}
			squares += t.Contribution() * t.Contribution()
		}
	}
	for _, g := range groups {
		squares += g * g
	}
	return math.Sqrt(squares)
}

// What is left below the usable crest is the height less the depth of the usable crest, and is as uncertain as
// both: a budget without the depth's terms would be smaller. What they share keeps its sign: the crest's error
// leaves, and the scale moves the end away and the usable crest up. Below a levelled crest likewise.
func TestUsableHeightIsAsUncertainAsHeightAndDepth(t *testing.T) {
	text := strings.Replace(straightPlan, "{scale_half_width: 0}", "{scale_half_width: 0.02}", 1)
	text = strings.Replace(text, "wanted_width_mm: 6", "wanted_width_mm: 6\n    level: {depth_mm: 0.3}", 1)
	s := runPlan(t, text).Sites[0]
	for _, names := range [][3]quantity.Name{{"ridge_height", "usable_crest_depth", "usable_height"}, {"levelled_height", "levelled_usable_depth", "levelled_usable_height"}} {
		height, depth, usable := value(t, s, names[0], math.NaN()), value(t, s, names[1], math.NaN()), value(t, s, names[2], math.NaN())
		assert.InDelta(t, *height.Value-*depth.Value, *usable.Value, 1e-9)
		var less uncertainty.Budget
		for _, term := range depth.Budget {
			term.Std, term.Sensitivity = term.Contribution(), -1
			less = append(less, term)
		}
		require.Greater(t, combined(depth.Budget), 0.01, "mm: a depth this certain would show nothing")
		assert.InDelta(t, combined(height.Budget, less), usable.Budget.Std(), 1e-9)
		assert.Greater(t, math.Abs(combined(height.Budget)-usable.Budget.Std()), 1e-3, "mm: the depth moves nothing")
		assert.Greater(t, usable.Budget.Std(), scaleOf(height.Budget), "the scale's shares add")
		assert.Negative(t, scaleOf(depth.Budget), "a scan too large shows the usable crest too high")
	}
}

// scaleOf is the signed share of the scan's scale, mm.
func scaleOf(b uncertainty.Budget) (share float64) {
	for _, t := range b {
		if t.Group == "scale" {
			share += t.Contribution()
		}
	}
	return share
}
