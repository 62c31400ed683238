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
	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// circle is a regular polygon in a circle; 720 corners lie inside by r·(1 − cos(π/720)) < 4e-5 mm.
func circle(centre reformat.UV, r float64) []reformat.UV {
	var out []reformat.UV
	for i := range 720 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 720)
		out = append(out, reformat.UV{U: centre.U + r*cos, V: centre.V + r*sin})
	}
	return out
}

// segment returns the area of the circular segment of height d in a circle of radius r, mm².
// Source: r²·acos((r−d)/r) − (r−d)·√(2rd − d²), Heron, Metrica I.
func segment(r, d float64) float64 {
	return r*r*math.Acos((r-d)/r) - (r-d)*math.Sqrt(2*r*d-d*d)
}

func TestClippedCircleIsASegment(t *testing.T) {
	centre := reformat.UV{U: 2, V: -7}
	for _, d := range []float64{0.5, 2.5, 4, 6.5} {
		for _, angle := range []float64{0, 0.4, -1.1} {
			sin, cos := math.Sincos(angle)
			above := func(p reformat.UV) float64 { return (p.U-centre.U)*sin + (p.V-centre.V)*cos - (4 - d) }
			area, at := areaOf(clipped(circle(centre, 4), above))
			assert.InDelta(t, segment(4, d), area, 1e-3)
			chord := 2 * math.Sqrt(8*d-d*d)
			away := chord * chord * chord / (12 * area) // of the segment's centroid from the centre
			assert.InDelta(t, centre.U+away*sin, at.U, 1e-3)
			assert.InDelta(t, centre.V+away*cos, at.V, 1e-3)
		}
	}
	all, _ := areaOf(clipped(circle(centre, 4), func(reformat.UV) float64 { return 1 }))
	assert.InDelta(t, math.Pi*16, all, 1e-2)
	none, _ := areaOf(clipped(circle(centre, 4), func(reformat.UV) float64 { return -1 }))
	assert.Zero(t, none)
}

// Two peaks, 3 wide and 2 high each, joined below: cutting half-way takes a quarter of both together.
func TestClippedPeaksCountBoth(t *testing.T) {
	peaks := []reformat.UV{{U: 0, V: -1}, {U: 6, V: -1}, {U: 6, V: 0}, {U: 4.5, V: 2}, {U: 3, V: 0}, {U: 1.5, V: 2}, {U: 0, V: 0}}
	area, at := areaOf(clipped(peaks, func(p reformat.UV) float64 { return p.V - 1 }))
	assert.InDelta(t, 2*1.5*1/2, area, 1e-12)
	assert.InDelta(t, 3, at.U, 1e-12)
	assert.InDelta(t, 1+1.0/3, at.V, 1e-12)
}

// The bone removed between two sections is exact for a straight piece and for a piece of a ring
// (Pappus: area times the way of its centroid), whichever side of the arch it hangs on.
func TestRemovedVolumeIsPappus(t *testing.T) {
	const area, radius = 12.0, 25.0
	c := &run{plan: &plan.Plan{}}
	at := func(angle, u float64) *site {
		sin, cos := math.Sincos(angle)
		s := &site{cut: &cut{area: uncertainty.Length{Value: area}, centre: u}}
		s.frame = reformat.Frame{Arc: radius * angle, U: r3.Vec{X: cos, Y: sin}, T: r3.Vec{X: -sin, Y: cos}}
		return s
	}
	for _, u := range []float64{-3, 0, 2} {
		v, note := c.removedBetween(at(0.2, u), at(0.6, u))
		assert.InDelta(t, area*0.4*(radius+u), v.Value, 1e-9)
		assert.Contains(t, note, "over the 10.0 mm of arch")
	}
	straight := at(0, 2)
	straight.frame.Arc = 8
	v, _ := c.removedBetween(at(0, 2), straight)
	assert.InDelta(t, area*8, v.Value, 1e-9)
	far, why := c.removedBetween(at(0, 0), at(1, 0))
	assert.True(t, math.IsNaN(far.Value))
	assert.Contains(t, why, "25.0 mm apart")
}

// Rays in bone cut at v = −1, straight and at 45°.
func TestBoneEndsAtTheCut(t *testing.T) {
	k := &cut{at: reformat.UV{V: -1}, normal: reformat.UV{V: 1}}
	frame := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	ahead := func(k *cut, p, dir reformat.UV) float64 {
		here := standing{c: &run{}, s: &site{frame: frame, cut: k}}
		return here.ahead(ray{post{slice: slice{frame: frame}, point: frame.Patient(p)}, dir})
	}
	assert.Equal(t, math.Inf(1), ahead(k, reformat.UV{V: -3}, reformat.UV{U: 1}))
	assert.InDelta(t, 2, ahead(k, reformat.UV{V: -3}, reformat.UV{V: 1}), 1e-12)
	assert.InDelta(t, -0.5, ahead(k, reformat.UV{V: -0.5}, reformat.UV{U: 1}), 1e-12)
	h := math.Sqrt2 / 2
	k.normal = reformat.UV{U: h, V: h}
	assert.InDelta(t, 2, ahead(k, reformat.UV{V: -3}, reformat.UV{U: 1}), 1e-12)
	assert.Equal(t, math.Inf(1), ahead(k, reformat.UV{V: -3}, reformat.UV{U: -1}))
	assert.Equal(t, math.Inf(1), ahead(nil, reformat.UV{}, reformat.UV{U: 1}))
}

// levelledRidge is the straight ridge of [straightPlan] with a levelling of this text, a site with
// and one without an implant's own platform.
func levelledRidge(t *testing.T, site, top string) *Result {
	text := strings.Replace(straightPlan, "implant: {platform: [0, 4, -2], diameter", "implant: {diameter", 1)
	text = strings.Replace(text, "diameter_mm: 4", "diameter_mm: 3.6", 1)
	text = strings.Replace(text, "    wanted_width_mm: 6\n", "    wanted_width_mm: 6.9\n"+site, 1)
	text = strings.Replace(text, "structures:", "  - {tooth: \"37\", at: [0, 10, -2], depths_mm: [1, 3]}\nstructures:", 1)
	return runPlan(t, text+top)
}

// The half-round crest of radius 3.5 mm, levelled by 2.5 mm: what is left of height and width, and
// what is removed, are closed forms. The same level from a plane in the patient says the same.
func TestLevelledRidgeIsAClosedForm(t *testing.T) {
	const d = 2.5
	for name, r := range map[string]*Result{
		"depth": levelledRidge(t, "    level: {depth_mm: 2.5}\n", ""),
		"plane": levelledRidge(t, "", "levelling_plane: [[0, 0, -2.5], [5, 0, -2.5], [0, 5, -2.5]]\n"),
	} {
		s := r.Sites[0]
		require.Empty(t, s.Err, name)
		near := func(q quantity.Name, at, want, tol float64) Row {
			row := value(t, s, q, at)
			assert.InDelta(t, want, *row.Value, tol, "%s: %s at %g mm", name, q, at)
			assert.LessOrEqual(t, math.Abs(want-*row.Value), row.Budget.U()+1e-9, "%s: %s at %g mm", name, q, at)
			return row
		}
		nan := math.NaN()
		near("levelled_depth", nan, d, 0.06)
		assert.Equal(t, "canal", near("levelled_height", nan, 13.5-d, 0.06).To)
		near("levelled_width", 0, 2*math.Sqrt(d*(2*ridgeRadius-d)), 0.1)
		near("levelled_width", 1, 2*ridgeRadius, 0.1)
		near("levelled_buccal_plate", 3, plate, 0.1)
		area := near("removed_area", nan, segment(ridgeRadius, d), 0.35)
		assert.Equal(t, "mm2", area.Unit)
		assert.Less(t, area.Budget.U(), 1.0)
		// 6.9 mm wide from r − √(r² − 3.45²) below the old crest on.
		usable := ridgeRadius - math.Sqrt(ridgeRadius*ridgeRadius-3.45*3.45)
		near("levelled_usable_depth", nan, usable-d, 0.25)
		// The levelled crest is wide enough for 3.6 mm and two margins of 1.5 mm: the implant stands on it.
		assert.InDelta(t, 13.5-d-10, s.Findings[0].Distance.Value, 0.1)
		require.NotNil(t, s.Level)
		assert.InDelta(t, 2*math.Sqrt(d*(2*ridgeRadius-d)), math.Hypot(s.Level.Line[0].U-s.Level.Line[1].U, s.Level.Line[0].V-s.Level.Line[1].V), 0.15)
		assert.InDelta(t, 13.5, *value(t, s, "ridge_height", nan).Value, 0.06) // the unlevelled answer stays
	}
}

// Between two sections 6 mm apart on a straight arch the volume is the segment's area times 6 mm.
func TestLevelledVolumeBetweenTwoSites(t *testing.T) {
	r := levelledRidge(t, "", "levelling_plane: [[0, 0, -1.5], [5, 0, -1.5], [0, 5, -1.5]]\n")
	var found []ArchRow
	for _, row := range r.Arch.Rows {
		if row.Quantity == "removed_volume" {
			found = append(found, row)
		}
	}
	require.Len(t, found, 1)
	assert.Equal(t, "36|37", found[0].Sites)
	require.NotNil(t, found[0].Value)
	want := 6 * segment(ridgeRadius, 1.5)
	assert.InDelta(t, want, *found[0].Value, 2)
	assert.LessOrEqual(t, math.Abs(want-*found[0].Value), found[0].Budget.U())
}

// A plane that slants by 20° across the ridge leaves bone on one side only; one that runs past the
// canal leaves no height; one above the crest takes nothing; one along the axis is refused.
func TestOddLevels(t *testing.T) {
	slant := levelledRidge(t, "", "levelling_plane: [[0, 0, -2.5], [-5, 0, -4.32], [0, 5, -2.5]]\n").Sites[0]
	w := value(t, slant, "levelled_width", 1)
	// The level z = −2.5 + 0.364·x is met at x = −1/0.364 on the line z = −3.5.
	assert.InDelta(t, ridgeRadius+1/0.364, *w.Value, 0.15)
	assert.Contains(t, w.Note, "slants")
	gone, _ := slant.Lookup("levelled_lingual_plate", 1)
	other, _ := slant.Lookup("levelled_buccal_plate", 1)
	assert.True(t, (gone.Value == nil) != (other.Value == nil), "one plate is levelled away, one stands")

	deep := levelledRidge(t, "    level: {depth_mm: 15}\n", "").Sites[0]
	row, _ := deep.Lookup("levelled_height", math.NaN())
	assert.Nil(t, row.Value)
	assert.Contains(t, row.Note, "past the canal")

	high := levelledRidge(t, "", "levelling_plane: [[0, 0, 2], [5, 0, 2], [0, 5, 2]]\n").Sites[0]
	assert.Zero(t, *value(t, high, "levelled_depth", math.NaN()).Value)
	assert.Zero(t, *value(t, high, "removed_area", math.NaN()).Value)
	assert.InDelta(t, 13.5, *value(t, high, "levelled_height", math.NaN()).Value, 0.06)

	none := levelledRidge(t, "    level: {depth_mm: 0}\n", "levelling_plane: [[0, 0, -2], [5, 0, -2], [0, 5, -2]]\n")
	_, asked := none.Sites[0].Lookup("levelled_depth", math.NaN())
	assert.False(t, asked)
	_, asked = none.Sites[1].Lookup("levelled_depth", math.NaN())
	assert.True(t, asked)

	steep := levelledRidge(t, "", "levelling_plane: [[0, 0, -2], [1, 0, 0.5], [0, 5, -2]]\n").Sites[0]
	row, _ = steep.Lookup("levelled_depth", math.NaN())
	assert.Contains(t, row.Note, "leans by more than 60°")
}

// An implant whose platform the plan fixes at the old crest stands above a level 2 mm deeper: the
// bone beside it 1 mm below the platform is gone.
func TestImplantAboveTheLevelStandsFree(t *testing.T) {
	s := runPlan(t, strings.Replace(straightPlan, "implant: {platform: [0, 4, -2]", "level: {depth_mm: 4}\n    implant: {platform: [0, 4, -2]", 1)).Sites[0]
	bone := value(t, s, "buccal_bone", 1)
	assert.InDelta(t, -1-2, *bone.Value, 0.1) // 1 mm above the level, less the radius
	assert.Equal(t, safety.NotHeld, bone.Verdict)
	assert.InDelta(t, ridgeRadius-2, *value(t, s, "buccal_bone", 3).Value, 0.1)
}
