package measure

import (
	"math"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
)

// levelPlan uses the keys about levels, and the limits of the size search.
const levelPlan = `format: 1
case: a
jaw: mandible
arch: {points: [[-25, 20, 0], [-20, 0, 0], [20, 0, 0], [25, 20, 0]]}
sites:
  - tooth: 36
    arc_mm: 50
    level: {depth_mm: 2.5}
    sizes: {diameters_mm: [4], lengths_mm: [8, 10], lateral_mm: [-2, 1], depth_mm: [0, 0], lean_deg: [-15, 20], along_deg: [-3, 3]}
levelling_plane: [[0, 0, -2], [10, 0, -2], [0, 10, -1]]
occlusal_level: [0, 0, 9]
prosthesis_end: [[-24, 18, 0], [24, 18, 0]]
`

func TestKeysOfLevelsAreRead(t *testing.T) {
	p, err := ReadPlan("plan.yaml", []byte(levelPlan), nil)
	require.NoError(t, err)
	depth := 2.5
	assert.Equal(t, &depth, p.Sites[0].Level)
	assert.Equal(t, &Sizes{Diameters: []float64{4}, Lengths: []float64{8, 10}, Lateral: &[2]float64{-2, 1},
		Depth: &[2]float64{0, 0}, Lean: &[2]float64{-15, 20}, Along: &[2]float64{-3, 3}}, p.Sites[0].Sizes)
	assert.Equal(t, r3.Vec{Z: -2}, p.LevelPlane.Point)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(r3.Vec{Y: -0.1, Z: 1}), p.LevelPlane.Normal)), 1e-12)
	assert.Equal(t, &Plane{Point: r3.Vec{Z: 9}, Normal: r3.Vec{Z: 1}}, p.OcclusalLevel)
	assert.Equal(t, []r3.Vec{{X: -24, Y: 18}, {X: 24, Y: 18}}, p.ProsthesisEnd)

	three := strings.Replace(levelPlan, "occlusal_level: [0, 0, 9]", "occlusal_level: [[0, 0, 9], [0, 10, 9], [10, 0, 10]]", 1)
	p, err = ReadPlan("plan.yaml", []byte(three), nil)
	require.NoError(t, err)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(r3.Vec{X: -0.1, Z: 1}), p.OcclusalLevel.Normal)), 1e-12)
}

// Voxels of 0.4 × 0.3 × 0.5 mm with slices downward: points become patient points, normals face the
// biting side all the same.
func TestLevelsInVoxelsArePlaced(t *testing.T) {
	text := voxelPlan + "levelling_plane: [[0, 0, 110], [100, 0, 110], [0, 100, 110]]\nocclusal_level: [50, 80, 90]\nprosthesis_end: [[150, 80, 118]]\n"
	p, err := ReadPlan("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	require.NoError(t, p.Place(testGrid))
	assert.InDelta(t, 60-55, p.LevelPlane.Point.Z, 1e-9)
	assert.InDelta(t, 1, p.LevelPlane.Normal.Z, 1e-9)
	assert.InDelta(t, 60-45, p.OcclusalLevel.Point.Z, 1e-9)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Vec{X: 20, Y: -6, Z: 1}, p.ProsthesisEnd[0])), 1e-9)
}

func TestFaultsOfLevelsNameTheirRemedy(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"{depth_mm: 2.5}", "{depth_mm: -1}", `plan.yaml:8:23: site "36": depth_mm is -1 mm; give a number from 0 to 60 mm`},
		{"{depth_mm: 2.5}", "{}", `plan.yaml:8:12: site "36": depth_mm is missing; say how deep: level: {depth_mm: 2.5}; 0 leaves this crest as it is`},
		{"{depth_mm: 2.5}", "2.5", `plan.yaml:8:12: site "36": level is "2.5", not a mapping; write keys and values there: depth_mm`},
		{"[[0, 0, -2], [10, 0, -2], [0, 10, -1]]", "[[0, 0, -2], [10, 0, -2]]", `plan.yaml:10:18: levelling_plane has 2 points; give three points of the plane`},
		{"[[0, 0, -2], [10, 0, -2], [0, 10, -1]]", "[[0, 0, 0], [1, 1, 0], [2, 2, 0]]", `plan.yaml:10:18: the three points of levelling_plane lie on a line; give three points far apart`},
		{"[[0, 0, -2], [10, 0, -2], [0, 10, -1]]", "[[0, 0, 0], [0, 1, 0], [0, 0, 1]]", `plan.yaml:10:18: the plane of levelling_plane stands upright; give three points of a plane that lies across the occlusal direction`},
		{"[0, 0, 9]", "[0, 9]", `plan.yaml:11:17: occlusal_level is a list of 2; write one point, [x, y, z], or three points of the plane`},
		{"[0, 0, 9]", "9", `plan.yaml:11:17: occlusal_level is "9", not a list; write a list: [a, b, …]`},
		{"[0, 0, 9]", "[0, .nan, 9]", `plan.yaml:11:21: occlusal_level[1] is ".nan"; give a finite number`},
		{"[[-24, 18, 0], [24, 18, 0]]", "[]", `plan.yaml:12:17: prosthesis_end is an empty list; give at least one point or leave the key out`},
		{"lateral_mm: [-2, 1]", "lateral_mm: [2, 1]", `plan.yaml:9:65: site "36": lateral_mm is [2, 1]; write the least first`},
		{"lean_deg: [-15, 20]", "lean_deg: [-15, 70]", `plan.yaml:9:108: site "36": lean_deg[1] is 70 degrees; give a number from -60 to 60 degrees`},
		{"along_deg: [-3, 3]", "along_deg: [3]", `plan.yaml:9:124: site "36": along_deg has 1 numbers; write the least and the most: [-1, 1]`},
	} {
		require.Contains(t, levelPlan, c.old)
		_, err := ReadPlan("plan.yaml", []byte(strings.Replace(levelPlan, c.old, c.new, 1)), nil)
		assert.EqualError(t, err, c.want)
	}
}

func TestPageOfThePlanNamesTheKeysOfLevels(t *testing.T) {
	data, err := os.ReadFile("../docs/plan.md")
	require.NoError(t, err)
	for _, key := range []string{"level", "levelling_plane", "occlusal_level", "prosthesis_end", "lateral_mm", "depth_mm", "lean_deg", "along_deg"} {
		assert.Contains(t, string(data), "`"+key)
	}
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
