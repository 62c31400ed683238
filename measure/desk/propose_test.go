package desk

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// A proposed arch of many points is shown with a few, whose curve leads past all of them; an arch with a dent keeps it.
func TestProposedArchHasPointsForAHand(t *testing.T) {
	for name, dent := range map[string]float64{"even": 0, "dented": 1} {
		var all []r3.Vec
		for i := range 47 {
			a := math.Pi * float64(i) / 46
			p := r3.Vec{X: -26 * math.Cos(a), Y: 20 - 50*math.Sin(a), Z: 3 * math.Cos(2*a)}
			if i == 30 {
				p.Z += dent
			}
			all = append(all, p)
		}
		few := fewer(all, r3.Vec{Z: 1})
		c, err := reformat.NewCurve(few, r3.Vec{Z: 1})
		require.NoError(t, err)
		assert.GreaterOrEqual(t, len(few), fewestPoints, name)
		if dent == 0 {
			assert.LessOrEqual(t, len(few), 13, name)
		}
		assert.Equal(t, all[0], few[0])
		assert.Equal(t, all[46], few[len(few)-1])
		for _, p := range all {
			_, off := c.Project(p)
			assert.LessOrEqual(t, off, archWithin, name)
		}
	}
}

// A proposed place is marked so in the plan until a person confirms it on its section, and the review asks for it until then.
func TestProposedSiteIsConfirmedByItself(t *testing.T) {
	path := planAt(t, wholePlan)
	d, _ := opened(t, path, Options{})
	b := newTab(t, d.Address())
	b.click("[data-step=sites] .head button")
	b.ready("panoramic")
	b.click("Propose places")
	b.click("Take up place 1")
	b.until(`document.querySelectorAll("[data-step=sites] [aria-label=Sites] button").length === 3`)
	now := d.session.state()
	require.True(t, now.Sites[2].Proposed)
	id := now.Sites[2].ID
	assert.Contains(t, openPoints(now, &numbers{}, nil), openPoint{Site: id, Finding: "the site is proposed and not confirmed"})
	b.click("Site " + id + " is right")
	b.until(`document.getElementById("status").textContent === "site ` + id + ` confirmed"`)
	assert.False(t, d.session.state().Sites[2].Proposed)
	assert.Empty(t, b.complaints())
}
