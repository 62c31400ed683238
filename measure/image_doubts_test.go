package measure_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
)

// caution returns the caution of a code, and whether the result has it.
func caution(r *measure.Result, code string) (measure.Caution, bool) {
	i := slices.IndexFunc(r.Cautions, func(c measure.Caution) bool { return c.Code == code })
	if i < 0 {
		return measure.Caution{}, false
	}
	return r.Cautions[i], true
}

// moveArch moves every point of the arch.
func moveArch(by r3.Vec) func(p *phantom.Plan) {
	return func(p *phantom.Plan) {
		for i := range p.Arch {
			p.Arch[i] = r3.Add(p.Arch[i], by)
		}
	}
}

// What the image says against a plan: each slip is made in a right plan, its caution is there, and no margin
// that it is about is held.
func TestImageAgainstThePlan(t *testing.T) {
	v, drawn := lowerSite()
	right, err := measured(t, func(*phantom.Plan) {}, "")
	require.NoError(t, err)
	site := right.Sites[0]
	crestAt := func(below float64) func(string) string {
		at := site.Frame.Patient(site.Crest)
		at = r3.Add(at, r3.Scale(below, site.Frame.Direction(site.Axis)))
		return func(text string) string {
			return strings.Replace(text, "    implant:", fmt.Sprintf("    crest: [%.3f, %.3f, %.3f]\n    implant:", at.X, at.Y, at.Z), 1)
		}
	}
	same := func(text string) string { return text }
	for name, c := range map[string]struct {
		change func(p *phantom.Plan)
		edit   func(text string) string
		code   string
		want   measure.Severity // empty: nothing is said
	}{
		"the arch beside the bone":          {moveArch(r3.Vec{X: 13, Y: -5}), same, "arch_off_bone", measure.SeverityUncertain},
		"the site beside the bone":          {moveArch(r3.Vec{X: 10, Y: -4}), same, "site_off_bone", measure.SeverityUncertain},
		"the arch 1 mm aside, in the bone":  {moveArch(r3.Vec{X: 1}), same, "arch_off_bone", ""},
		"the site 1 mm aside, in the bone":  {moveArch(r3.Vec{X: 1}), same, "site_off_bone", ""},
		"a root in the cheek, near no site": {addRoot(r3.Add(drawn.Sites[0].At, r3.Vec{X: 14, Y: 13})), same, "structure_place", measure.SeverityNotAssessed},
		"a root marked in the marrow":       {addRoot(r3.Add(drawn.Sites[0].At, r3.Vec{X: 2, Y: 9, Z: -5})), same, "root_not_there", measure.SeverityUncertain},
		"a root 5 mm lingual, in the plate": {moveRoot(drawn, r3.Vec{X: -5, Y: 1}), same, "root_not_there", measure.SeverityUncertain},
		"a root 2 mm along the arch":        {moveRoot(drawn, r3.Vec{Y: 2}), same, "root_not_there", measure.SeverityUncertain},
		"a root 0.6 mm along the arch":      {moveRoot(drawn, r3.Vec{Y: 0.6}), same, "root_not_there", ""},
		"the crest 2 mm under the edge":     {func(*phantom.Plan) {}, crestAt(2), "crest_given", measure.SeverityUncertain},
		"the crest 1.2 mm above the edge":   {func(*phantom.Plan) {}, crestAt(-1.2), "crest_given", measure.SeverityUncertain},
		"the crest as found":                {func(*phantom.Plan) {}, crestAt(0), "crest_given", ""},
		"a canal 3 mm too low":              {moveCanal(shift(r3.Vec{Z: -3})), same, "canal_elsewhere", measure.SeverityUncertain},
	} {
		t.Run(name, func(t *testing.T) {
			r, err := measuredIn(t, v, c.change, c.edit)
			require.NoError(t, err)
			found, said := caution(r, c.code)
			assert.Equal(t, c.want != "", said, "%v", codes(r))
			assert.Equal(t, c.want, found.Severity)
		})
	}
}

// moveRoot moves the root that is marked nearest to the site.
func moveRoot(drawn phantom.Plan, by r3.Vec) func(p *phantom.Plan) {
	return func(p *phantom.Plan) {
		best := -1
		for i, s := range p.Structures {
			if s.Kind == "root" && (best < 0 || r3.Norm(r3.Sub(s.Path[0], drawn.Sites[0].At)) < r3.Norm(r3.Sub(p.Structures[best].Path[0], drawn.Sites[0].At))) {
				best = i
			}
		}
		for k, x := range p.Structures[best].Path {
			p.Structures[best].Path[k] = r3.Add(x, by)
		}
	}
}

func addRoot(at r3.Vec) func(p *phantom.Plan) {
	return func(p *phantom.Plan) {
		p.Structures = append(p.Structures, phantom.PlanStructure{Name: "stray root", Kind: "root",
			Path: []r3.Vec{at, r3.Add(at, r3.Vec{Z: -9})}, Radius: []float64{2, 2}, SD: 0.3})
	}
}

// A canal marked only behind the site says nothing of the site: its clearance is that of the marked piece, however far.
func TestCanalMarkedShortOfTheSiteIsNotHeld(t *testing.T) {
	_, drawn := lowerSite()
	for _, off := range []float64{6, 22} {
		behind := func(x r3.Vec) bool { return x.Y > drawn.Sites[0].At.Y+off }
		r, err := measured(t, func(p *phantom.Plan) {
			i := slices.IndexFunc(p.Structures, func(s phantom.PlanStructure) bool { return s.Name == "left canal" })
			s := &p.Structures[i]
			s.Path = slices.DeleteFunc(s.Path, func(x r3.Vec) bool { return !behind(x) })
			s.Radius = s.Radius[:len(s.Path)]
		}, "")
		require.NoError(t, err)
		assert.Equal(t, measure.NotAssessed, rowTo(t, r, "left canal").Verdict, "%g mm behind", off)
		assert.NotEqual(t, measure.Held, r.Sites[0].Verdict)
	}
}

// A foramen is the opening of its canal: where the canal is marked in the wrong place, its distance holds nothing.
func TestForamenIsDoubtedWithItsCanal(t *testing.T) {
	for off, want := range map[float64]measure.Verdict{0: measure.Held, -3: measure.Uncertain} {
		r, err := measured(t, moveCanal(shift(r3.Vec{Z: off})), "")
		require.NoError(t, err)
		assert.Equal(t, want, rowTo(t, r, "left mental foramen").Verdict)
	}
}

// A canal ends at its foramen: where that is marked where none can lie, nobody knows where the canal ends, at any site.
func TestCanalIsDoubtedWithItsForamen(t *testing.T) {
	r, err := measured(t, func(p *phantom.Plan) {
		i := slices.IndexFunc(p.Structures, func(s phantom.PlanStructure) bool { return s.Name == "left mental foramen" })
		p.Structures[i].Path[0] = r3.Add(p.Structures[i].Path[0], r3.Vec{X: 6})
	}, "")
	require.NoError(t, err)
	said, ok := caution(r, "structure_place")
	require.True(t, ok, "%v", codes(r))
	assert.Empty(t, said.Site)
	assert.Equal(t, measure.NotAssessed, rowTo(t, r, "left canal").Verdict)
}

// Where half of what is marked is not where the image shows such, the plan is doubted whole: moved by 4 mm it is,
// by 0.5 mm it is not.
func TestPlanIsDoubtedWholeWhereMostMarksAreOff(t *testing.T) {
	for by, want := range map[float64]bool{4: true, 0.5: false} {
		r, err := measured(t, func(p *phantom.Plan) {
			for i := range p.Structures {
				for k := range p.Structures[i].Path {
					p.Structures[i].Path[k] = r3.Add(p.Structures[i].Path[k], r3.Vec{X: -by, Y: by})
				}
			}
		}, "")
		require.NoError(t, err)
		said, ok := caution(r, "structures_off")
		assert.Equal(t, want, ok, "%v", codes(r))
		assert.Empty(t, said.Site)
		for _, row := range r.Sites[0].Rows {
			assert.False(t, want && row.Verdict == measure.Held, "%s to %s", row.Quantity, row.To)
		}
	}
}

// A canal that the image does not show is said, and is no alarm: its marking stands alone, its distance the same.
func TestCanalThatTheImageDoesNotShow(t *testing.T) {
	v, p := lowerSite()
	r, err := measuredIn(t, filled(v, p, "left canal", 3), func(*phantom.Plan) {}, func(text string) string { return text })
	require.NoError(t, err)
	said, ok := caution(r, "canal_not_shown")
	require.True(t, ok, "%v", codes(r))
	assert.Equal(t, measure.SeverityNote, said.Severity)
	hidden := rowTo(t, r, "left canal")
	assert.Equal(t, measure.Held, hidden.Verdict, hidden.Note)
	shown, err := measured(t, func(*phantom.Plan) {}, "")
	require.NoError(t, err)
	assert.NotContains(t, codes(shown), "canal_not_shown")
	assert.Equal(t, rowTo(t, shown, "left canal").Value, hidden.Value)
	assert.Equal(t, rowTo(t, shown, "left canal").Budget.U(), hidden.Budget.U())
}

// All marks are made in one frame: a canal that the image does not show is doubted with a mark that is not where the image
// shows such; one that it shows is not.
func TestCanalNotShownIsDoubtedWithAnotherMark(t *testing.T) {
	v, p := lowerSite()
	stray := addRoot(r3.Add(p.Sites[0].At, r3.Vec{X: 14, Y: 13}))
	for name, c := range map[string]struct {
		v    *volume.Volume
		want measure.Verdict
	}{
		"not shown": {filled(v, p, "left canal", 3), measure.Uncertain},
		"shown":     {v, measure.Held},
	} {
		r, err := measuredIn(t, c.v, stray, func(text string) string { return text })
		require.NoError(t, err)
		_, said := caution(r, "canal_with_others")
		assert.Equal(t, c.want != measure.Held, said, name)
		assert.Equal(t, c.want, rowTo(t, r, "left canal").Verdict, name)
	}
}

// filled returns the volume with the marrow of another place, 6 mm higher, within reach mm of a structure's path.
func filled(v *volume.Volume, p phantom.Plan, name string, reach float64) *volume.Volume {
	in := *v
	in.Stored = slices.Clone(v.Stored)
	path := p.Structures[slices.IndexFunc(p.Structures, func(s phantom.PlanStructure) bool { return s.Name == name })].Path
	row, layer := v.Size[0], v.Size[0]*v.Size[1]
	up := int(math.Round(6 / v.Step[2].Z))
	for n := range in.Stored {
		x := v.Patient(volume.Index{I: float64(n % row), J: float64(n % layer / row), K: float64(n / layer)})
		if toPath(x, path) < reach && n+up*layer < len(in.Stored) {
			in.Stored[n] = v.Stored[n+up*layer]
		}
	}
	return &in
}

// A patient who moved by 0.9 mm for two fifths of the scan: said, and no margin held; one who lay still is not accused.
func TestMotionIsSaid(t *testing.T) {
	v, _ := lowerSite()
	for by, want := range map[r3.Vec]bool{{}: false, {X: 0.9}: true, {Y: 0.9}: true, {Z: 0.9}: true} {
		r, err := measuredIn(t, doubled(v, by, 0.4), func(*phantom.Plan) {}, func(text string) string { return text })
		require.NoError(t, err)
		_, said := caution(r, "motion")
		assert.Equal(t, want, said, "moved by %v: %v", by, codes(r))
		for _, row := range r.Sites[0].Rows {
			assert.False(t, want && row.Verdict == measure.Held, "%s to %s", row.Quantity, row.To)
		}
	}
}

// doubled is the mean of the volume and of a copy moved by mm, which has the given share.
func doubled(v *volume.Volume, by r3.Vec, share float64) *volume.Volume {
	in := *v
	in.Stored = slices.Clone(v.Stored)
	row, layer := v.Size[0], v.Size[0]*v.Size[1]
	for n := range in.Stored {
		x := v.Patient(volume.Index{I: float64(n % row), J: float64(n % layer / row), K: float64(n / layer)})
		r := v.RescaleOf(n / layer)
		if g := v.At(r3.Add(x, by)); g == g {
			in.Stored[n] = int16(math.Round((1-share)*float64(v.Stored[n]) + share*(g-r.Intercept)/r.Slope))
		}
	}
	return &in
}

// Air beside an upper implant's apex is said where the plan has the height go to the border, past any cavity; where the image finds the
// cavity over the site, the implant's distance says it.
func TestAirBesideAnUpperImplantIsSaid(t *testing.T) {
	v, drawn := drawnAbout(phantom.Maxilla, 23)
	short := func(p *phantom.Plan) { p.Sites[0].Length = 6 }
	past := func(text string) string {
		return strings.Replace(text, "    implant:", "    height_to: border\n    implant:", 1)
	}
	for _, painted := range []bool{false, true} {
		if painted {
			s := drawn.Sites[0]
			apex := r3.Add(s.Platform, r3.Scale(6, s.Implant))
			beside := r3.Add(apex, r3.Scale(s.Diameter/2+1.5, r3.Unit(r3.Cross(s.Implant, r3.Sub(drawn.Arch[0], apex)))))
			for i := range v.Stored {
				at := v.Patient(volume.Index{I: float64(i % v.Size[0]), J: float64(i / v.Size[0] % v.Size[1]), K: float64(i / (v.Size[0] * v.Size[1]))})
				if r3.Norm(r3.Sub(at, beside)) < 1.2 {
					v.Stored[i] = -1000
				}
			}
		}
		r, err := measuredAs(t, v, drawn, short, past)
		require.NoError(t, err)
		found, said := caution(r, "unmarked_air")
		assert.Equal(t, painted, said, "%v", codes(r))
		if painted {
			assert.Equal(t, measure.SeverityUncertain, found.Severity)
			assert.NotEqual(t, measure.Held, r.Sites[0].Verdict)
		}
	}
}
