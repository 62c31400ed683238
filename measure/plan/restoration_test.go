package plan

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/solid"
)

// setUp is a folder with a set-up (a tetrahedron from (1, 2, 3) to 5 mm further along each axis), a mended copy, and alignments.
func setUp(t *testing.T) fstest.MapFS {
	t.Helper()
	s, err := solid.NewSheet([]r3.Vec{{X: 1, Y: 2, Z: 3}, {X: 6, Y: 2, Z: 3}, {X: 1, Y: 7, Z: 3}, {X: 1, Y: 2, Z: 8}}, [][3]int{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}})
	require.NoError(t, err)
	var stl bytes.Buffer
	require.NoError(t, solid.WriteSheet(&stl, s, "set-up"))
	// A quarter turn about z, then a shift: (x, y, z) comes to (10 − y, x − 20, z + 30).
	f := align.File{Program: "test", Kind: align.KindSurface, Second: align.Subject{Series: strings.Repeat("a", 64)},
		Transform: align.Rigid("set-up", "patient", r3.Vec{Z: math.Pi / 2}, r3.Vec{X: 10, Y: -20, Z: 30})}
	f.Transform.Spread = &align.Spread{}
	dir := fstest.MapFS{"36.stl": {Data: stl.Bytes()}, "none.stl": {Data: []byte("none")}, "none.json": {Data: []byte("{}")}}
	write := func(name string, f align.File) {
		var b bytes.Buffer
		require.NoError(t, f.Write(&b))
		dir[name] = &fstest.MapFile{Data: b.Bytes()}
	}
	write("setup.json", f)
	scans := f
	scans.Kind = align.KindScans
	write("scans.json", scans)
	f.Transform.Spread = nil
	write("unknown.json", f)
	f, err = align.ReadFile(bytes.NewReader(dir["setup.json"].Data))
	require.NoError(t, err)
	f, err = f.Accept("reader 1", time.Unix(0, 0))
	require.NoError(t, err)
	write("accepted.json", f)
	return dir
}

func restorationOf(t *testing.T, keys string) (*Restoration, error) {
	t.Helper()
	p, _, err := Read("plan.yaml", []byte(smallPlan+"restoration: {"+keys+"}\n"), setUp(t))
	if err != nil {
		return nil, err
	}
	return p.Restoration, nil
}

// The planned teeth come to where their alignment has them: by hand, the corner (6, 2, 3) to (8, −14, 33), (1, 7, 3) to (3, −19, 33),
// (1, 2, 8) to (8, −19, 38).
func TestPlannedTeethStandWhereTheirAlignmentHasThem(t *testing.T) {
	for _, keys := range []string{"surface: 36.stl, align: setup.json", `surfaces: [{file: 36.stl, tooth: "36"}, {file: 36.stl}], align: setup.json`} {
		r, err := restorationOf(t, keys)
		require.NoError(t, err)
		for _, s := range r.Surfaces {
			box := s.Sheet.Bounds()
			assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Vec{X: 3, Y: -19, Z: 33}, box.Min)), 1e-5, "STL has 32-bit numbers")
			assert.InDelta(t, 0, r3.Norm(r3.Sub(r3.Vec{X: 8, Y: -14, Z: 38}, box.Max)), 1e-5)
		}
		assert.Nil(t, r.Window)
	}
}

// The planned mucosa comes along with the teeth.
func TestPlannedMucosaStandsWhereItsAlignmentHasIt(t *testing.T) {
	r, err := restorationOf(t, "surface: 36.stl, mucosa: 36.stl, align: setup.json")
	require.NoError(t, err)
	require.NotNil(t, r.Mucosa)
	assert.Equal(t, r.Surfaces[0].Sheet.Bounds(), r.Mucosa.Bounds())
	_, err = restorationOf(t, "surface: 36.stl, mucosa: gone.stl, align: setup.json")
	assert.ErrorContains(t, err, `mucosa "gone.stl" cannot be opened`)
}

// strip is so many facets in a row, x mm along.
func strip(facets int, x float64) (points []r3.Vec, triangles [][3]int) {
	for i := range facets + 2 {
		points = append(points, r3.Vec{X: x + float64(i), Y: float64(i % 2)})
	}
	for i := range facets {
		triangles = append(triangles, [3]int{i, i + 1, i + 2})
	}
	return points, triangles
}

// Of a set-up in one surface each connected piece is a tooth, but what has fewer than twenty facets: a splinter. A named surface is one tooth, whole.
func TestTeethOfASetUp(t *testing.T) {
	points, triangles := strip(20, 0)
	for _, facets := range []int{19, 25} {
		more, some := strip(facets, 100*float64(facets))
		for _, f := range some {
			triangles = append(triangles, [3]int{f[0] + len(points), f[1] + len(points), f[2] + len(points)})
		}
		points = append(points, more...)
	}
	s, err := solid.NewSheet(points, triangles)
	require.NoError(t, err)
	got := (&Restoration{Surfaces: []PlannedSurface{{Tooth: "36", Sheet: s}, {Sheet: s}}}).Teeth()
	require.Len(t, got, 3)
	assert.Same(t, s, got[0].Sheet)
	assert.Equal(t, "36", got[0].Tooth)
	for i, want := range []r3.Box{{Min: r3.Vec{X: 2500}, Max: r3.Vec{X: 2526, Y: 1}}, {Max: r3.Vec{X: 21, Y: 1}}} { // the largest first
		assert.Empty(t, got[1+i].Tooth)
		assert.Equal(t, want, got[1+i].Sheet.Bounds())
	}
	assert.Empty(t, (*Restoration)(nil).Teeth())
}

// A surface that bears a tooth's name is that tooth; those without a name are asked for every other one.
func TestPlannedToothByItsName(t *testing.T) {
	r := &Restoration{Surfaces: []PlannedSurface{{Tooth: "36"}, {Tooth: ""}, {Tooth: "37"}, {Tooth: ""}}}
	assert.Equal(t, []PlannedSurface{{Tooth: "37"}}, r.Of("37"))
	assert.Equal(t, []PlannedSurface{{}, {}}, r.Of("35"))
	assert.Equal(t, []PlannedSurface{{}, {}}, r.Of(""), "no tooth is none by name")
	assert.Empty(t, (&Restoration{Surfaces: r.Surfaces[:1]}).Of("37"))
}

// The window limits the sides that it names and no others.
func TestExitWindow(t *testing.T) {
	inf := math.Inf(1)
	for keys, want := range map[string]struct {
		window ExitWindow
		text   string
	}{
		"{buccal: 1, lingual: 2.5, mesial: 0, distal: 20}": {ExitWindow{1, 2.5, 0, 20, ""}, "buccal 1, lingual 2.5, mesial 0, distal 20 mm"},
		"{lingual: 2}, exit_window_source: our laboratory": {ExitWindow{inf, 2, inf, inf, "our laboratory"}, "lingual 2 mm (our laboratory)"},
		"{mesial: 1, distal: 3}":                           {ExitWindow{inf, inf, 1, 3, ""}, "mesial 1, distal 3 mm"},
	} {
		r, err := restorationOf(t, "surface: 36.stl, align: setup.json, exit_window_mm: "+keys)
		require.NoError(t, err, keys)
		require.NotNil(t, r.Window)
		assert.Equal(t, want.window, *r.Window)
		assert.Equal(t, want.text, r.Window.String())
	}
}

func TestFaultsOfPlannedTeeth(t *testing.T) {
	const whole = "surface: 36.stl, align: setup.json"
	for keys, want := range map[string]string{
		"surface: 36.stl":                                          "align is missing; bring the set-up into the scan's frame",
		"align: setup.json":                                        "restoration has no surface; name the set-up",
		whole + ", surfaces: []":                                   "surface (line 6) and surfaces (line 6) are both given",
		"surfaces: [], align: setup.json":                          "surfaces is an empty list; name at least one",
		"surfaces: 3, align: setup.json":                           "surfaces is \"3\", not a list",
		"surfaces: [{tooth: 36}], align: setup.json":               "file is missing; name its file",
		"surfaces: [{file: 36.stl, tooth: 39}], align: setup.json": `tooth "39" is none; write the two-digit designation of ISO 3950`,
		"surfaces: [{file: 36.stl, tooth: 36}, {file: 36.stl, tooth: 36}], align: setup.json": "the surface at line 6 is of this tooth too; give each tooth one surface",
		"surface: gone.stl, align: setup.json":                                                `surface "gone.stl" cannot be opened`,
		"surface: none.stl, align: setup.json":                                                `surface "none.stl": `,
		"surface: [], align: setup.json":                                                      "surface is a list of 0, not text",
		"surface: 36.stl, align: gone.json":                                                   `align "gone.json" cannot be opened`,
		"surface: 36.stl, align: none.json":                                                   `align "none.json": `,
		"surface: 36.stl, align: []":                                                          "align is a list of 0, not text",
		"surface: 36.stl, align: scans.json":                                                  `align "scans.json" brings scans together, not a surface and a scan`,
		whole + ", exit_window_mm: {}":                                                        "exit_window_mm limits no side",
		whole + ", exit_window_mm: {buccal: -1}":                                              "buccal is -1 mm; give a number from 0 to 20 mm",
		whole + ", exit_window_mm: {distal: 20.5}":                                            "distal is 20.5 mm; give a number from 0 to 20 mm",
		whole + ", exit_window_mm: {up: 1}":                                                   "unknown key \"up\"",
		whole + ", exit_window_source: me":                                                    "exit_window_source without exit_window_mm; leave it out",
		whole + ", colour: red":                                                               "unknown key \"colour\"",
	} {
		_, err := restorationOf(t, keys)
		assert.ErrorContains(t, err, want, keys)
		assert.NotContains(t, want, "\n")
	}
	_, _, err := Read("plan.yaml", []byte(smallPlan+"restoration: 36.stl\n"), nil)
	assert.ErrorContains(t, err, `restoration is "36.stl", not a mapping`)
}

// What must be known of the planned teeth is said: nobody accepted their alignment, it was made on another scan, its uncertainty is
// not known.
func TestDoubtsAboutPlannedTeeth(t *testing.T) {
	a, b := strings.Repeat("a", 64), strings.Repeat("b", 64)
	for _, c := range []struct {
		file, series string
		want         []string
	}{
		{"setup.json", "", []string{"restoration_unaccepted"}}, {"setup.json", a, []string{"restoration_unaccepted"}},
		{"setup.json", b, []string{"restoration_unaccepted", "restoration_other_scan"}}, {"accepted.json", a, []string{}}, {"accepted.json", "", []string{}},
		{"accepted.json", b, []string{"restoration_other_scan"}}, {"unknown.json", a, []string{"restoration_unaccepted", "restoration_unknown"}},
	} {
		r, err := restorationOf(t, "surface: 36.stl, align: "+c.file)
		require.NoError(t, err)
		got := (&Placed{Contents: Contents{Restoration: r, For: MadeFor{Series: c.series}}}).restorationDoubts()
		assert.Equal(t, c.want, codesOf(got), "%v", c)
		for _, d := range got {
			assert.Equal(t, SeverityCaution, d.Severity)
		}
	}
	r, err := restorationOf(t, "surface: 36.stl, align: setup.json")
	require.NoError(t, err)
	r.Align.Second.Series = ""
	assert.Equal(t, []string{"restoration_unaccepted"}, codesOf((&Placed{Contents: Contents{Restoration: r, For: MadeFor{Series: a}}}).restorationDoubts()), "which scan is not known")
	assert.Empty(t, (&Placed{}).restorationDoubts())
}
