package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// Three sections 2 mm apart through a bar of 10 mm × 10 mm; the middle one shows a strip of 2 mm at its buccal side
// alone, as where a foramen opens the wall. What lies in the bar is in bone, what lies beside it is not.
func TestOneFailedSectionIsBridged(t *testing.T) {
	curve, err := reformat.NewCurve([]r3.Vec{{Y: -2}, {Y: -1}, {Y: 1}, {Y: 2}}, r3.Vec{Z: 1})
	require.NoError(t, err)
	box := func(from, to float64) func() *ridge.Outline {
		o := &ridge.Outline{Points: []reformat.UV{{U: from, V: -5}, {U: to, V: -5}, {U: to, V: 5}, {U: from, V: 5}}, Cut: make([]bool, 4)}
		return func() *ridge.Outline { return o }
	}
	s := &sections{made: []func() *ridge.Outline{box(-5, 5), box(3, 5), box(-5, 5)}}
	for arc := 0.0; arc <= 4; arc += 2 {
		s.frames = append(s.frames, curve.Frame(arc))
	}
	for _, c := range []struct {
		at                      r3.Vec
		depth, bridged, surface float64 // mm
	}{
		{r3.Vec{}, -3, 5, math.Hypot(0, 3)},
		{r3.Vec{Y: 0.5}, -3, 5, math.Hypot(0.5, 3)},
		{r3.Vec{X: 5 * buccalOf(s)}, 0, 0, 0},
		{r3.Vec{X: 4 * buccalOf(s)}, 1, 1, 1},
		{r3.Vec{X: 9 * buccalOf(s)}, -4, -4, 4},
		{r3.Vec{X: -6 * buccalOf(s)}, -9, -1, math.Hypot(1, 2)},
	} {
		assert.InDelta(t, c.depth, s.depth(c.at), 1e-9, "%v", c.at)
		assert.InDelta(t, c.bridged, s.bridged(c.at), 1e-9, "%v", c.at)
		assert.InDelta(t, c.surface, s.toSurface(c.at, 3), 1e-9, "%v", c.at)
	}
}

// buccalOf is +1 where the sections' buccal side lies along x.
func buccalOf(s *sections) float64 { return math.Copysign(1, s.frames[0].Patient(reformat.UV{U: 1}).X) }

// A canal marked wrongly at one site is doubted at every other, but where the image shows it at its mark.
func TestDoubtAboutAPathSpreads(t *testing.T) {
	wrong := doubt{Caution: Caution{Code: "canal_elsewhere", Text: "left canal: look", Severity: SeverityNotAssessed, Site: "46"}, structure: "left canal", spreads: true}
	beyond := wrong
	beyond.Site, beyond.Severity = "", SeverityUncertain
	local := wrong
	local.spreads = false
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
			s := &site{plan: Site{ID: c.site}, shown: c.shown}
			s.out.Rows = []Row{{Quantity: "clearance", To: "left canal", Verdict: Held}}
			s.doubt(c.d)
			assert.Equal(t, c.want, s.out.Rows[0].Verdict)
			assert.Equal(t, c.want == Uncertain && c.d.Site != "", s.out.Rows[0].Note == "at site 46 left canal: look")
		})
	}
}
