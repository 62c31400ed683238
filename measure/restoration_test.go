package measure

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// toothBlock returns a closed box as an STL file: a planned tooth with a flat biting side.
func toothBlock(t *testing.T, low, high r3.Vec) []byte {
	t.Helper()
	var points []r3.Vec
	for i := range 8 {
		p := low
		if i&1 > 0 {
			p.X = high.X
		}
		if i&2 > 0 {
			p.Y = high.Y
		}
		if i&4 > 0 {
			p.Z = high.Z
		}
		points = append(points, p)
	}
	facets := [][3]int{{0, 2, 1}, {1, 2, 3}, {4, 5, 6}, {5, 7, 6}, {0, 1, 4}, {1, 5, 4}, {2, 6, 3}, {3, 6, 7}, {0, 4, 2}, {2, 4, 6}, {1, 3, 5}, {3, 7, 5}}
	// Two more cuts a facet, so that the piece has as many as a splinter has not.
	for range 2 {
		var finer [][3]int
		for _, f := range facets {
			points = append(points, r3.Scale(1.0/3, r3.Add(points[f[0]], r3.Add(points[f[1]], points[f[2]]))))
			c := len(points) - 1
			finer = append(finer, [3]int{f[0], f[1], c}, [3]int{f[1], f[2], c}, [3]int{f[2], f[0], c})
		}
		facets = finer
	}
	s, err := solid.NewSheet(points, facets)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, solid.WriteSheet(&b, s, "set-up"))
	return b.Bytes()
}

// aligned is an alignment file: the set-up's frame is the patient's moved by shift; each shift of the alignment has the
// standard uncertainty sd (mm); by is who accepted it.
func aligned(t *testing.T, shift r3.Vec, sd float64, by string) []byte {
	t.Helper()
	f := align.File{Program: "test", Kind: "surface", Transform: align.Rigid("set-up", "patient", r3.Vec{}, shift)}
	f.Transform.Spread = &align.Spread{}
	for i := range 3 {
		f.Transform.Spread.Cov[3+i][3+i] = sd * sd
	}
	var b bytes.Buffer
	require.NoError(t, f.Write(&b))
	if by == "" {
		return b.Bytes()
	}
	f, err := align.ReadFile(&b) // accepted as it was written
	require.NoError(t, err)
	f, err = f.Accept(by, time.Unix(0, 0))
	require.NoError(t, err)
	b.Reset()
	require.NoError(t, f.Write(&b))
	return b.Bytes()
}

// restored measures the straight ridge with a planned tooth over its site: x from −3 to 5, y from 0 to 10, z from 5 to 12 in
// the patient, so that its middle lies at (1, 5) and its biting side at z = 12.
func restored(t *testing.T, keys, axis, by string) SiteResult {
	t.Helper()
	return restoredBy(t, keys, axis, aligned(t, setUpShift, 0.1, by), 10, "")
}

// setUpShift leads from the set-up's frame to the patient's, mm.
var setUpShift = r3.Vec{X: 10, Y: -20, Z: 30}

// restoredBy is restored with an alignment, a tooth that ends at y = long, and the hash of the scan that is measured.
func restoredBy(t *testing.T, keys, axis string, alignment []byte, long float64, scan string) SiteResult {
	t.Helper()
	dir := fstest.MapFS{
		"setup.stl":  {Data: toothBlock(t, r3.Sub(r3.Vec{X: -3, Z: 5}, setUpShift), r3.Sub(r3.Vec{X: 5, Y: long, Z: 12}, setUpShift))},
		"setup.json": {Data: alignment},
	}
	text := strings.Replace(straightPlan, "platform: [0, 4, -2],", "platform: [0, 4, -2], axis: "+axis+",", 1) + "restoration: {" + keys + ", align: setup.json}\n"
	p, _, err := plan.Read("plan.yaml", []byte(text), dir)
	require.NoError(t, err)
	r, err := RunPlan(context.Background(), straightRidge(t), p, Scan{SeriesHash: scan}, Options{})
	require.NoError(t, err)
	return r.Sites[0]
}

// Worked by hand: upright, the axis leaves the biting side at (0, 4, 12), 1 mm off the middle in x and in y; the room is
// 14 mm, and the angle to the middle atan(√2/14). Leaning by 10° to +x it leaves 14·tan 10° = 2.4686 mm further, and the least
// room is that of the platform's rim that lies higher: (14 − 2·sin 10°)/cos 10° mm. A shift of the alignment of 0.1 mm moves the exit by as
// much, along the arch, and by 0.1/cos 10° in the leaning direction.
func TestWhereTheAxisLeavesThePlannedTooth(t *testing.T) {
	for _, keys := range []string{"surface: setup.stl", `surfaces: [{file: setup.stl, tooth: "36"}]`} {
		s := restored(t, keys, "[0, 0, -1]", "r01")
		b, m := value(t, s, quantity.ExitBuccal, math.NaN()), value(t, s, quantity.ExitMesial, math.NaN())
		require.InDelta(t, -math.Copysign(1, s.Frame.U.X), *b.Value, 1e-5) // STL has 32-bit numbers
		require.InDelta(t, 1, math.Abs(*m.Value), 1e-5)
		require.InDelta(t, math.Atan(math.Sqrt2/14)*180/math.Pi, *value(t, s, quantity.ExitAngle, math.NaN()).Value, 1e-4)
		space := value(t, s, quantity.CrownSpace, math.NaN())
		require.InDelta(t, 14, *space.Value, 1e-5)
		require.Contains(t, b.Note, "leaves through the biting side")
		require.Empty(t, b.Verdict)
		for _, r := range []Row{b, m, space} {
			require.InDelta(t, 0.2, r.Budget.U(), 1e-9)
			require.Empty(t, r.To)
		}
		require.NotEmpty(t, s.Restoration)
	}
	const a = 10 * math.Pi / 180
	s := restored(t, "surface: setup.stl", fmt.Sprintf("[%.9f, 0, %.9f]", -math.Sin(a), -math.Cos(a)), "r01")
	b := value(t, s, quantity.ExitBuccal, math.NaN())
	require.InDelta(t, 14*math.Tan(a)-1, *b.Value*math.Copysign(1, s.Frame.U.X), 1e-4)
	require.InDelta(t, 0.2/math.Cos(a)*math.Sqrt(1)*math.Abs(1), b.Budget.U(), 0.2*(1/math.Cos(a)-1)+1e-6)
	require.InDelta(t, (14-2*math.Sin(a))/math.Cos(a), *value(t, s, quantity.CrownSpace, math.NaN()).Value, 1e-4)
}

// A window of the plan makes verdicts, U being the guard band: 1 mm off, U 0.2. An alignment that nobody accepted leaves
// nothing held.
func TestWindowOfTheExit(t *testing.T) {
	for _, c := range []struct {
		window, by string
		want       safety.Verdict
	}{
		{"buccal: 1.3, lingual: 1.3", "r01", safety.Held}, {"buccal: 1.3, lingual: 1.3", "", safety.Uncertain},
		{"buccal: 1.1, lingual: 1.1", "r01", safety.Uncertain}, {"buccal: 0.7, lingual: 0.7", "r01", safety.NotHeld},
		{"buccal: 0.7, lingual: 0.7", "", safety.NotHeld}, {"buccal: 0.9, lingual: 0.9", "r01", safety.Uncertain}, {"mesial: 3, distal: 3", "r01", safety.NoMargin},
	} {
		s := restored(t, "surface: setup.stl, exit_window_mm: {"+c.window+"}, exit_window_source: laboratory A", "[0, 0, -1]", c.by)
		b := value(t, s, quantity.ExitBuccal, math.NaN())
		require.Equal(t, c.want, b.Verdict, "%+v", c)
		require.Contains(t, b.Note, "(laboratory A)")
		require.False(t, b.Overlap(), "the other side of the middle is no overlap")
		require.Equal(t, c.by == "", strings.Contains(b.Note, "accepted by nobody"))
	}
}

// No number where there is none: no tooth of this number; an axis that misses it, beside it or over its rim; several teeth
// in one piece; the reason stands there, and with a window the verdict is not assessed.
func TestNoPlannedToothNoNumber(t *testing.T) {
	s := restored(t, `surfaces: [{file: setup.stl, tooth: "35"}], exit_window_mm: {buccal: 1}`, "[0, 0, -1]", "r01")
	for _, q := range []quantity.Name{quantity.ExitBuccal, quantity.ExitMesial, quantity.ExitAngle, quantity.CrownSpace} {
		row, ok := s.Lookup(q, math.NaN())
		require.True(t, ok)
		require.Nil(t, row.Value)
		require.Contains(t, row.Note, "no planned tooth of this number")
	}
	row, _ := s.Lookup(quantity.ExitBuccal, math.NaN())
	require.Equal(t, safety.NotAssessed, row.Verdict)
	const a = 40 * math.Pi / 180
	s = restored(t, `surfaces: [{file: setup.stl, tooth: "36"}]`, fmt.Sprintf("[%.6f, 0, %.6f]", math.Sin(a), -math.Cos(a)), "r01")
	row, _ = s.Lookup(quantity.ExitBuccal, math.NaN())
	require.Contains(t, row.Note, "does not meet its planned tooth")
	const b = 14 * math.Pi / 180 // by 3 of 4 mm to the rim
	s = restored(t, "surface: setup.stl", fmt.Sprintf("[%.6f, 0, %.6f]", math.Sin(b), -math.Cos(b)), "r01")
	row, _ = s.Lookup(quantity.CrownSpace, math.NaN())
	if row.Value == nil {
		require.Contains(t, row.Note, "lines from the platform")
	}
}

// Teeth that were aligned with another scan, or that are several in one piece, have no number; with a window the verdict is
// not assessed.
func TestPlannedTeethOfAnotherScanOrInOnePiece(t *testing.T) {
	f := align.File{Program: "test", Kind: align.KindSurface, Second: align.Subject{Series: strings.Repeat("1", 64)}, Transform: align.Rigid("set-up", "patient", r3.Vec{}, setUpShift)}
	f.Transform.Spread = &align.Spread{}
	var other bytes.Buffer
	require.NoError(t, f.Write(&other))
	const keys = "surface: setup.stl, exit_window_mm: {buccal: 9, lingual: 9}"
	for _, c := range []struct {
		alignment []byte
		long      float64
		scan      string
		note      string
	}{
		{other.Bytes(), 10, strings.Repeat("2", 64), "aligned with another scan"},
		{other.Bytes(), 10, strings.Repeat("1", 64), ""},
		{aligned(t, setUpShift, 0.1, "r01"), 15, "", "no single tooth"},
	} {
		s := restoredBy(t, keys, "[0, 0, -1]", c.alignment, c.long, c.scan)
		row, ok := s.Lookup(quantity.ExitBuccal, math.NaN())
		require.True(t, ok)
		require.Equal(t, c.note == "", row.Value != nil, "%s", row.Note)
		require.Contains(t, row.Note, c.note)
		require.Equal(t, c.note != "", row.Verdict == safety.NotAssessed, "%s", row.Verdict)
	}
}

// What is wrong about the key has its line, its value and a remedy.
func TestRestorationThatIsNone(t *testing.T) {
	good := fstest.MapFS{"setup.stl": {Data: toothBlock(t, r3.Vec{}, r3.Vec{X: 8, Y: 8, Z: 8})}, "setup.json": {Data: aligned(t, r3.Vec{}, 0.1, "")}}
	scans := align.File{Program: "test", Kind: "scans", Transform: align.Identity("a")}
	var b bytes.Buffer
	require.NoError(t, scans.Write(&b))
	good["scans.json"] = &fstest.MapFile{Data: b.Bytes()}
	accepted := aligned(t, r3.Vec{}, 0.1, "r01")
	good["changed.json"] = &fstest.MapFile{Data: bytes.Replace(accepted, []byte(`"program": "test"`), []byte(`"program": "other"`), 1)}
	good["none.json"] = &fstest.MapFile{Data: []byte("{}")}
	require.True(t, json.Valid(good["changed.json"].Data))
	for keys, want := range map[string]string{
		"surface: setup.stl": "bring the set-up into the scan's frame",
		"align: setup.json":  "restoration has no surface",
		"surface: setup.stl, surfaces: [{file: setup.stl}], align: setup.json":                          "are both given",
		"surface: no.stl, align: setup.json":                                                            "cannot be opened",
		"surface: setup.json, align: setup.json":                                                        "export it as an STL surface in mm",
		"surface: setup.stl, align: scans.json":                                                         "brings scans together, not a surface and a scan",
		"surface: setup.stl, align: changed.json":                                                       "was changed after r01 accepted it",
		"surface: setup.stl, align: none.json":                                                          "make it again",
		"surface: setup.stl, align: ../setup.json":                                                      "is not a path below the plan's folder",
		"surfaces: [], align: setup.json":                                                               "surfaces is an empty list",
		`surfaces: [{file: setup.stl, tooth: "99"}], align: setup.json`:                                 "ISO 3950",
		`surfaces: [{tooth: "36"}], align: setup.json`:                                                  "name its file",
		`surfaces: [{file: setup.stl, tooth: "36"}, {file: setup.stl, tooth: "36"}], align: setup.json`: "is of this tooth too",
		"surface: setup.stl, align: setup.json, exit_window_mm: {buccal: -1}":                           "-1",
		"surface: setup.stl, align: setup.json, exit_window_mm: {}":                                     "limits no side",
		"surface: setup.stl, align: setup.json, exit_window_source: x":                                  "without exit_window_mm",
		"surface: setup.stl, align: setup.json, window: 3":                                              "window",
	} {
		_, _, err := plan.Read("plan.yaml", []byte(straightPlan+"restoration: {"+keys+"}\n"), good)
		require.ErrorContains(t, err, want, keys)
		require.ErrorContains(t, err, "plan.yaml:1", keys)
	}
	p, source, err := plan.Read("plan.yaml", []byte(straightPlan+"restoration: {surface: setup.stl, align: setup.json}\n"), good)
	require.NoError(t, err)
	require.Equal(t, []string{"setup.json", "setup.stl"}, slices.Sorted(maps.Keys(p.Files)), "a review is void when one of them changes")
	said, err := p.Check(source)
	require.NoError(t, err)
	require.Contains(t, fmt.Sprint(said), "accepted by nobody")
}

// A surface that was exchanged for another of the same name after it was aligned is refused; the aligned one is not, in any folder;
// an alignment that does not say which file it was says so.
func TestExchangedSurfaceIsRefused(t *testing.T) {
	box := toothBlock(t, r3.Vec{}, r3.Vec{X: 8, Y: 8, Z: 8})
	var f align.File
	require.NoError(t, json.Unmarshal(aligned(t, r3.Vec{}, 0.1, ""), &f))
	f.First = align.Subject{File: "setup.stl", SHA256: fmt.Sprintf("%x", sha256.Sum256(box))}
	f, err := f.Accept("r01", time.Now())
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, f.Write(&b))
	dir := fstest.MapFS{"teeth/setup.stl": {Data: box}, "setup.json": {Data: b.Bytes()}}
	text := []byte(straightPlan + "restoration: {surface: teeth/setup.stl, align: setup.json}\n")
	p, source, err := plan.Read("plan.yaml", text, dir)
	require.NoError(t, err)
	said, err := p.Check(source)
	require.NoError(t, err)
	require.NotContains(t, fmt.Sprint(said), "exchanged")

	dir["teeth/setup.stl"] = &fstest.MapFile{Data: toothBlock(t, r3.Vec{X: 2}, r3.Vec{X: 10, Y: 8, Z: 8})}
	_, _, err = plan.Read("plan.yaml", text, dir)
	require.ErrorContains(t, err, "is not the file of that name that was aligned")
	require.ErrorContains(t, err, "plan.yaml:1")

	f.First.SHA256 = ""
	f, err = f.Accept("r01", time.Now())
	require.NoError(t, err)
	b.Reset()
	require.NoError(t, f.Write(&b))
	dir["setup.json"] = &fstest.MapFile{Data: b.Bytes()}
	p, source, err = plan.Read("plan.yaml", text, dir)
	require.NoError(t, err)
	said, err = p.Check(source)
	require.NoError(t, err)
	require.Contains(t, fmt.Sprint(said), "make sure that the file was not exchanged since")
}

// The outline of a box seen from above is its rectangle, from the side too; points inside and on edges do not count.
func TestOutlineOfAPlannedTooth(t *testing.T) {
	points := []r3.Vec{{X: 1, Y: 1, Z: 5}, {X: 0, Y: 0}, {X: 4, Y: 0, Z: 2}, {X: 4, Y: 3}, {X: 0, Y: 3, Z: 7}, {X: 2, Y: 0}, {X: 2, Y: 3, Z: 1}}
	got := hull(points, r3.Vec{X: 1}, r3.Vec{Y: 1})
	require.Equal(t, []r3.Vec{{}, {X: 4, Z: 2}, {X: 4, Y: 3}, {Y: 3, Z: 7}, {}}, got)
	require.Nil(t, hull(nil, r3.Vec{X: 1}, r3.Vec{Y: 1}))
}
