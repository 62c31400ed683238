package plan

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// faultOf reads a plan and returns its fault; "" for none.
func faultOf(text string, dir fstest.MapFS) string {
	if _, _, err := Read("plan.yaml", []byte(text), dir); err != nil {
		return err.Error()
	}
	return ""
}

// What everyone reads as the same number is read as it; octal, hexadecimal and digit groups are refused.
func TestDecimalNumbers(t *testing.T) {
	for s, want := range map[string]float64{"0": 0, "10": 10, "-0.5": -0.5, "+2": 2, "1e2": 100, "2.5E-1": 0.25, "0.09": 0.09, "0e0": 0, "-0": 0} {
		got, err := parseDecimal(s)
		require.NoError(t, err, s)
		assert.Equal(t, want, got, s)
	}
	for _, s := range []string{"00", "01", "09", "-010", "+07", "0x10", "1_000", "1e999", "-1e999", "", "-", "1.2.3", "0b1", ".", "1e"} {
		_, err := parseDecimal(s)
		assert.Error(t, err, s)
	}
}

// The bounds of a plan's numbers belong to what is read; the next number does not.
func TestBoundsOfNumbersBelongToThem(t *testing.T) {
	for _, c := range []struct{ old, least, most, below, above string }{
		{"{canal: 2.0,", "{canal: 0,", "{canal: 50,", "{canal: -0.001,", "{canal: 50.001,"},
		{"sd_mm: 0.3", "sd_mm: 0", "sd_mm: 20", "sd_mm: -0.1", "sd_mm: 20.1"},
		{"margin_mm: 2.5", "margin_mm: 0", "margin_mm: 50", "margin_mm: -0.1", "margin_mm: 50.1"},
		{"scale_half_width: 0", "scale_half_width: 0.0", "scale_half_width: 0.1", "scale_half_width: -0.001", "scale_half_width: 0.101"},
		{"arch: {sd_mm: 0.1,", "arch: {sd_mm: 0,", "arch: {sd_mm: 5,", "arch: {sd_mm: -0.1,", "arch: {sd_mm: 5.1,"},
		{"radius_mm: 2,", "radius_mm: 0.001,", "radius_mm: 50,", "radius_mm: 0,", "radius_mm: 50.1,"},
		{"      length_mm: 10", "      length_mm: 0.1", "      length_mm: 80", "      length_mm: 0", "      length_mm: 80.1"},
		{" diameter_mm: 4.0", " diameter_mm: 0.1", " diameter_mm: 20", " diameter_mm: 0", " diameter_mm: 20.1"},
		{"apex_diameter_mm: 3.2", "apex_diameter_mm: 0.1", "apex_diameter_mm: 20", "apex_diameter_mm: 0", "apex_diameter_mm: 20.1"},
		{"wanted_width_mm: 6", "wanted_width_mm: 0.1", "wanted_width_mm: 60", "wanted_width_mm: 0", "wanted_width_mm: 60.1"},
		{"depths_mm: [5, 1, 3]", "depths_mm: [0.1]", "depths_mm: [60]", "depths_mm: [0]", "depths_mm: [60.1]"},
		{"lengths_mm: [12, 8, 10]", "lengths_mm: [0.1]", "lengths_mm: [80]", "lengths_mm: [0]", "lengths_mm: [80.1]"},
		{"path: [[18, -5, 0]]", "path: [[-100000, -5, 0]]", "path: [[100000, -5, 0]]", "path: [[-100001, -5, 0]]", "path: [[100001, -5, 0]]"},
	} {
		require.Equal(t, 1, strings.Count(goodPlan, c.old), c.old)
		for i, text := range []string{c.least, c.most, c.below, c.above} {
			got := faultOf(strings.Replace(goodPlan, c.old, text, 1), nil)
			if i < 2 {
				assert.Empty(t, got, text)
			} else {
				assert.Contains(t, got, "; give a ", text)
			}
		}
	}
}

// Texts, lists and files have a length that is still read.
func TestLengthsThatAreStillRead(t *testing.T) {
	const label = "case: pine-042"
	assert.Empty(t, faultOf(strings.Replace(goodPlan, label, "case: "+strings.Repeat("a", 64), 1), nil))
	assert.Contains(t, faultOf(strings.Replace(goodPlan, label, "case: "+strings.Repeat("a", 65), 1), nil), "too long; use at most 64 characters")
	depths := func(n int) string {
		var all []string
		for i := range n {
			all = append(all, fmt.Sprint(1+i))
		}
		return strings.Replace(goodPlan, "[5, 1, 3]", "["+strings.Join(all, ", ")+"]", 1)
	}
	assert.Empty(t, faultOf(depths(50), nil))
	assert.Contains(t, faultOf(depths(51), nil), "depths_mm has 51 elements, at most 50 are read; leave some out")
	assert.Empty(t, badFileName(strings.Repeat("a", 128)))
	assert.Equal(t, "is too long for a file name", badFileName(strings.Repeat("a", 129)))
	full := smallPlan + strings.Repeat("#", maxPlanBytes-len(smallPlan))
	assert.Empty(t, faultOf(full, nil))
	assert.Contains(t, faultOf(full+"#", nil), "larger than 4 MB")
	_, err := Delete([]byte(full+"#"), "case")
	assert.ErrorContains(t, err, "larger than 4 MB")
	_, err = Delete([]byte(full), "case")
	assert.NoError(t, err)
	csv := "x,y,z\n-25,20,0\n-20,0,0\n20,0,0\n25,20,0\n"
	arch := func(data string) string {
		return faultOf(withArch("arch: {file: arch.csv}"), fstest.MapFS{"arch.csv": {Data: []byte(data)}})
	}
	assert.Empty(t, arch(csv+strings.Repeat("\n", maxPlanBytes-len(csv))))
	assert.Contains(t, arch(csv+strings.Repeat("\n", maxPlanBytes-len(csv)+1)), "is larger than 4 MB; make it smaller")
}

// Windows keeps the names of its devices from every folder, with any ending.
//
// Source: Microsoft, Naming Files, Paths, and Namespaces (from memory): CON, PRN, AUX, NUL, COM0–COM9, LPT0–LPT9.
func TestDeviceNames(t *testing.T) {
	for _, s := range []string{"con", "PRN", "aux.txt", "nul.tar.gz", "com0", "COM9", "lpt0", "LPT9", "lpt5.a"} {
		assert.Equal(t, "is a device name on some systems", badFileName(s), s)
	}
	for _, s := range []string{"con1", "com", "com10", "coma", "com/"[:3] + ":"[:0] + "x", "lpta", "abc1", "lp9", "null", "a.con", "fom1"} {
		assert.Empty(t, badFileName(s), s)
	}
	assert.Equal(t, []string{"begins with -", "begins with ~"}, []string{badFileName("-rf"), badFileName("~a")})
}

// Sixteen brackets, dashes and mappings may stand within each other, and 64 keys in one mapping: 16 and 64 are read as far as a plan has them,
// 17 and 65 are refused before they reach the parser.
func TestNestingThatReachesTheParser(t *testing.T) {
	nested := func(n int) string { // mappings within mappings, one column further each
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, "%sa:\n", strings.Repeat(" ", i))
		}
		return b.String()
	}
	keys := func(n int, end string) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, "k%d: 1%s", i, end)
		}
		return b.String()
	}
	for _, c := range []struct{ fits, over, want string }{
		{strings.Repeat("[", 16) + strings.Repeat("]", 16), strings.Repeat("[", 17) + strings.Repeat("]", 17), "more than 16 brackets are open"},
		{strings.Repeat("- ", 16) + "a", strings.Repeat("- ", 17) + "a", "more than 16 list dashes on one line"},
		{nested(16), nested(17), "more than 16 mappings within mappings"},
		{keys(64, "\n"), keys(65, "\n"), "more than 64 keys in one mapping"},
		{"{" + keys(64, ", ") + "}", "{" + keys(65, ", ") + "}", "more than 64 keys in one mapping"},
		{"a: {" + keys(64, ", ") + "}\nb: {" + keys(64, ", ") + "}\n", "a: {b: {" + keys(1, ", ") + "}, " + keys(65, ", ") + "}\n", "more than 64 keys in one mapping"},
		{"a:\n " + strings.ReplaceAll(keys(64, "\n "), "\n k0", "\n k0") + "\nb:\n " + keys(64, "\n "), "a:\n b:\n  c: 1\n " + keys(65, "\n "), "more than 64 keys in one mapping"},
	} {
		f := &faults{}
		parseYAML("plan.yaml", []byte(c.fits), f)
		assert.NotContains(t, fmt.Sprint(f.err()), "more than", "%.60s", c.fits)
		f = &faults{}
		assert.Nil(t, parseYAML("plan.yaml", []byte(c.over), f))
		assert.ErrorContains(t, f.err(), c.want)
	}
}

// A hundred faults are listed, and how many more there are.
func TestFaultsAreListedToAHundred(t *testing.T) {
	f := &faults{}
	for i := range 100 {
		f.add(Position{File: "p", Line: 200 - i}, "", "r", "w")
	}
	assert.Len(t, f.err(), 100)
	assert.Equal(t, 101, f.list[0].Line, "sorted by line")
	for range 3 {
		f.add(Position{File: "p"}, "", "r", "w")
	}
	all := f.err()
	assert.Len(t, all, 101)
	assert.ErrorContains(t, all, "p: 3 more errors are not listed; mend the first ones")
}

// Levenshtein's distance of well-known pairs, and what is cut.
//
// Source: kitten and sitting, Saturday and Sunday: textbook examples, 3 each.
func TestEditDistance(t *testing.T) {
	for pair, want := range map[[2]string]int{{"kitten", "sitting"}: 3, {"saturday", "sunday"}: 3, {"", "abc"}: 3, {"abc", ""}: 3, {"abc", "abc"}: 0, {"ab", "ba"}: 2, {"crest", "rest"}: 1} {
		assert.Equal(t, want, editDistance(pair[0], pair[1]), "%v", pair)
	}
	assert.Equal(t, 64, editDistance(strings.Repeat("a", 64), ""))
	assert.Equal(t, `"`+strings.Repeat("ü", 60)+`"`, quoted(strings.Repeat("ü", 60)))
	assert.Equal(t, `"`+strings.Repeat("ü", 60)+`…"`, quoted(strings.Repeat("ü", 61)))
}

// Only a root or an implant is taken out, only a sinus is lifted: of anything else the key would silence its margin.
func TestOnlyRootsAreTakenOut(t *testing.T) {
	for _, kind := range structureKinds {
		got := faultOf(strings.Replace(goodPlan, "kind: root,", "kind: "+kind+",", 1), nil)
		if kind == "root" || kind == "implant" {
			assert.Empty(t, got, kind)
		} else {
			assert.Contains(t, got, "planned_removal on a "+strings.ReplaceAll(kind, "_", " ")+" would silence its margin; leave it out", kind)
		}
		got = faultOf(strings.Replace(smallPlan, "jaw: maxilla", "structures: [{name: s, kind: "+kind+", path: [[0, 0, 9]], radius_mm: 2, planned_lift_mm: 3}]\njaw: maxilla", 1), nil)
		if kind == "sinus" {
			assert.Empty(t, got, kind)
		} else {
			assert.Contains(t, got, "only the floor of a sinus is lifted", kind)
		}
	}
}

// A closed surface has no radius and must be one; it is not asked for a path.
func TestSurfaceOfAStructure(t *testing.T) {
	dir := setUp(t)
	plan := func(keys string) string { return smallPlan + "structures: [{name: s, kind: sinus, " + keys + "}]\n" }
	p, _, err := Read("plan.yaml", []byte(plan("surface: 36.stl, planned_lift_mm: 2")), dir)
	require.NoError(t, err)
	require.NotNil(t, p.Structures[0].Surface)
	assert.Equal(t, 2.0, p.Structures[0].PlannedLift)
	assert.Len(t, p.Files["36.stl"], 64)
	for keys, want := range map[string]string{
		"surface: 36.stl, radius_mm: 2": "a closed surface has no radius; leave the radius out", "surface: 36.stl, radii_mm: [2]": "a closed surface has no radius",
		"surface: 36.stl, path: [[1, 2, 3]], radius_mm: 1": "path (line 6) and surface (line 6) are both given",
		"surface: none.stl":  `surface "none.stl": `,
		"surface: ../36.stl": "is not a path below the plan's folder",
		"surface: .":         "is not a path below the plan's folder",
		"surface: []":        "surface is a list of 0, not text",
	} {
		_, _, err := Read("plan.yaml", []byte(plan(keys)), dir)
		assert.ErrorContains(t, err, want, keys)
	}
	_, _, err = Read("plan.yaml", []byte(plan("surface: 36.stl")), nil)
	assert.ErrorContains(t, err, "is not a path below the plan's folder", "no folder, no file")
	assert.Contains(t, faultOf(plan("path: [[1, 2, 3]], radii_mm: [2, 2]"), nil), "radii_mm has 2 values, path has 1 points")
	assert.Contains(t, faultOf(strings.Replace(plan("path: [[1, 2, 3]], radius_mm: 2"), "name: s", "name: ' '", 1), nil), `name is empty`)
	assert.Contains(t, faultOf(smallPlan+"structures: [{kind: sinus, path: [[1, 2, 3]], radius_mm: 2}, 3]\n", nil), "structure 1: name is missing")
	assert.Contains(t, faultOf(smallPlan+"structures: [{kind: sinus, path: [[1, 2, 3]], radius_mm: 2}, 3]\n", nil), "structure 2: structures[1] is \"3\"")
}

// A file as large as the memory given for it is read, and a byte more is not.
func TestPlanOnDisk(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "arch.csv"), []byte("z,y,x\n0,20,-25\n0,0,-20\n0,0,20\n0,20,25\n"), 0o600))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "plan.yaml"), []byte(withArch("arch: {file: arch.csv}")), 0o600))
	p, source, err := Open(filepath.Join(dir, "plan.yaml"))
	require.NoError(t, err)
	assert.Equal(t, r3.Vec{X: -25, Y: 20}, p.Arch[0])
	assert.Equal(t, Position{"plan.yaml", 5, 9}, source.Position("sites[0]"))
	require.NoError(t, os.WriteFile(filepath.Join(dir, "plan.yaml"), []byte(strings.Repeat("#", maxPlanBytes+1)), 0o600))
	_, _, err = Open(filepath.Join(dir, "plan.yaml"))
	assert.ErrorContains(t, err, "larger than 4 MB")
}

// An arch file has its three columns, each by its name, and coordinates that are.
func TestColumnsOfTheArchFile(t *testing.T) {
	read := func(text string) string {
		return faultOf(withArch("arch: {file: arch.csv}"), fstest.MapFS{"arch.csv": {Data: []byte(text)}})
	}
	for _, head := range []string{"y,z,a", "x,z,a", "x,y,a", "x,y,zz", "x y z,a,b"} {
		assert.Contains(t, read(head+"\n-25,20,0\n-20,0,0\n20,0,0\n25,20,0\n"), "begin the file with the line x,y,z", head)
	}
	for _, c := range []struct{ x, want string }{{"100000", ""}, {"-100000", ""}, {"100001", "100001"}, {"-100001", "-100001"}, {"nan", "nan"}, {"007", "007"}} {
		got := read("x,y,z\n-25,20,0\n-20,0,0\n20,0,0\n25,20," + c.x + "\n")
		if c.want == "" {
			assert.NotContains(t, got, "z is", c.x)
		} else {
			assert.Contains(t, got, `arch.csv:5:7: arch: z is "`+c.want+`"`)
			if strings.HasPrefix(strings.TrimPrefix(c.x, "-"), "1") {
				assert.Contains(t, got, "give a number from -100000 to 100000")
			}
		}
	}
	for _, head := range []string{"y,x,z\n20,-25,0\n0,-20,0\n0,20,0\n20,25,0\n", "z,y,x\n0,20,-25\n0,0,-20\n0,0,20\n0,20,25\n"} {
		assert.Empty(t, read(head))
	}
	assert.Contains(t, read("x,y,z\n"+strings.Repeat("1,2,3\n", 1001)), "more than 1000 arch points; thin the points out")
	assert.NotContains(t, read("x,y,z\n"+strings.Repeat("1,2,3\n", 1000)), "thin the points out")
	assert.Contains(t, read("x,y,z\n1,2,3\n4,5,\"6\n"), "not readable as CSV")
}

// A plan moved into another frame has every point and direction there, and stays as it was.
func TestPlanMovedIntoAnotherFrame(t *testing.T) {
	p, _, err := Read("plan.yaml", []byte(goodPlan+"levelling_plane: [[0, 0, 1], [1, 0, 1], [0, 1, 1]]\nreadings: [{from: [1, 2, 3], to: [4, 5, 6]}]\n"), nil)
	require.NoError(t, err)
	before := p.Clone()
	turn, shift := r3.NewRotation(0.7, r3.Vec{X: 1, Y: 2, Z: 3}), r3.Vec{X: 5, Y: -6, Z: 7}
	point := func(v r3.Vec) r3.Vec { return r3.Add(turn.Rotate(v), shift) }
	moved := p.Moved(point, turn.Rotate)
	assert.Equal(t, before, p)
	near(t, turn.Rotate(p.OcclusalGiven), moved.OcclusalGiven)
	near(t, point(p.LevelPoints[1]), moved.LevelPoints[1])
	near(t, point(p.Arch[2]), moved.Arch[2])
	near(t, point(*p.Sites[0].At), *moved.Sites[0].At)
	near(t, point(*p.Sites[0].Crest), *moved.Sites[0].Crest)
	near(t, turn.Rotate(p.Sites[0].AxisVec), moved.Sites[0].AxisVec)
	near(t, r3.Vec{}, moved.Sites[1].AxisVec)
	near(t, point(*p.Sites[0].Implant.Platform), *moved.Sites[0].Implant.Platform)
	near(t, turn.Rotate(*p.Sites[0].Implant.Axis), *moved.Sites[0].Implant.Axis)
	near(t, point(p.Structures[0].Path[1]), moved.Structures[0].Path[1])
	near(t, point(p.Readings[0].To), moved.Readings[0].To)
	assert.Nil(t, moved.Midline)
}

// A plan in voxels has no place without a grid; on one it is refused for what one in patient coordinates is refused for.
func TestPlanInVoxelsIsCheckedOnItsGrid(t *testing.T) {
	wrong := strings.Replace(voxelPlan, "axis: [0, 0, 1], crest", "axis: [0, 0, -1], crest", 1)
	p, source, err := Read("plan.yaml", []byte(wrong), nil)
	require.NoError(t, err)
	found, err := p.Check(source)
	assert.NoError(t, err)
	assert.Empty(t, found)
	for _, place := range []func(volume.Grid, *Source) error{
		func(g volume.Grid, s *Source) error { _, err := p.Place(g, s); return err },
		func(g volume.Grid, s *Source) error { _, err := p.InPatient(g, s); return err },
	} {
		assert.ErrorContains(t, place(testGrid, source), "points toward the biting surface")
	}
	good, source, err := Read("plan.yaml", []byte(voxelPlan), nil)
	require.NoError(t, err)
	placed, err := good.Place(testGrid, source)
	require.NoError(t, err)
	assert.Equal(t, testGrid, placed.Grid())
	var none *Source
	assert.Equal(t, Position{File: "plan"}, none.Position("sites[0]"))
	assert.Equal(t, Position{File: "plan.yaml"}, source.Position("nowhere"))
	assert.Equal(t, 4.5, (&Sizes{Diameters: []float64{3.5, 4.5}}).Widest())
	assert.Zero(t, (&Sizes{}).Widest())
}

// A reading is of a site of the plan or of none, has an id of its own, and its place in the list where it says none.
func TestReadingsOfASite(t *testing.T) {
	plan := func(readings string) string { return smallPlan + "readings: [" + readings + "]\n" }
	p, _, err := Read("plan.yaml", []byte(plan("{from: [1, 2, 3], to: [4, 5, 6]}, {site: 16, from: [1, 2, 3], to: [4, 5, 6], reader: A}")), nil)
	require.NoError(t, err)
	assert.Equal(t, []Reading{{ID: "1", From: r3.Vec{X: 1, Y: 2, Z: 3}, To: r3.Vec{X: 4, Y: 5, Z: 6}}, {ID: "2", Site: "16", From: r3.Vec{X: 1, Y: 2, Z: 3}, To: r3.Vec{X: 4, Y: 5, Z: 6}, Reader: "A"}}, p.Readings)
	assert.Contains(t, faultOf(plan("{site: 17, from: [1, 2, 3], to: [4, 5, 6]}"), nil), `reading "1" is of site "17", which is not in the plan`)
	assert.Contains(t, faultOf(plan("{id: a, from: [1, 2, 3], to: [4, 5, 6]}, {id: a, from: [1, 2, 3], to: [4, 5, 6]}"), nil), `reading "a" stands twice`)
}

// A review names who looked at what, when, and the files as they were.
func TestKeysOfAReview(t *testing.T) {
	sum := strings.Repeat("0f", 32)
	p, _, err := Read("plan.yaml", []byte(smallPlan+"review: {by: A, role: surgeon, at: 2026-01-02, plan_sha256: "+sum+", series: "+sum+", result_sha256: "+sum+", files: [{name: a.csv, sha256: "+sum+"}], looked: ['16'], reasons: [{site: '16', finding: f, reason: g}]}\n"), nil)
	require.NoError(t, err)
	assert.Equal(t, &Review{By: "A", Role: "surgeon", At: "2026-01-02", PlanSHA256: sum, Series: sum, ResultSHA256: sum, Files: map[string]string{"a.csv": sum}, Looked: []string{"16"}, Reasons: []ReviewReason{{"16", "f", "g"}}}, p.Review)
	for review, want := range map[string]string{
		"{role: a, at: b}": "by is missing", "{by: a, role: b, at: c, files: [{name: d}]}": "sha256 is missing", "{by: a, role: b, at: c, files: [{sha256: " + sum + "}]}": "name is missing",
		"{by: a, role: b, at: c, reasons: [{finding: d}]}": "reason is missing", "{by: a, role: b, at: c, series: d}": "is no SHA-256",
	} {
		assert.Contains(t, faultOf(smallPlan+"review: "+review+"\n", nil), want, review)
	}
}
