package measure

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
)

// barCurve runs along y through the bar.
func barCurve(t *testing.T) *reformat.Curve {
	curve, err := reformat.NewCurve([]r3.Vec{{Y: -2}, {Y: -1}, {Y: 1}, {Y: 2}}, r3.Vec{Z: 1})
	require.NoError(t, err)
	return curve
}

// barSections are three sections 2 mm apart through a bar of 10 mm × 10 mm; the middle one shows a strip of 2 mm at its
// buccal side alone, as where a foramen opens the wall.
func barSections(t *testing.T) *sections {
	curve := barCurve(t)
	box := func(from, to float64) func() *ridge.Outline {
		o := &ridge.Outline{Points: []reformat.UV{{U: from, V: -5}, {U: to, V: -5}, {U: to, V: 5}, {U: from, V: 5}}, Cut: make([]bool, 4)}
		return func() *ridge.Outline { return o }
	}
	s := &sections{made: []func() *ridge.Outline{box(-5, 5), box(3, 5), box(-5, 5)}}
	for arc := 0.0; arc <= 4; arc += 2 {
		s.frames = append(s.frames, curve.Frame(arc))
	}
	return s
}

// What lies in the bar is in bone, what lies beside it is not.
func TestOneFailedSectionIsBridged(t *testing.T) {
	s := barSections(t)
	for _, c := range []struct {
		at                      r3.Vec
		depth, bridged, surface float64 // mm
	}{
		{r3.Vec{}, -3, 5, 5},
		{r3.Vec{Y: 0.5}, -3, 5, 5},
		{r3.Vec{X: 5 * buccalOf(s)}, 0, 0, 0},
		{r3.Vec{X: 4 * buccalOf(s)}, 1, 1, 1},
		{r3.Vec{X: 9 * buccalOf(s)}, -4, -4, 4},
		{r3.Vec{X: -6 * buccalOf(s)}, -9, -1, 1},
	} {
		assert.InDelta(t, c.depth, s.depth(c.at), 1e-9, "%v", c.at)
		assert.InDelta(t, c.bridged, s.bridged(c.at), 1e-9, "%v", c.at)
		assert.InDelta(t, c.surface, s.surfaceAway(c.at), 1e-9, "%v", c.at)
	}
}

// An opening of the wall that spoils two sections is bridged by those beyond them; one that agrees with nobody says
// nothing.
func TestAnOpeningThatSpoilsTwoSections(t *testing.T) {
	curve, err := reformat.NewCurve([]r3.Vec{{Y: -4}, {Y: -2}, {Y: 2}, {Y: 4}}, r3.Vec{Z: 1})
	require.NoError(t, err)
	s := &sections{}
	for k, open := range []bool{false, true, true, false} {
		from := map[bool]float64{true: 0.5, false: -5}[open]
		o := &ridge.Outline{Points: []reformat.UV{{U: from, V: -5}, {U: 5, V: -5}, {U: 5, V: 5}, {U: from, V: 5}}, Cut: make([]bool, 4)}
		s.frames, s.made = append(s.frames, curve.Frame(1+2*float64(k))), append(s.made, func() *ridge.Outline { return o })
	}
	side := buccalOf(s)
	assert.InDelta(t, 0, s.surfaceAway(r3.Vec{X: -5 * side}), 1e-9)
	assert.InDelta(t, 4, s.surfaceAway(r3.Vec{X: -9 * side}), 1e-9)
	for at, want := range map[float64][2]float64{0: {-0.5, 5}, -9: {-9.5, -4}} {
		assert.InDelta(t, want[0], s.bridged(r3.Vec{X: at * side}), 1e-9)
		assert.InDelta(t, want[1], s.bridgedOpening(r3.Vec{X: at * side}), 1e-9)
	}
	run := &run{sections: s}
	canal := safety.Structure{Kind: safety.Canal, Path: []r3.Vec{{X: -2 * side, Y: -1}, {X: -2 * side, Y: 1}}, Radii: []float64{0.5, 0.5}}
	assert.Empty(t, run.misplaced(canal, places(canal)), "where it opens")
	canal.Path[0].X, canal.Path[1].X = -9*side, -9*side
	assert.Equal(t, "it runs 4.0 mm outside the bone", run.misplaced(canal, places(canal)))
	s.frames, s.made = s.frames[:3], s.made[:3]
	assert.InDelta(t, -0.5, s.bridgedOpening(r3.Vec{}), 1e-9, "one of three alone shows bone there")
	assert.InDelta(t, 5.5, s.surfaceAway(r3.Vec{X: -5 * side}), 1e-9, "one of three alone shows the wall there")
	s.frames, s.made = s.frames[:1], s.made[:1]
	assert.InDelta(t, 0, s.surfaceAway(r3.Vec{X: -5 * side}), 1e-9, "the only section")
}

// buccalOf is +1 where the sections' buccal side lies along x.
func buccalOf(s *sections) float64 { return math.Copysign(1, s.frames[0].Patient(reformat.UV{U: 1}).X) }

// barRun is a run that knows a bar's sections and a field that ends at x = ±end mm.
func barRun(t *testing.T, end int, structures ...safety.Structure) *run {
	v, err := volume.New(volume.Grid{Size: [3]int{2*end + 1, 41, 41}, Origin: r3.Vec{X: -float64(end), Y: -20, Z: -20},
		Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	require.NoError(t, err)
	p := &plan.Placed{Contents: plan.Contents{Jaw: Mandible, Structures: structures}, Occlusal: r3.Vec{Z: 1}}
	return &run{plan: p, v: v, sections: barSections(t)}
}

// A foramen is held against the bone's surface as two sections about it show it, where one fails, too; a root outside the bone is
// none, but at the field's end nobody knows where the bone ends.
func TestWhatLiesAtOnePlaceIsHeldAgainstTheBone(t *testing.T) {
	foramen := safety.Structure{Kind: safety.MentalForamen}
	root := safety.Structure{Kind: safety.Root, Path: []r3.Vec{{X: 9, Z: 4}, {X: 9, Z: -4}}, Radii: []float64{2, 2}}
	for name, c := range map[string]struct {
		structure safety.Structure
		at        []place
		end       int // of the field, mm
		want      string
	}{
		"on the surface that one section lacks": {foramen, []place{{at: r3.Vec{X: -5}}}, 20, ""},
		"4 mm outside":                          {foramen, []place{{at: r3.Vec{X: -9}}}, 20, "it lies 4.0 mm from the bone's surface"},
		"a root beside the bone":                {root, places(root), 20, "its deeper half stands 4.0 mm outside the bone"},
		"a root at the field's end":             {root, places(root), 11, ""},
	} {
		t.Run(name, func(t *testing.T) {
			c.structure.Path = append([]r3.Vec{}, c.structure.Path...)
			run := barRun(t, c.end)
			side := buccalOf(run.sections)
			for i := range c.at {
				c.at[i].at.X *= side
			}
			for i := range c.structure.Path {
				c.structure.Path[i].X *= side
			}
			assert.Equal(t, c.want, run.misplaced(c.structure, c.at))
		})
	}
}

// Where half of what is marked as a root is no more than marrow, the image shows no root there: a plate beside it is as
// dense. A mark off by no more than its own scatter is not doubted.
func TestHalfARootIsNone(t *testing.T) {
	run := barRun(t, 20)
	run.v.Stored = make([]int16, 41*41*41)
	for i := range run.v.Stored {
		if i%41 < 20 { // x < 0
			run.v.Stored[i] = 1000
		}
	}
	run.tissue = ridge.ImageModel{Edges: 9, Cortex: 1000}
	run.curve = barCurve(t)
	root := func(x float64) []place {
		return places(safety.Structure{Path: []r3.Vec{{X: x, Z: 4}, {X: x, Z: -4}}, Radii: []float64{3, 3}})
	}
	for _, c := range []struct {
		x, sd float64
		none  bool
	}{{-3, 0, false}, {-0.5, 0, true}, {-0.5, 0.1, true}, {-0.5, 1, false}, {3, 0.3, true}} {
		assert.Equal(t, c.none, run.denseShare(root(c.x), c.sd) < rootSeen, "%v", c)
	}
}

// A root that is seen where it is marked is not doubted; one that the image does not show there is, and so is one about which it
// cannot be asked, for the series has taught no greys. What lies outside the field is far from every implant.
func TestRootsThatCannotBeLookedFor(t *testing.T) {
	root := func(at r3.Vec) safety.Structure {
		return safety.Structure{Name: "root", Kind: safety.Root, Path: []r3.Vec{r3.Add(at, r3.Vec{Z: 4}), r3.Add(at, r3.Vec{Z: -4})}, Radii: []float64{2, 2}}
	}
	taught := ridge.ImageModel{Edges: 9, Cortex: 1000}
	for name, c := range map[string]struct {
		at     r3.Vec
		tissue ridge.ImageModel
		want   string
	}{
		"seen":                         {r3.Vec{X: -3}, taught, ""},
		"not there":                    {r3.Vec{X: 3}, taught, "root_not_there"},
		"no greys were taught":         {r3.Vec{X: -3}, ridge.ImageModel{Cortex: 1000}, "root_not_looked_for"},
		"no marrow was told from bone": {r3.Vec{X: -3}, ridge.ImageModel{Edges: 9, Cortex: 1000, Marrow: 1000}, "root_not_looked_for"},
		"outside the field":            {r3.Vec{X: -3, Y: 90}, taught, ""},
	} {
		run := barRun(t, 20, root(c.at))
		run.v.Stored = make([]int16, 41*41*41)
		for i := range run.v.Stored {
			if i%41 < 20 { // x < 0
				run.v.Stored[i] = 1000
			}
		}
		run.tissue, run.curve = c.tissue, barCurve(t)
		doubts := run.rootDoubts(0, places(run.plan.Structures[0]))
		if c.want == "" {
			assert.Empty(t, doubts, name)
			continue
		}
		if assert.Len(t, doubts, 1, name) {
			assert.Equal(t, c.want, doubts[0].Code, name)
			assert.Equal(t, SeverityUncertain, doubts[0].Severity, name)
		}
	}
}

// A series that has not taught how bright bone is does not tell a tooth from it: not looked for is not held.
func TestUnmarkedBodiesThatCannotBeLookedFor(t *testing.T) {
	s := &site{}
	barRun(t, 20).denseDoubts(s, safety.Implant{})
	require.Len(t, s.out.Rows, 1)
	assert.Equal(t, Uncertain, s.out.Rows[0].Verdict)
	assert.Contains(t, s.out.Rows[0].Note, "not looked for")
}

// An incisive canal about which a series that taught no greys cannot be asked stands alone, as one does that is not visible; of one point nothing is asked.
func TestIncisiveCanalThatCannotBeLookedFor(t *testing.T) {
	canal := safety.Structure{Name: "incisive canal", Kind: safety.IncisiveCanal, Path: []r3.Vec{{Z: 4}, {Z: -4}}, Radii: []float64{2, 2}}
	run := barRun(t, 20, canal)
	doubts := run.lookShort(0)
	require.Len(t, doubts, 1)
	assert.Equal(t, "canal_not_shown", doubts[0].Code)
	assert.Equal(t, SeverityNote, doubts[0].Severity)
	canal.Path, canal.Radii = canal.Path[:1], canal.Radii[:1]
	assert.Empty(t, barRun(t, 20, canal).lookShort(0))
}

// Air within a sinus' margin of an implant's deeper half is told where nobody marked it and no floor was found: beside the ridge's own axis, in the upper
// jaw alone, and not about the platform, where the mouth is.
func TestAirBesideAnImplantThatNobodyMarked(t *testing.T) {
	for name, c := range map[string]struct {
		low, high float64 // of the air, z, mm
		from      float64 // of the air, x, mm
		aside     float64 // half of its width, y, mm
		change    func(r *run, s *site)
		said      bool
	}{
		"beside its apex":     {-20, -4, 2.5, 20, nil, true},
		"past the margin":     {-20, -4, 4, 20, nil, false},
		"beside its platform": {2, 20, 2.5, 20, nil, false},
		"one place of it":     {-5, -3, 2.5, 0.5, nil, false},
		"under its apex":      {-7.5, -6.5, -20, 20, nil, true},
		"a root is marked there": {-20, -4, 2.5, 20, func(r *run, _ *site) {
			r.plan.Structures = []safety.Structure{{Name: "root", Kind: safety.Root, Path: []r3.Vec{{X: 6, Z: -6}}, Radii: []float64{5}}}
		}, true},
		"in the lower jaw":    {-20, -4, 2.5, 20, func(r *run, _ *site) { r.plan.Jaw = Mandible }, false},
		"its floor was found": {-20, -4, 2.5, 20, func(_ *run, s *site) { s.height.seen = true }, false},
		"no greys":            {-20, -4, 2.5, 20, func(r *run, _ *site) { r.tissue.Cortex = 0 }, false},
		"a sinus is marked there": {-20, -4, 2.5, 20, func(r *run, _ *site) {
			r.plan.Structures = []safety.Structure{{Name: "sinus", Kind: safety.Sinus, Path: []r3.Vec{{X: 6, Z: -6}}, Radii: []float64{5}}}
		}, false},
	} {
		run := barRun(t, 20)
		run.plan.Jaw, run.tissue = Maxilla, ridge.ImageModel{Edges: 9, Cortex: 1000, Noise: 10}
		run.rules = safety.Margins()
		run.plan.Sites = []plan.Site{{ID: "25"}}
		run.v.Stored = make([]int16, 41*41*41)
		for i := range run.v.Stored {
			p := run.v.Patient(volume.Index{I: float64(i % 41), J: float64(i / 41 % 41), K: float64(i / (41 * 41))})
			run.v.Stored[i] = 600
			if p.X > c.from && math.Abs(p.Y) < c.aside && p.Z > c.low && p.Z < c.high {
				run.v.Stored[i] = -1000
			}
		}
		s := &site{}
		if c.change != nil {
			c.change(run, s)
		}
		run.airDoubts(s, safety.Implant{Platform: r3.Vec{Z: 4}, Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10})
		assert.Equal(t, c.said, len(s.doubts) == 1, name)
	}
}

// Three marks that the image speaks against, and a quarter of those in the field, doubt the whole plan.
func TestAQuarterOfTheMarksDoubtsThePlan(t *testing.T) {
	for name, c := range map[string]struct {
		off, in, beyond int // marks spoken against, in the field, out of it
		said            bool
	}{
		"three of twelve":                {3, 12, 0, true},
		"three of thirteen":              {3, 13, 0, false},
		"two of two":                     {2, 2, 0, false},
		"what lies outside is not asked": {3, 12, 4, true},
	} {
		t.Run(name, func(t *testing.T) {
			var all []safety.Structure
			for i := range c.in + c.beyond {
				at := r3.Vec{X: 4 * buccalOf(barSections(t))}
				if i >= c.in {
					at.Y = 50
				}
				all = append(all, safety.Structure{Name: fmt.Sprint(i), Kind: safety.Root, Path: []r3.Vec{at}, Radii: []float64{1}})
			}
			run := barRun(t, 20, all...)
			var doubts []doubt
			for i := range c.off {
				d := run.plan.StructureDoubt(i, "", "root_not_there", SeverityUncertain, "not there")
				doubts = append(doubts, d, d)
			}
			assert.Equal(t, c.said, run.frameDoubt(doubts) != nil)
		})
	}
}

// The least of the fitted ends is the least of all where the outline shows the others 0.3 mm farther and more.
func TestAnEndThatIsNotFitted(t *testing.T) {
	lost := errors.New("runs along the surface")
	for _, c := range []struct {
		least, open float64
		unfitted    error
		want        error
	}{
		{3, math.Inf(1), nil, nil}, {3, 3.4, lost, nil}, {3, 3.2, lost, lost}, {3, 1, lost, lost},
		{3, math.NaN(), lost, lost}, {math.Inf(1), 9, lost, lost}, {math.Inf(1), math.Inf(1), lost, lost},
	} {
		assert.Equal(t, c.want, unsure(c.least, c.open, c.unfitted), "%g, %g", c.least, c.open)
	}
}

// A canal marked wrongly at one site is doubted at every other, but where the image shows it at its mark.
func TestDoubtAboutAPathSpreads(t *testing.T) {
	wrong := doubt{Caution: Caution{Code: "canal_elsewhere", Text: "left canal: look", Severity: SeverityNotAssessed, Site: "46"}, Structure: "left canal", Spreads: true}
	beyond := wrong
	beyond.Site, beyond.Severity = "", SeverityUncertain
	local := wrong
	local.Spreads = false
	for name, c := range map[string]struct {
		site  string
		shown []string
		d     doubt
		want  Verdict
	}{
		"at the site itself":         {"46", nil, wrong, NotAssessed},
		"at another":                 {"44", nil, wrong, Uncertain},
		"at another that shows it":   {"44", []string{"left canal"}, wrong, Held},
		"what is of one place alone": {"44", nil, local, Held},
		"of no site":                 {"44", nil, beyond, Uncertain},
		"of no site, and shown here": {"44", []string{"left canal"}, beyond, Held},
	} {
		t.Run(name, func(t *testing.T) {
			s := &site{plan: plan.Site{ID: c.site}, shown: c.shown}
			s.out.Rows = []Row{{Quantity: "clearance", To: "left canal", Verdict: Held}}
			s.doubt(c.d)
			assert.Equal(t, c.want, s.out.Rows[0].Verdict)
			assert.Equal(t, c.want == Uncertain && c.d.Site != "", s.out.Rows[0].Note == "at site 46 left canal: look")
		})
	}
}
