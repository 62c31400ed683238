package plan

import (
	"errors"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
)

// goodPlan uses every key that the format has.
const goodPlan = `format: 1
case: pine-042
jaw: mandible
coordinates: patient
occlusal: [0, 0, 2]
orientation_note: "occlusal plane set horizontal by the operator"
arch: {sd_mm: 0.1,
  points: [[-25, 20, 0], [-20, 0, 0], [0, -20, 0], [20, 0, 0], [25, 20, 0]]}
sites:
  - tooth: "36"
    at: [22, 8, 1]
    axis: [0, 0, -2]
    height_to: canal
    crest: [22, 8, 9]
    depths_mm: [5, 1, 3]
    wanted_width_mm: 6
    implant:
      platform: [22, 8, 8]
      axis: [0.1, 0, -1]
      diameter_mm: 4.0
      apex_diameter_mm: 3.2
      length_mm: 10
    sizes:
      diameters_mm: [3.5, 4.5, 4.0]
      lengths_mm: [12, 8, 10]
  - tooth: 46
    id: 46-distal
    arc_mm: 13.5
structures:
  - name: right canal
    kind: canal
    path: [[-25, 20, -8], [-20, 0, -9]]
    radii_mm: [1.5, 1.25]
    sd_mm: 0.3
    margin_mm: 2.5
  - {name: root 35, kind: root, path: [[18, -5, 0]], radius_mm: 2, planned_removal: true}
margins_mm: {canal: 2.0, buccal_plate: 1.5}
margins_source: "house rule"
scan:
  scale_half_width: 0
`

func TestEveryKeyOfThePlanIsRead(t *testing.T) {
	p, source, err := Read("dir/plan.yaml", []byte(goodPlan), nil)
	require.NoError(t, err)
	margin := 2.5
	arc := 13.5
	assert.Equal(t, "plan.yaml", p.Path)
	assert.Len(t, p.SHA256, 64)
	assert.Equal(t, "pine-042", p.Case)
	assert.Equal(t, Mandible, p.Jaw)
	assert.Equal(t, r3.Vec{Z: 1}, p.OcclusalGiven)
	assert.Equal(t, "given vector", settled(t, p).OcclusalFrom)
	assert.Equal(t, "occlusal plane set horizontal by the operator", p.OrientationNote)
	assert.Equal(t, []r3.Vec{{X: -25, Y: 20}, {X: -20}, {Y: -20}, {X: 20}, {X: 25, Y: 20}}, p.Arch)
	assert.Equal(t, []Site{{
		ID: "36", Tooth: "36", At: &r3.Vec{X: 22, Y: 8, Z: 1}, Axis: AxisGiven, AxisVec: r3.Vec{Z: -1},
		HeightTo: ToCanal, Crest: &r3.Vec{X: 22, Y: 8, Z: 9}, Depths: []float64{1, 3, 5}, WantedWidth: 6,
		Implant: &PlannedImplant{Platform: &r3.Vec{X: 22, Y: 8, Z: 8}, Axis: ptr(r3.Unit(r3.Vec{X: 0.1, Z: -1})), Diameter: 4, ApexDiameter: 3.2, Length: 10},
		Sizes:   &Sizes{Diameters: []float64{3.5, 4, 4.5}, Lengths: []float64{8, 10, 12}},
	}, {
		ID: "46-distal", Tooth: "46", ArcMM: &arc, Axis: AxisRidge, HeightTo: ToAuto, Depths: []float64{1, 3, 5, 7, 10},
	}}, p.Sites)
	assert.Equal(t, []safety.Structure{{
		Name: "right canal", Kind: safety.Canal, Path: []r3.Vec{{X: -25, Y: 20, Z: -8}, {X: -20, Z: -9}},
		Radii: []float64{1.5, 1.25}, SD: 0.3, Margin: &margin,
	}, {
		Name: "root 35", Kind: safety.Root, Path: []r3.Vec{{X: 18, Y: -5}}, Radii: []float64{2}, SD: 0.5, PlannedRemoval: true,
	}}, p.Structures)
	assert.Equal(t, map[string]float64{"canal": 2, "buccal_plate": 1.5}, p.Margins)
	assert.Equal(t, "house rule", p.MarginsSource)
	assert.Equal(t, 0.1, p.PlacedSD)
	assert.Zero(t, p.ScaleHalfWidth)
	assert.Equal(t, Position{"plan.yaml", 10, 5}, source.Position("sites[0]"))
	assert.Equal(t, Position{"plan.yaml", 28, 13}, source.Position("sites[1].arc_mm"))
	assert.Equal(t, Position{"plan.yaml", 26, 5}, source.Position("sites[1].crest"), "not written: its site")
}

func ptr[T any](v T) *T { return &v }

const smallPlan = `format: 1
case: a
jaw: maxilla
arch: {points: [[-25, 20, 0], [-20, 0, 0], [20, 0, 0], [25, 20, 0]]}
sites: [{tooth: 16, arc_mm: 5}]
`

func TestDefaultsOfAPlan(t *testing.T) {
	p, _, err := Read("plan.yaml", []byte(smallPlan), nil)
	require.NoError(t, err)
	assert.Equal(t, r3.Vec{Z: -1}, settled(t, p).Occlusal)
	assert.Equal(t, "default for the maxilla", settled(t, p).OcclusalFrom)
	assert.Equal(t, 0.3, p.PlacedSD)
	assert.Equal(t, 0.005, p.ScaleHalfWidth)
	assert.False(t, p.Voxels)
}

// JSON is YAML: the same plan in both reads the same, with tabs, escapes and a byte order mark too.
func TestJSONPlanReadsAsItsYAML(t *testing.T) {
	const text = "\xef\xbb\xbf{\n\t\"format\": 1,\n\t\"case\": \"a\\u00e9\",\n\t\"jaw\": \"maxilla\",\n" +
		"\t\"arch\": {\"points\": [[-25, 20, 0], [-20, 0, 0],\n\t\t[20, 0, 0], [2.5e1, 20, 0]]},\n\t\"sites\": [\n\t\t{\"tooth\": \"16\", \"arc_mm\": 5}\n\t]\n}\n"
	want, _, err := Read("plan.yaml", []byte(strings.Replace(smallPlan, "case: a", "case: aé", 1)), nil)
	require.NoError(t, err)
	got, _, err := Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	got.SHA256 = want.SHA256
	assert.Equal(t, want, got)
}

func TestOcclusalPlaneGivesItsNormalOnTheBitingSide(t *testing.T) {
	// The plane z = x/10 has the normal (−0.1, 0, 1) up to length and sign.
	const plane = "occlusal_plane: [[0, 0, 0], [10, 0, 1], [0, 10, 0]]\n"
	for jaw, sign := range map[string]float64{"mandible": 1, "maxilla": -1} {
		tooth := map[string]string{"mandible": "46", "maxilla": "16"}[jaw]
		text := strings.NewReplacer("jaw: maxilla", "jaw: "+jaw, "tooth: 16", "tooth: "+tooth).Replace(smallPlan) + plane
		p, _, err := Read("plan.yaml", []byte(text), nil)
		require.NoError(t, err)
		want := r3.Scale(sign, r3.Unit(r3.Vec{X: -0.1, Z: 1}))
		assert.InDelta(t, 0, r3.Norm(r3.Sub(want, settled(t, p).Occlusal)), 1e-12, jaw)
	}
}

func TestArchIsReadFromItsFile(t *testing.T) {
	dir := fstest.MapFS{"marks/arch.csv": {Data: []byte("\xef\xbb\xbfname,Y, x,z\na,20,-25,0\nb,0,-20,0\nc,0,20,0.5\nd,20,25,0\n")}}
	p, _, err := Read("plan.yaml", []byte(withArch("arch: {file: marks/arch.csv}")), dir)
	require.NoError(t, err)
	assert.Equal(t, []r3.Vec{{X: -25, Y: 20}, {X: -20}, {X: 20, Z: 0.5}, {X: 25, Y: 20}}, p.Arch)
}

func withArch(arch string) string {
	lines := strings.Split(smallPlan, "\n")
	lines[3] = arch
	return strings.Join(lines, "\n")
}

func TestFaultsOfTheArchFile(t *testing.T) {
	for text, want := range map[string]string{
		"x;y;z\n1;2;3\n": `arch.csv:1:1: arch: the first line is "x;y;z"; begin the file with the line x,y,z and separate by commas`,
		"":               `arch.csv:1:1: arch: the first line is ""; begin the file with the line x,y,z and separate by commas`,
		"x,y,z\n-25,20,0\n-20,zero,0\n20,0,0\n25,20,0\n": `arch.csv:3:5: arch: y is "zero"; write a plain decimal number`,
		"x,y,z\n-25,20,0\n-20,0\n":                       `arch.csv:3:1: arch: not readable as CSV: wrong number of fields; write x,y,z in each line`,
		"x,y,z\n-25,20,0\n":                              `plan.yaml:4:14: "arch.csv" has 1 points; mark at least 4 points along the arch, from one end to the other`,
		"x,y,z\n-25,20,0\n-20,0,0\n-24.9,19,0\n20,0,0\n": `arch.csv:3:1: arch: the curve folds back at point 2 (turns by 180 degrees); list the points in order from one end to the other`,
	} {
		dir := fstest.MapFS{"arch.csv": {Data: []byte(text)}}
		_, _, err := Read("plan.yaml", []byte(withArch("arch: {file: arch.csv}")), dir)
		assert.EqualError(t, err, want)
	}
}

func TestFilesOutsideThePlansFolderAreRefused(t *testing.T) {
	for _, name := range []string{"../arch.csv", "/etc/passwd", "missing.csv", "folder"} {
		dir := fstest.MapFS{"folder/arch.csv": {Data: []byte("x,y,z\n")}}
		_, _, err := Read("plan.yaml", []byte(withArch("arch: {file: "+name+"}")), dir)
		require.Error(t, err, name)
		assert.Contains(t, err.Error(), "plan.yaml:4:14: file ")
		assert.Contains(t, err.Error(), "put the file into the plan's folder")
	}
}

func TestEveryErrorOfThePlanComesAtOnce(t *testing.T) {
	text := strings.NewReplacer(
		"case: pine-042", "case: ../pine",
		"jaw: mandible", "jaw: mandibel",
		"height_to: canal", "height: canal",
		"diameter_mm: 4.0", "diameter_mm: -4.0",
		"arc_mm: 13.5", "arc_mm: .nan",
		"radii_mm: [1.5, 1.25]", "radii_mm: [1.5]",
	).Replace(goodPlan)
	_, _, err := Read("plan.yaml", []byte(text), nil)
	var all Errors
	require.True(t, errors.As(err, &all))
	assert.Equal(t, []string{
		`plan.yaml:2:7: case "../pine" holds one of / \ : * ? " < > |; use letters, digits, - and _`,
		`plan.yaml:3:6: jaw is "mandibel"; did you mean mandible?`,
		`plan.yaml:13:5: site "36": unknown key "height"; did you mean height_to?`,
		`plan.yaml:20:20: site "36": diameter_mm is -4 mm; give a length above 0 and at most 20 mm`,
		`plan.yaml:28:13: site "46-distal": arc_mm is ".nan"; give a finite number`,
		`plan.yaml:33:15: structure "right canal": radii_mm has 1 values, path has 2 points; give one radius a point, or radius_mm for all`,
	}, strings.Split(err.Error(), "\n"))
	var one *Error
	require.True(t, errors.As(err, &one))
	assert.Equal(t, 2, one.Line)
}

func TestOpenPlanNamesAFileThatIsNone(t *testing.T) {
	_, _, err := Open(t.TempDir() + "/no-such.yaml")
	assert.EqualError(t, err, "no-such.yaml: no such file or directory; name a site plan (YAML or JSON)")
	_, _, err = Open(t.TempDir())
	assert.ErrorContains(t, err, "not a file")
}

// The plan that docs/plan.md shows is a plan, and the page names every key there is.
func TestPageOfThePlanIsRight(t *testing.T) {
	data, err := os.ReadFile("../../docs/plan.md")
	require.NoError(t, err)
	_, rest, found := strings.Cut(string(data), "```yaml\n")
	require.True(t, found)
	example, _, _ := strings.Cut(rest, "```")
	_, _, err = Read("plan.md", []byte(example), nil)
	assert.NoError(t, err)
	for _, line := range strings.FieldsFunc(goodPlan, func(c rune) bool { return strings.ContainsRune("\n{,", c) }) {
		key, _, isKey := strings.Cut(strings.TrimLeft(line, " -"), ":")
		if isKey {
			assert.Contains(t, string(data), key, "docs/plan.md does not explain %s", key)
		}
	}
}

// Who knows how exactly an arch was placed says so in the plan; what cannot be is refused with its line.
func TestArchSaysHowItWasPlaced(t *testing.T) {
	for value, want := range map[string]string{"-0.1": "-0.1", "9": "9 mm", "near": "near"} {
		_, _, err := Read("plan.yaml", []byte(strings.Replace(smallPlan, "arch: {", "arch: {sd_mm: "+value+", ", 1)), nil)
		require.Error(t, err, value)
		assert.Contains(t, err.Error(), "plan.yaml:4")
		assert.Contains(t, err.Error(), want)
	}
}

// The same plan with the line ends of another system, comments and all: the same lines in its errors, the
// same hash.
func TestLineEndsDoNotMoveLines(t *testing.T) {
	text := "# made by hand\n# on two lines\n" + strings.Replace(goodPlan, "radii_mm: [1.5, 1.25]", "# one a point\n    radii_mm: [1.5]", 1)
	_, _, want := Read("plan.yaml", []byte(text), nil)
	require.Error(t, want)
	for _, end := range []string{"\r\n", "\r"} {
		_, _, err := Read("plan.yaml", []byte(strings.ReplaceAll(text, "\n", end)), nil)
		assert.Equal(t, want.Error(), err.Error())
	}
	a, _, err := Read("plan.yaml", []byte(goodPlan), nil)
	require.NoError(t, err)
	b, _, err := Read("plan.yaml", []byte(strings.ReplaceAll(goodPlan, "\n", "\r\n")), nil)
	require.NoError(t, err)
	assert.Equal(t, a.SHA256, b.SHA256)
}
