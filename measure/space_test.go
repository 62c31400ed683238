package measure

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
)

// Worked by hand: upright platforms of 4 mm at (±20, 0) touch the line y = 2 distally, which an end
// at y = 10 lies 8 mm behind and one at y = −3 lies 5 mm before, at any height.
func TestDistalExtensionIsWorkedByHand(t *testing.T) {
	at := func(tooth string, x, y float64) safety.Placed {
		return safety.Placed{Site: tooth, Tooth: tooth, Implant: Implant{Platform: r3.Vec{X: x, Y: y}, Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10}}
	}
	c := &run{plan: &plan.Plan{Occlusal: r3.Vec{Z: 1}, ProsthesisEnd: []r3.Vec{{X: 20, Y: 10, Z: 5}, {X: -18, Y: -3}}}}
	all := []safety.Placed{at("36", 20, 0), at("31", 0, -20), at("46", -20, 0)}
	rows := c.extensionRows(all, safety.Options{})
	require.Len(t, rows, 2)
	for i, want := range []float64{8, -5} {
		assert.Equal(t, "arch", rows[i].Sites)
		assert.InDelta(t, want, *rows[i].Value, 1e-9)
		assert.Zero(t, rows[i].Budget.U())
		assert.Contains(t, rows[i].Note, "as planned; behind the line")
		assert.Empty(t, rows[i].Verdict)
	}
	rows = c.extensionRows([]safety.Placed{all[0], all[1], at("34", 15, -8)}, safety.Options{})
	assert.Nil(t, rows[0].Value)
	assert.Contains(t, rows[0].Note, "needs an implant on each side")
}

// The restorative space on the straight ridge: level 9 mm over z = 0, platform at z = −2; a plane that
// rises by 0.1 mm a mm along y; from the crest where there is no implant.
func TestRestorativeSpace(t *testing.T) {
	space := func(text string) Row { return value(t, runPlan(t, text).Sites[0], "restorative_space", math.NaN()) }
	row := space(straightPlan + "occlusal_level: [3, -7, 9]\n")
	assert.InDelta(t, 11, *row.Value, 1e-9)
	assert.Zero(t, row.Budget.U(), "platform and level are planned, the scale is exact")
	assert.NotEmpty(t, row.Budget)
	assert.Contains(t, row.Note, "information, never judged")
	assert.Empty(t, row.Verdict)
	row = space(straightPlan + "occlusal_level: [[0, 0, 9], [5, 0, 9], [0, 10, 10]]\n")
	assert.InDelta(t, 11.4, *row.Value, 1e-9) // the platform stands at y = 4
	row = space(straightPlan + "occlusal_level: [0, 0, -5]\n")
	assert.InDelta(t, -3, *row.Value, 1e-9)
	assert.Contains(t, row.Note, "lies below it")
	bare := strings.Replace(straightPlan, "    implant: {platform: [0, 4, -2], diameter_mm: 4, length_mm: 10}\n", "", 1)
	bare = strings.Replace(bare, "    wanted_width_mm: 6\n", "", 1)
	row = space(bare + "occlusal_level: [0, 0, 9]\n")
	assert.InDelta(t, 9, *row.Value, 0.06)
	assert.LessOrEqual(t, math.Abs(*row.Value-9), row.Budget.U())
	assert.Contains(t, row.Note, "from the crest")
}

// Limits of the search that allow nothing leave every size in the site's own pose.
func TestSizesKeepTheLimitsGiven(t *testing.T) {
	still := "sizes: {diameters_mm: [3.5, 5], lengths_mm: [8], lateral_mm: [0, 0], depth_mm: [0.5, 0.5], lean_deg: [0, 0], along_deg: [0, 0]}\n    wanted_width_mm: 6\n"
	s := runPlan(t, strings.Replace(straightPlan, "wanted_width_mm: 6\n", still, 1)).Sites[0]
	require.Len(t, s.Ladder, 2)
	for _, r := range s.Ladder {
		assert.Equal(t, Pose{Depth: 0.5}, r.Pose)
	}
}

// A number that follows from the plan alone says U = 0, not nothing: two upright implants, 6 mm
// apart, and an end of the prosthesis that has no line to lie behind.
func TestWhatIsPlannedHasNoUncertainty(t *testing.T) {
	text := strings.Replace(straightPlan, "structures:", "  - {tooth: \"37\", at: [0, 10, -2], implant: {platform: [0, 10, -2], axis: [0, 0, -1], diameter_mm: 4, length_mm: 10}}\nstructures:", 1)
	text = strings.Replace(text, "implant: {platform: [0, 4, -2],", "implant: {platform: [0, 4, -2], axis: [0, 0, -1],", 1)
	r := runPlan(t, text+"prosthesis_end: [[0, 15, 0]]\n")
	want := map[quantity.Name]float64{"clearance": 2, "platform_distance": 6, "implant_angle": 0}
	seen := 0
	for _, row := range r.Arch.Rows {
		if w, ok := want[row.Quantity]; ok {
			seen++
			assert.InDelta(t, w, *row.Value, 1e-9, row.Quantity)
			assert.Contains(t, row.Note, "as planned", row.Quantity)
		}
		if row.Value != nil {
			assert.NotEmpty(t, row.Budget, row.Quantity)
			assert.Zero(t, row.Budget.U(), row.Quantity)
		}
		if row.Quantity == "distal_extension" {
			seen++
			assert.Nil(t, row.Value)
			assert.Equal(t, "prosthesis end 1", row.To)
			assert.Contains(t, row.Note, "three implants")
		}
	}
	assert.Equal(t, 4, seen)
}
