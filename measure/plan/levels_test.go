package plan

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
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
	p, _, err := Read("plan.yaml", []byte(levelPlan), nil)
	require.NoError(t, err)
	depth := 2.5
	assert.Equal(t, &depth, p.Sites[0].Level)
	assert.Equal(t, &Sizes{Diameters: []float64{4}, Lengths: []float64{8, 10}, Lateral: &[2]float64{-2, 1},
		Depth: &[2]float64{0, 0}, Lean: &[2]float64{-15, 20}, Along: &[2]float64{-3, 3}}, p.Sites[0].Sizes)
	placed := settled(t, p)
	assert.Equal(t, r3.Vec{Z: -2}, placed.LevelPlane.Point)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(r3.Vec{Y: -0.1, Z: 1}), placed.LevelPlane.Normal)), 1e-12)
	assert.Equal(t, &Plane{Point: r3.Vec{Z: 9}, Normal: r3.Vec{Z: 1}}, placed.OcclusalLevel)
	assert.Equal(t, []r3.Vec{{X: -24, Y: 18}, {X: 24, Y: 18}}, p.ProsthesisEnd)

	three := strings.Replace(levelPlan, "occlusal_level: [0, 0, 9]", "occlusal_level: [[0, 0, 9], [0, 10, 9], [10, 0, 10]]", 1)
	p, _, err = Read("plan.yaml", []byte(three), nil)
	require.NoError(t, err)
	assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Unit(r3.Vec{X: -0.1, Z: 1}), settled(t, p).OcclusalLevel.Normal)), 1e-12)
}

// Voxels of 0.4 × 0.3 × 0.5 mm with slices downward: points become patient points, normals face the
// biting side all the same.
func TestLevelsInVoxelsArePlaced(t *testing.T) {
	text := voxelPlan + "levelling_plane: [[0, 0, 110], [100, 0, 110], [0, 100, 110]]\nocclusal_level: [50, 80, 90]\nprosthesis_end: [[150, 80, 118]]\n"
	read, source, err := Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	p, err := read.Place(testGrid, source)
	require.NoError(t, err)
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
		_, _, err := Read("plan.yaml", []byte(strings.Replace(levelPlan, c.old, c.new, 1)), nil)
		assert.EqualError(t, err, c.want)
	}
}

func TestPageOfThePlanNamesTheKeysOfLevels(t *testing.T) {
	data, err := os.ReadFile("../../docs/plan.md")
	require.NoError(t, err)
	for _, key := range []string{"level", "levelling_plane", "occlusal_level", "prosthesis_end", "lateral_mm", "depth_mm", "lean_deg", "along_deg"} {
		assert.Contains(t, string(data), "`"+key)
	}
}
