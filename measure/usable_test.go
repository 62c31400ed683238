package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

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

// What is left below the usable crest is the height less the depth of the usable crest, and is as
// uncertain as both: a budget without the depth's terms would be smaller.
func TestUsableHeightIsAsUncertainAsHeightAndDepth(t *testing.T) {
	s := runPlan(t, straightPlan).Sites[0]
	height, depth := value(t, s, "ridge_height", math.NaN()), value(t, s, "usable_crest_depth", math.NaN())
	usable := value(t, s, "usable_height", math.NaN())
	assert.InDelta(t, *height.Value-*depth.Value, *usable.Value, 1e-9)
	var less uncertainty.Budget
	for _, term := range depth.Budget {
		term.Std, term.Sensitivity = term.Contribution(), -1
		less = append(less, term)
	}
	require.Greater(t, combined(depth.Budget), 0.01, "mm: a depth this certain would show nothing")
	assert.InDelta(t, combined(height.Budget, less), usable.Budget.Std(), 1e-9)
	assert.Greater(t, math.Abs(combined(height.Budget)-usable.Budget.Std()), 1e-3, "mm: the depth moves nothing")
}
