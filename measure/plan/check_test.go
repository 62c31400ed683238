package plan

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"ridgerule/dicomio/volume"
)

// Each fault: what replaces what in goodPlan, and the one line that must come of it.
var planFaults = []struct{ name, old, new, want string }{
	{"no format", "format: 1\n", "", `plan.yaml:1:1: format is missing; begin the plan with format: 1`},
	{"a later format", "format: 1", "format: 2", `plan.yaml:1:9: format is 2; this program reads format: 1`},
	{"no case", "case: pine-042\n", "", `plan.yaml:1:1: case is missing; give the case a label of your own, not the patient's name: case: pine-042`},
	{"empty case", "case: pine-042", `case: ""`, `plan.yaml:2:7: case "" is empty; use letters, digits, - and _`},
	{"control character", "case: pine-042", `case: "a\u0007b"`, `plan.yaml:2:7: case "a\ab" holds the character U+0007; use printable characters on one line`},
	{"right-to-left override", "case: pine-042", "case: a\u202eb", `plan.yaml:2:7: case "a\u202eb" holds the character U+202E; use printable characters on one line`},
	{"dots", "case: pine-042", "case: ..", `plan.yaml:2:7: case ".." begins or ends with a dot or space; use letters, digits, - and _`},
	{"device name", "case: pine-042", "case: NUL", `plan.yaml:2:7: case "NUL" is a device name on some systems; use letters, digits, - and _`},
	{"twice the same key", "case: pine-042", "case: a\ncase: b", `plan.yaml:3:1: case stands twice, here and at line 2; keep one of them`},
	{"key without value", "case: pine-042", "case:", `plan.yaml:2:1: case has no value; give it a value or leave the key out`},
	{"far unknown key", "case: pine-042", "case: a\npatient_name: x", `plan.yaml:3:1: unknown key "patient_name"; use one of format, case, jaw, coordinates, occlusal, occlusal_plane, orientation_note, arch, sites, structures, margins_mm, margins_source, scan, levelling_plane, occlusal_level, prosthesis_end, for, declared, proposed, review, readings, restoration`},
	{"unit left out", "radii_mm: [1.5, 1.25]", "radius: 1.5", `plan.yaml:30:5: structure "right canal": the path has no radius; give radius_mm: 1.5, or radii_mm with one a point` + "\n" +
		`plan.yaml:33:5: structure "right canal": unknown key "radius"; did you mean radius_mm?`},
	{"tooth of the other jaw", `tooth: "36"`, `tooth: "16"`, `plan.yaml:10:12: site "16": tooth 16 is in the maxilla, the plan's jaw is the mandible; correct the tooth or the plan's jaw; 16 in the 1–32 notation is 28, upper left third molar`},
	{"milk tooth", `tooth: "36"`, `tooth: "75"`, `plan.yaml:10:12: site "75": tooth "75" is not a permanent tooth of ISO 3950; use 11–18, 21–28, 31–38 or 41–48`},
	{"two sites with one id", "id: 46-distal", `id: "36"`, `plan.yaml:27:9: site "36": id "36" names another tooth than tooth 46 (line 26); leave the id out or name it otherwise: 46b`},
	{"id that is a path", "id: 46-distal", "id: a/b", `plan.yaml:27:9: site "a/b": id "a/b" holds '/'; use letters, digits, -, _ and .`},
	{"id of the arch", "id: 46-distal", "id: Arch", `plan.yaml:27:9: site "Arch": id "Arch" is the table's name for the whole arch; use letters, digits, -, _ and .`},
	{"both at and arc_mm", "arc_mm: 13.5", "arc_mm: 13.5\n    at: [1, 2, 3]", `plan.yaml:26:5: site "46-distal": at (line 29) and arc_mm (line 28) are both given; keep one of them`},
	{"neither at nor arc_mm", "    arc_mm: 13.5\n", "", `plan.yaml:26:5: site "46-distal": neither at nor arc_mm says where it is; give a point near the arch (at: [x, y, z]) or an arc length (arc_mm: 23.5)`},
	{"negative arc length", "arc_mm: 13.5", "arc_mm: -1", `plan.yaml:28:13: site "46-distal": arc_mm is -1 mm; give a number from 0 to 1000 mm`},
	{"two numbers", "at: [22, 8, 1]", "at: [22, 8]", `plan.yaml:11:9: site "36": at is a list of 2, not three numbers; write three numbers: [x, y, z]`},
	{"decimal comma in a list", "at: [22, 8, 1]", "at: [22,5, 8, 1]", `plan.yaml:11:9: site "36": at is a list of 4, not three numbers; write three numbers: [x, y, z]`},
	{"decimal comma", "diameter_mm: 4.0", "diameter_mm: 4,0", `plan.yaml:20:20: site "36": diameter_mm is "4,0", not a number; write a decimal point, not a comma`},
	{"infinity", "at: [22, 8, 1]", "at: [22, -.inf, 1]", `plan.yaml:11:14: site "36": at[1] is "-.inf"; give a finite number`},
	{"past the largest number", "at: [22, 8, 1]", "at: [22, 1e999, 1]", `plan.yaml:11:14: site "36": at[1] is "1e999", not a number; write a plain decimal number`},
	{"octal", "at: [22, 8, 1]", "at: [22, 010, 1]", `plan.yaml:11:14: site "36": at[1] is "010"; write a plain decimal number`},
	{"text for a number", "at: [22, 8, 1]", `at: [22, "8", 1]`, `plan.yaml:11:14: site "36": at[1] is "8", not a number; write a plain decimal number`},
	{"zero axis", "axis: [0, 0, -2]", "axis: [0, 0, 0]", `plan.yaml:12:11: site "36": axis is [0, 0, 0]; give a direction that is not zero`},
	{"axis the wrong way round", "axis: [0, 0, -2]", "axis: [0, 0, 2]", `plan.yaml:12:11: site "36": axis [0, 0, 1] points toward the biting surface, it must point from crest to base; turn its signs round`},
	{"axis by another word", "axis: [0, 0, -2]", "axis: crest", `plan.yaml:12:11: site "36": axis is "crest"; write ridge, occlusal or a vector [x, y, z] from crest to base`},
	{"implant the wrong way round", "axis: [0.1, 0, -1]", "axis: [0.1, 0, 1]", `plan.yaml:19:13: site "36": axis [0.0995, 0, 0.995] points toward the biting surface, it must point from platform to apex; turn its signs round`},
	{"sinus in the mandible", "height_to: canal", "height_to: sinus", `plan.yaml:13:16: site "36": height_to is sinus, which the mandible does not have; use auto, canal or border`},
	{"depth 0", "depths_mm: [5, 1, 3]", "depths_mm: [0]", `plan.yaml:15:17: site "36": depths_mm[0] is 0 mm; give a length above 0 and at most 60 mm`},
	{"depth twice", "depths_mm: [5, 1, 3]", "depths_mm: [5, 1, 5]", `plan.yaml:15:23: site "36": 5 mm stands twice; keep one of them`},
	{"no depth", "depths_mm: [5, 1, 3]", "depths_mm: []", `plan.yaml:15:16: site "36": depths_mm is an empty list; give at least one length or leave the key out`},
	{"no length", "      length_mm: 10\n", "", `plan.yaml:18:7: site "36": length_mm is missing; give the implant's length: length_mm: 10`},
	{"unknown kind", "kind: canal", "kind: nerve", `plan.yaml:31:11: structure "right canal": kind is "nerve"; use one of canal, mental_foramen, anterior_loop, incisive_canal, sinus, nasal_floor, root, implant, other`},
	{"two structures with one name", "name: root 35", "name: right canal", `plan.yaml:36:5: structure "right canal": the structure at line 30 has this name too; give each structure a name of its own`},
	{"negative radius", "radius_mm: 2,", "radius_mm: -2,", `plan.yaml:36:65: structure "root 35": radius_mm is -2 mm; give a length above 0 and at most 50 mm`},
	{"radius twice", "radius_mm: 2,", "radius_mm: 2, radii_mm: [2],", `plan.yaml:36:5: structure "root 35": radius_mm (line 36) and radii_mm (line 36) are both given; keep one of them`},
	{"neither path nor surface", "path: [[18, -5, 0]], radius_mm: 2, ", "", `plan.yaml:36:5: structure "root 35": neither path nor surface says where it is; give path: [[x, y, z], …] with radius_mm, or surface: file.stl`},
	{"empty path", "[[18, -5, 0]]", "[]", `plan.yaml:36:39: structure "root 35": path is an empty list; give at least one point`},
	{"not a flag", "planned_removal: true", "planned_removal: 1", `plan.yaml:36:85: structure "root 35": planned_removal is "1"; write true or false`},
	{"unknown margin", "buccal_plate: 1.5", "bucal_plate: 1.5", `plan.yaml:37:26: unknown key "bucal_plate"; did you mean buccal_plate?`},
	{"negative margin", "{canal: 2.0,", "{canal: -2.0,", `plan.yaml:37:21: canal is -2 mm; give a number from 0 to 50 mm`},
	{"scale in percent", "scale_half_width: 0", "scale_half_width: 0.5", `plan.yaml:40:21: scale_half_width is 0.5; give a number from 0 to 0.1`},
	{"three arch points", "[[-25, 20, 0], [-20, 0, 0], [0, -20, 0], [20, 0, 0], [25, 20, 0]]", "[[-25, 20, 0], [0, -20, 0], [25, 20, 0]]", `plan.yaml:8:11: the arch has 3 points; mark at least 4 points along the arch, from one end to the other`},
	{"points in a wrong order", "[-20, 0, 0], [0, -20, 0], [20, 0, 0]", "[20, 0, 0], [0, -20, 0], [-20, 0, 0]", `plan.yaml:8:51: arch: the curve crosses itself: points 1–2 and 4–5; list the points in order from one end to the other`},
	{"points that go back", "[0, -20, 0], [20, 0, 0]", "[0, -20, 0], [-10, -10, 3]", `plan.yaml:8:39: arch: the curve folds back at point 3 (turns by 180 degrees); list the points in order from one end to the other`},
	{"two equal points", "[0, -20, 0], [20, 0, 0]", "[0, -20, 0], [0, -20, 5]", `plan.yaml:8:52: arch: points 3 and 4 are 0 mm apart in the occlusal plane; remove one of them`},
	{"both occlusal ways", "occlusal: [0, 0, 2]", "occlusal: [0, 0, 2]\nocclusal_plane: [[0, 0, 0], [1, 0, 0], [0, 1, 0]]", `plan.yaml:6:17: occlusal (line 5) and occlusal_plane (line 6) are both given; keep one of them`},
	{"three points on a line", "occlusal: [0, 0, 2]", "occlusal_plane: [[0, 0, 0], [1, 1, 0], [2, 2, 0]]", `plan.yaml:5:17: the three points of occlusal_plane lie on a line; give three points far apart`},
	{"upright plane", "occlusal: [0, 0, 2]", "occlusal_plane: [[0, 0, 0], [0, 1, 0], [0, 0, 1]]", `plan.yaml:5:17: the plane stands upright, so that its biting side is not known; give occlusal: a vector toward the biting surface`},
	{"no list of sites", "scan:\n  scale_half_width: 0\n", "scan: 3\n", `plan.yaml:39:7: scan is "3", not a mapping; write keys and values there: scale_half_width`},
	{"an anchor", "case: pine-042", "case: &a pine", `plan.yaml:2:7: "&" is a YAML feature that a plan does not use; write the value itself`},
	{"two plans", "case: pine-042", "case: pine\n---\ncase: b", `plan.yaml:3:1: a second document begins; keep one plan a file`},
	{"an open bracket", "at: [22, 8, 1]", "at: [22, 8, 1", `plan.yaml:12:5: not readable as YAML: ',' or ']' must be specified; mend the YAML there (or just above)`},
	{"a site that is text", "  - tooth: 46\n    id: 46-distal\n    arc_mm: 13.5\n", "  - 46\n", `plan.yaml:26:5: site 2: sites[1] is "46", not a mapping; write keys and values there: tooth, id, at, arc_mm, axis, height_to, crest, depths_mm, wanted_width_mm, implant, sizes, level, confirmed, proposed`},
}

func TestEachFaultNamesItsPlaceValueAndRemedy(t *testing.T) {
	for _, c := range planFaults {
		t.Run(c.name, func(t *testing.T) {
			require.Contains(t, goodPlan, c.old)
			_, _, err := Read("plan.yaml", []byte(strings.Replace(goodPlan, c.old, c.new, 1)), nil)
			if assert.Error(t, err) {
				assert.Equal(t, strings.Split(c.want, "\n"), strings.Split(err.Error(), "\n"))
			}
		})
	}
}

// Jaw and occlusal direction say one thing. A model scanned upside down is one, if its plan says so: no
// verdict on it is more than uncertain.
func TestOcclusalAgainstTheJaw(t *testing.T) {
	_, _, err := Read("plan.yaml", []byte(smallPlan+"occlusal: [0, 0, 1]\n"), nil)
	require.ErrorContains(t, err, "occlusal [0, 0, 1] points away from the biting side of the maxilla (line 3)")
	p, source, err := Read("plan.yaml", []byte(strings.Replace(smallPlan, "16", "26", 1)+"occlusal: [0, 0, 1]\norientation_note: model lay on its teeth\n"), nil)
	require.NoError(t, err)
	found, err := p.Check(source)
	require.NoError(t, err)
	require.True(t, slices.ContainsFunc(found, func(c Caution) bool { return c.Code == "occlusal_sign" && c.Severity == SeverityUncertain }), "%v", found)
}

// A grid of 0.4 × 0.3 × 0.5 mm voxels whose slices run downward.
var testGrid = volume.Grid{
	Size: [3]int{200, 220, 160}, Origin: r3.Vec{X: -40, Y: -30, Z: 60},
	Step: [3]r3.Vec{{X: 0.4}, {Y: 0.3}, {Z: -0.5}},
}

const voxelPlan = `format: 1
case: a
jaw: mandible
coordinates: voxel
occlusal_plane: [[0, 0, 120], [100, 0, 120], [0, 100, 119]]
arch: {points: [[30, 180, 120], [50, 80, 120], [150, 80, 120], [170, 180, 120]]}
sites:
  - {tooth: 36, at: [150, 80, 118], axis: [0, 0, 1], crest: [150, 80, 110], implant: {platform: [150, 80, 110], axis: [1, 0, 1], diameter_mm: 4, length_mm: 10}}
structures:
  - {name: c, kind: canal, path: [[150, 80, 140]], radius_mm: 1.5}
`

// settled is a plan with its directions settled and its arch laid.
func settled(t testing.TB, p *Plan) *Placed {
	t.Helper()
	f := &faults{}
	out := p.settle(f, nil)
	require.NoError(t, f.err())
	require.NoError(t, out.lay())
	return out
}

func TestVoxelPlanIsPlacedAndStaysAsItWasRead(t *testing.T) {
	read, source, err := Read("plan.yaml", []byte(voxelPlan), nil)
	require.NoError(t, err)
	require.True(t, read.Voxels)
	before := read.Clone()
	for range 2 { // the second call must find the plan as it was
		p, err := read.Place(testGrid, source)
		require.NoError(t, err)
		require.Equal(t, before, read)
		near(t, r3.Vec{X: -40 + 30*0.4, Y: -30 + 180*0.3, Z: 0}, p.Arch[0])
		near(t, r3.Vec{X: 20, Y: -6, Z: 1}, *p.Sites[0].At)
		near(t, r3.Vec{X: 20, Y: -6, Z: 5}, *p.Sites[0].Crest)
		near(t, r3.Vec{Z: -1}, p.Sites[0].AxisVec)
		near(t, r3.Vec{X: 20, Y: -6, Z: 5}, *p.Sites[0].Implant.Platform)
		near(t, r3.Unit(r3.Vec{X: 0.4, Z: -0.5}), *p.Sites[0].Implant.Axis)
		near(t, r3.Vec{X: 20, Y: -6, Z: -10}, p.Structures[0].Path[0])
		// One slice up (0.5 mm) in 100 rows (30 mm).
		near(t, r3.Unit(r3.Vec{Y: -0.5, Z: 30}), p.Occlusal)
	}
}

func near(t *testing.T, want, got r3.Vec) {
	t.Helper()
	if r3.Norm(r3.Sub(want, got)) > 1e-9 {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Symmetry: a plan in voxels and the same plan in patient coordinates are one plan, whatever the
// grid.
func TestVoxelAndPatientPlanAgreeOnAnyGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		step := rapid.Float64Range(0.1, 1)
		g := volume.Grid{Size: [3]int{300, 300, 300}, Origin: r3.Vec{X: rapid.Float64Range(-200, 200).Draw(t, "x"), Y: 3, Z: -7}}
		turn := r3.NewRotation(rapid.Float64Range(-1, 1).Draw(t, "angle"), r3.Vec{X: 1, Y: 2, Z: -1})
		for i, e := range []r3.Vec{{X: 1}, {Y: 1}, {X: 0.1, Z: 1}} { // sheared slices
			g.Step[i] = turn.Rotate(r3.Scale(step.Draw(t, "step"), e))
		}
		p, _, err := Read("plan.yaml", []byte(voxelPlan), nil)
		if err != nil {
			t.Fatal(err)
		}
		p.toPatient(g) // a strange grid may make it a strange plan, which Place refuses; the points are right all the same
		want := g.Patient(volume.Index{I: 150, J: 80, K: 118})
		if d := r3.Norm(r3.Sub(want, *p.Sites[0].At)); d > 1e-9 {
			t.Fatalf("site is %g mm off", d)
		}
		way := g.IndexVec(p.Sites[0].AxisVec)
		if way.K <= 0 || way.I*way.I+way.J*way.J > 1e-18 {
			t.Fatalf("axis runs along %v, want along +k", way)
		}
	})
}

func TestPlanIsHeldAgainstTheScan(t *testing.T) {
	_, _, err := Read("plan.yaml", []byte(strings.Replace(goodPlan, "arc_mm: 13.5", "arc_mm: 171.2", 1)), nil)
	assert.EqualError(t, err, `plan.yaml:28:13: site "46-distal": station 171.2 mm is past the end of the arch (99.7 mm); give arc_mm from 0 to 99.6`)
	text := strings.NewReplacer("at: [22, 8, 1]", "at: [22, 8, 61]",
		"path: [[18, -5, 0]]", "path: [[180, -5, 0]]").Replace(goodPlan)
	p, source, err := Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	const extent = "x -40.0 to 39.6, y -30.0 to 35.7, z -19.5 to 60.0 mm"
	_, err = p.Place(testGrid, source)
	assert.EqualError(t, err, strings.Join([]string{
		`plan.yaml:11:9: site "36": at [22, 8, 61] mm is outside the scan (` + extent + `); check the point and the plan's coordinates (patient or voxel)`,
	}, "\n"))
	good, source, err := Read("plan.yaml", []byte(goodPlan), nil)
	require.NoError(t, err)
	_, err = good.Place(testGrid, source)
	assert.NoError(t, err)
	far, source, err := Read("plan.yaml", []byte(strings.Replace(goodPlan, "path: [[18, -5, 0]]", "path: [[180, -5, 0]]", 1)), nil)
	require.NoError(t, err)
	placed, err := far.Place(testGrid, source)
	require.NoError(t, err)
	assert.True(t, slices.ContainsFunc(placed.Doubts().Cautions(), func(c Caution) bool {
		return strings.Contains(c.Text, `structure "root 35" lies wholly outside the scan (`+extent+`)`)
	}), "%v", placed.Doubts().Cautions())
}
