package measure

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
)

// A straight ridge along y with a half-round crest at z = 0 and a half-round base: 7 mm wide,
// 24 mm high, plates of 1.5 mm. Blurred by 0.25 mm, noise 30, 0.4 mm voxels.
const (
	ridgeRadius = 3.5
	ridgeHeight = 24.0
	plate       = 1.5
)

func straightRidge(t testing.TB) *volume.Volume {
	g := volume.Grid{Size: [3]int{60, 100, 90}, Origin: r3.Vec{X: -11.8, Y: -20, Z: -29.6},
		Step: [3]r3.Vec{{X: 0.4}, {Y: 0.4}, {Z: 0.4}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(1, 2))
	edge := func(d float64) float64 { return 0.5 * math.Erfc(d/0.25/math.Sqrt2) }
	n := 0
	for k := range g.Size[2] {
		for range g.Size[1] {
			for i := range g.Size[0] {
				p := g.Patient(volume.Index{I: float64(i), K: float64(k)})
				z := math.Max(ridgeRadius-ridgeHeight, math.Min(-ridgeRadius, p.Z))
				d := math.Hypot(p.X, p.Z-z) - ridgeRadius
				grey := 60 + 1540*edge(d) - 1150*edge(d+plate)
				v.Stored[n] = int16(math.Round(grey + 30*r.NormFloat64()))
				n++
			}
		}
	}
	return v
}

const straightPlan = `format: 1
case: straight
jaw: mandible
arch: {points: [[0, -18, -2], [0, -6, -2], [0, 6, -2], [0, 18, -2]]}
sites:
  - tooth: "36"
    at: [0, 4, -2]
    depths_mm: [1, 3, 5, 10]
    wanted_width_mm: 6
    implant: {platform: [0, 4, -2], diameter_mm: 4, length_mm: 10}
structures:
  - {name: left canal, kind: canal, path: [[0.5, -19, -15], [0.5, 19, -15]], radius_mm: 1.5, sd_mm: 0}
  - {name: root 35, kind: root, path: [[0, -1, 0], [0, -1, -12]], radius_mm: 2, sd_mm: 0}
scan: {scale_half_width: 0}
`

func runPlan(t testing.TB, text string) *Result {
	p, err := plan.Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	r, err := Run(context.Background(), straightRidge(t), p, Scan{}, Options{})
	require.NoError(t, err)
	return r
}

func value(t *testing.T, s SiteResult, q quantity.Name, at float64) Row {
	t.Helper()
	row, ok := s.Lookup(q, at)
	require.True(t, ok, "%s at %g", q, at)
	require.NotNil(t, row.Value, "%s at %g: %s", q, at, row.Note)
	return row
}

// A rod stands on the crest, as a crown does whose root is no denser than the bone: in the implant's way it is said,
// away from it along the arch it is not.
func TestBodyInTheWayOfTheImplant(t *testing.T) {
	for y, said := range map[float64]bool{4: true, 13: false} {
		v := straightRidge(t)
		for n := range v.Stored {
			p := v.Patient(volume.Index{I: float64(n % 60), J: float64(n / 60 % 100), K: float64(n / 6000)})
			if p.Z > 0.6 && p.Z < 4.6 && math.Hypot(p.X, p.Y-y) < 1.8 {
				v.Stored[n] = 2600
			}
		}
		p, err := plan.Read("plan.yaml", []byte(straightPlan), nil)
		require.NoError(t, err)
		r, err := Run(context.Background(), v, p, Scan{}, Options{})
		require.NoError(t, err)
		line := ""
		for _, c := range r.Cautions {
			if c.Code == "unmarked_body" {
				line = c.Line()
			}
		}
		assert.Equal(t, said, strings.Contains(line, "over the implant, in its way"), "at %g mm: %q", y, line)
		if said {
			assert.NotEqual(t, Held, r.Sites[0].Verdict)
		} else {
			assert.Empty(t, line)
		}
	}
}

// What disturbs the image beside the site is in the U of the bone beside an implant whose platform leans there, as it
// is in the site's own numbers: from 1 mm on along the arch the image is drawn upward by 0.4 mm, which shows at the
// crest alone.
func TestDisturbedSectionsBesideTheSiteAreWeighed(t *testing.T) {
	least := func(v *volume.Volume) Row {
		p, err := plan.Read("plan.yaml", []byte(strings.NewReplacer("platform: [0, 4, -2]", "platform: [0, 9, -2], axis: [0, -1, -1]", "arch: {", "arch: {sd_mm: 0, ").Replace(straightPlan)), nil)
		require.NoError(t, err)
		r, err := Run(context.Background(), v, p, Scan{}, Options{})
		require.NoError(t, err)
		for _, row := range r.Sites[0].Rows {
			if row.Quantity == "buccal_bone" && row.At == nil {
				require.NotNil(t, row.Value, row.Note)
				return row
			}
		}
		t.Fatal("no row")
		return Row{}
	}
	plain, drawn := straightRidge(t), straightRidge(t)
	for n := range drawn.Stored[:len(drawn.Stored)-6000] {
		if y := n / 60 % 100; y > 62 {
			drawn.Stored[n] = (plain.Stored[n] + plain.Stored[n+6000]) / 2
		}
	}
	assert.Greater(t, least(drawn).Budget.U(), 1.2*least(plain).Budget.U())
}

// An arch drawn askew turns every section: by 4° more, the bone beside an implant that leans along the arch changes as its
// budget's section direction says, at the round crest most.
func TestBoneBesideALeaningImplantTurnsWithTheSection(t *testing.T) {
	const askew = 2 * math.Pi / 180
	beside := func(turn float64) map[string]Row {
		at := func(y float64) string { return fmt.Sprintf("[%.6f, %.6f, -2]", math.Tan(turn)*(4-y), y) }
		text := strings.Replace(straightPlan, "[0, -18, -2], [0, -6, -2], [0, 6, -2], [0, 18, -2]", strings.Join([]string{at(-18), at(-6), at(6), at(18)}, ", "), 1)
		text = strings.Replace(text, "platform: [0, 4, -2]", "platform: [0, 4, -1], axis: [0.1, 0.5, -1]", 1)
		rows := map[string]Row{}
		for _, r := range runPlan(t, text).Sites[0].Rows {
			if (r.Quantity == "buccal_bone" || r.Quantity == "lingual_bone") && (r.At == nil || *r.At == 1) {
				require.NotNil(t, r.Value, r.Note)
				rows[fmt.Sprint(r.Quantity, r.At == nil)] = r
			}
		}
		return rows
	}
	low, here, high := beside(askew/2), beside(1.5*askew), beside(2.5*askew)
	require.Len(t, here, 4)
	for name, row := range here {
		moved := (*high[name].Value - *low[name].Value) / 2
		for _, term := range row.Budget {
			if term.Name == "section direction" {
				assert.InDelta(t, moved, term.Sensitivity*askew, 0.01, name)
			}
		}
	}
}

// The least bone beside an implant is no more than any row beside it says, nor than at its apex. On this ridge the bone is 1.5 mm all the way and
// the implant leans by 0.3° at most: the outline alone picks a depth that is not the least in five of the six.
func TestLeastBoneIsNoMoreThanInAnyRow(t *testing.T) {
	for _, y := range []float64{-3, 0, 4} {
		for _, lean := range []float64{0, 0.005} {
			implant := fmt.Sprintf("implant: {platform: [0, %g, -5], axis: [%g, 0, -1], diameter_mm: 4, length_mm: 5}", y, lean)
			s := runPlan(t, strings.Replace(straightPlan, "implant: {platform: [0, 4, -2], diameter_mm: 4, length_mm: 10}", implant, 1)).Sites[0]
			for _, row := range s.Rows {
				if (row.Quantity == "buccal_bone" || row.Quantity == "lingual_bone") && row.At == nil {
					require.NotNil(t, row.Value, row.Note)
					for _, depth := range []float64{1, 3, 5} {
						assert.LessOrEqual(t, *row.Value, *value(t, s, row.Quantity, depth).Value, "%s at y %g, lean %g, %g mm below the platform", row.Quantity, y, lean, depth)
					}
				}
			}
		}
	}
}

// Every number of a straight ridge is a closed form: width = chord of the circle, then 2r; height to
// the canal's roof 15 − 1.5; plates; no tilt; the usable crest r − √(r² − W²/4). Clearances are the
// plan's own geometry, to 0.02 mm: canal 15 − 1.5 − (2 + 10); root: axes 5 mm apart, less both radii.
func TestRunOnAStraightRidge(t *testing.T) {
	s := runPlan(t, straightPlan).Sites[0]
	require.Empty(t, s.Err)
	near := func(q quantity.Name, at, want, tol float64) Row {
		row := value(t, s, q, at)
		assert.InDelta(t, want, *row.Value, tol, "%s at %g mm", q, at)
		return row
	}
	nan := math.NaN()
	for _, d := range []float64{1, 3, 5, 10} {
		want := 2 * ridgeRadius
		if d < ridgeRadius {
			want = 2 * math.Sqrt(d*(2*ridgeRadius-d))
		}
		row := near("ridge_width", d, want, 0.08)
		assert.Less(t, row.Budget.U(), 0.4)
	}
	near("buccal_plate", 5, plate, 0.08)
	near("lingual_plate", 10, plate, 0.08)
	height := near("ridge_height", nan, 13.5, 0.05)
	assert.Equal(t, "canal", height.To)
	near("ridge_tilt", nan, 0, 0.6)
	near("usable_crest_depth", nan, ridgeRadius-math.Sqrt(ridgeRadius*ridgeRadius-9), 0.06)
	near("buccal_undercut", nan, 0, 0.06)
	for _, f := range s.Findings {
		switch f.To {
		case "left canal":
			assert.InDelta(t, 1.5, f.Distance.Value, 0.02)
			assert.Equal(t, safety.NotHeld, f.Verdict)
		case "root 35":
			assert.InDelta(t, 1, f.Distance.Value, 0.02)
		case "border":
			round := ridgeRadius - math.Sqrt(ridgeRadius*ridgeRadius-4) // nearer under the apex's sides
			assert.InDelta(t, ridgeHeight-12-round, f.Distance.Value, 0.08)
		}
	}
	bone := value(t, s, "buccal_bone", 3)
	assert.InDelta(t, ridgeRadius-2, *bone.Value, 0.06)
	assert.Equal(t, safety.NotHeld, s.Verdict)
}

// What is not marked is not assessed, whatever else is known: without its canal the posterior site
// has no clearance to one, its height says that it runs past it, and its verdict is not held.
func TestUnmarkedCanalIsNotAssessed(t *testing.T) {
	text := strings.Replace(straightPlan, straightPlan[strings.Index(straightPlan, "  - {name: left canal"):strings.Index(straightPlan, "  - {name: root 35")], "", 1)
	s := runPlan(t, text).Sites[0]
	assert.Contains(t, []Verdict{NotAssessed, NotHeld}, s.Verdict)
	row, ok := s.Lookup("ridge_height", math.NaN())
	require.True(t, ok)
	assert.Equal(t, "border", row.To)
	assert.Contains(t, row.Note, "canal not marked")
	found := false
	for _, r := range s.Rows {
		if r.Quantity == "clearance" && r.To == "canal" {
			found = true
			assert.Equal(t, NotAssessed, r.Verdict)
			assert.Nil(t, r.Value)
		}
	}
	assert.True(t, found)
	s = runPlan(t, strings.Replace(text, "depths_mm", "height_to: canal\n    depths_mm", 1)).Sites[0]
	row, _ = s.Lookup("ridge_height", math.NaN())
	assert.Nil(t, row.Value)
	assert.NotEmpty(t, row.Note)
}

// A crest and an axis that the operator gives are used as given.
func TestGivenCrestAndAxisAreKept(t *testing.T) {
	text := strings.Replace(straightPlan, "depths_mm", "crest: [0.2, 4, -1]\n    axis: [0, 0, -1]\n    depths_mm", 1)
	s := runPlan(t, text).Sites[0]
	assert.InDelta(t, 12.5, *value(t, s, "ridge_height", math.NaN()).Value, 1e-6)
	assert.InDelta(t, 0, *value(t, s, "ridge_tilt", math.NaN()).Value, 1e-9)
	assert.InDelta(t, 7, *value(t, s, "ridge_width", 5).Value, 0.08)
}

// A site whose section shows no bone carries its reason; the others keep their numbers.
func TestSiteWithoutBoneKeepsTheOthers(t *testing.T) {
	text := strings.Replace(straightPlan, "structures:", "  - {tooth: \"37\", at: [0, 12, -2]}\nstructures:", 1)
	p, err := plan.Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	v := straightRidge(t)
	for n := range v.Stored {
		if j := n / v.Size[0] % v.Size[1]; j > 70 {
			v.Stored[n] = 60
		}
	}
	r, err := Run(context.Background(), v, p, Scan{}, Options{})
	require.NoError(t, err)
	require.Empty(t, r.Sites[0].Err)
	require.NotEmpty(t, r.Sites[1].Err)
	for _, row := range r.Sites[1].Rows {
		if row.Quantity == "ridge_width" {
			assert.Nil(t, row.Value)
			assert.NotEmpty(t, row.Note)
		}
	}
}

// Two implants: the pair's rows, and each site's finding about its neighbour.
func TestNeighboursAreHeldAgainstEachOther(t *testing.T) {
	text := strings.Replace(straightPlan, "structures:",
		"  - {tooth: \"37\", at: [0, 11, -2], implant: {platform: [0, 11, -2], axis: [0, 0, -1], diameter_mm: 4, length_mm: 10}}\nstructures:", 1)
	text = strings.Replace(text, "implant: {platform: [0, 4, -2],", "implant: {platform: [0, 4, -2], axis: [0, 0, -1],", 1)
	r := runPlan(t, text)
	for i, other := range []string{"37", "36"} {
		found := false
		for _, f := range r.Sites[i].Findings {
			if f.To == other {
				found = true
				assert.InDelta(t, 3, f.Distance.Value, 1e-6, "axes 7 mm apart, less two radii")
			}
		}
		assert.True(t, found)
	}
	var pair []string
	for _, row := range r.Arch.Rows {
		if row.Sites == "36|37" {
			pair = append(pair, fmt.Sprintf("%s %.3f", row.Quantity, *row.Value))
		}
	}
	assert.Equal(t, []string{"clearance 3.000", "platform_distance 7.000", "implant_angle 0.000"}, pair)
}

// The roof of a tube in a section: upright, leaning through the plane, a single ball, and one that
// passes the plane by.
func TestRoofOfATube(t *testing.T) {
	frame := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	axis := ridge.Axis{Dir: reformat.UV{V: -1}}
	tube := func(r0, r1 float64, path ...r3.Vec) safety.Structure {
		return safety.Structure{Path: path, Radii: []float64{r0, r1}[:len(path)]}
	}
	for _, c := range []struct {
		st   safety.Structure
		want float64
		ok   bool
	}{
		{tube(1.5, 1.5, r3.Vec{X: 1, Y: -9, Z: -10}, r3.Vec{X: 1, Y: 9, Z: -10}), -8.5, true},
		// a tube leaning 45° meets the plane in an ellipse: its top is r·√2 above the axis
		{tube(1, 1, r3.Vec{Y: -5, Z: -15}, r3.Vec{Y: 5, Z: -5}), -10 + math.Sqrt2, true},
		{tube(2, 2, r3.Vec{Y: 1, Z: -10}), -10 + math.Sqrt(3), true},
		{tube(2, 2, r3.Vec{Y: 3, Z: -10}), 0, false},
		{tube(1, 1, r3.Vec{X: 40, Y: -5, Z: -10}, r3.Vec{X: 40, Y: 5, Z: -10}), 0, false}, // the other side of the jaw
	} {
		top, ok := roof(c.st, frame, axis)
		require.Equal(t, c.ok, ok)
		if ok {
			assert.InDelta(t, c.want, top.V, 1e-6)
		}
	}
}

func TestCancelledRunStops(t *testing.T) {
	p, err := plan.Read("plan.yaml", []byte(straightPlan), nil)
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	_, err = Run(ctx, straightRidge(t), p, Scan{}, Options{})
	require.ErrorIs(t, err, context.Canceled)
}

// Odd volumes: nothing but one grey value, nothing but noise, half of it blank, one bright voxel, a
// field hardly larger than the site. Each site has a number or a reason, and no fault of ours.
func TestOddVolumesAreNoFault(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	blank := int16(-30000)
	for name, change := range map[string]func(v *volume.Volume){
		"one grey value": func(v *volume.Volume) { clear(v.Stored) },
		"noise": func(v *volume.Volume) {
			for n := range v.Stored {
				v.Stored[n] = int16(r.IntN(3000) - 1000)
			}
		},
		"half blank": func(v *volume.Volume) {
			v.Blank = &blank
			for n := range v.Stored {
				if n%v.Size[0] < v.Size[0]/2 {
					v.Stored[n] = blank
				}
			}
		},
		"all blank": func(v *volume.Volume) {
			v.Blank = &blank
			for n := range v.Stored {
				v.Stored[n] = blank
			}
		},
		"one voxel":   func(v *volume.Volume) { clear(v.Stored); v.Stored[len(v.Stored)/2] = 3000 },
		"upside down": func(v *volume.Volume) { v.Origin.Z, v.Step[2].Z = 10, -0.4 },
		"slopes": func(v *volume.Volume) {
			v.Rescale = make([]volume.Rescale, v.Size[2])
			for k := range v.Rescale {
				v.Rescale[k] = volume.Rescale{Slope: 1e-3 * float64(k), Intercept: -1e6}
			}
		},
	} {
		v := straightRidge(t)
		change(v)
		p, err := plan.Read("plan.yaml", []byte(strings.Replace(straightPlan, "wanted_width_mm", "sizes: {diameters_mm: [4], lengths_mm: [8]}\n    wanted_width_mm", 1)), nil)
		require.NoError(t, err)
		res, err := Run(context.Background(), v, p, Scan{}, Options{})
		require.NoError(t, err, name)
		for _, s := range res.Sites {
			require.NotContains(t, s.Err, "unexpected failure", name)
			for _, row := range s.Rows {
				require.True(t, row.Value != nil || row.Note != "" || row.Verdict != NoMargin, "%s: %s says nothing", name, row.Quantity)
				if row.Value != nil {
					require.False(t, math.IsNaN(*row.Value) || math.IsInf(*row.Value, 0), "%s: %s", name, row.Quantity)
				}
			}
		}
	}
}

// An arch that is placed exactly turns no section; the width itself is the same.
func TestPlacementOfTheArchTurnsTheSection(t *testing.T) {
	exact := runPlan(t, strings.Replace(straightPlan, "arch: {", "arch: {sd_mm: 0, ", 1)).Sites[0]
	drawn := runPlan(t, straightPlan).Sites[0]
	section := func(s SiteResult) float64 {
		for _, term := range value(t, s, "ridge_width", 3).Budget {
			if term.Name == "section direction" {
				return term.Contribution()
			}
		}
		return math.NaN()
	}
	assert.Zero(t, section(exact))
	assert.Positive(t, section(drawn))
	assert.Equal(t, *value(t, exact, "ridge_width", 3).Value, *value(t, drawn, "ridge_width", 3).Value)
}
