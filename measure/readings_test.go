package measure

import (
	"context"
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/ridge"
)

// readingOf returns the only reading's row of a plan with it.
func readingOf(t *testing.T, reading string) Row {
	t.Helper()
	r := runPlan(t, straightPlan+"readings: [{"+reading+"}]\n")
	if row, ok := r.Sites[0].Lookup("reading", math.NaN()); ok {
		return row
	}
	require.NotEmpty(t, r.Arch.Rows)
	assert.Equal(t, "arch", r.Arch.Rows[0].Sites)
	return r.Arch.Rows[0].Row
}

// A reading is the distance of its two ends, whichever is named first. Set by eye, each end has the hand's 0.2/√2 mm and half a
// voxel, evenly spread; the scale of the scan adds its share.
func TestReadingSetByEye(t *testing.T) {
	const voxel = 0.4 // mm, of straightRidge
	for name, reading := range map[string]string{
		"there":       `id: a, site: "36", from: [-1, 4, -4], to: [2, 4, -8], reader: R1`,
		"back":        `id: a, site: "36", from: [2, 4, -8], to: [-1, 4, -4], reader: R1`,
		"of no site":  `id: a, from: [2, 4, -8], to: [-1, 4, -4], reader: R1`,
		"on no edge":  `id: a, site: "36", from: [2, 4, -8], to: [-1, 4, -4], reader: R1, snapped: true`,
		"off section": `id: a, site: "36", from: [2, 3, -8], to: [-1, 3, -4], reader: R1, snapped: true`,
	} {
		row := readingOf(t, reading)
		require.NotNil(t, row.Value, name)
		assert.InDelta(t, 5, *row.Value, 1e-12, name)
		assert.Equal(t, "a", row.To)
		assert.InDelta(t, 2*math.Sqrt(0.2*0.2+2*voxel*voxel/12), row.Budget.U(), 1e-9, name)
		assert.True(t, strings.HasPrefix(row.Note, "read off the picture by R1; "), row.Note)
		assert.Equal(t, strings.Contains(reading, "snapped"), strings.Contains(row.Note, "no edge that is found now"), row.Note)
		assert.Equal(t, NoMargin, row.Verdict, "a reading is never judged")
	}
}

// Ends that snap lie on the bone's edge, whose place is known in closed form: a rod of this radius is twice as wide. Their
// uncertainty is the fit's, less than an eye's, and holds the error.
func TestReadingBetweenEdges(t *testing.T) {
	v := straightRidge(t)
	place := func(text string) *plan.Placed {
		p, source, err := plan.Read("plan.yaml", []byte(text), nil)
		require.NoError(t, err)
		placed, err := p.Place(v.Grid, source)
		require.NoError(t, err)
		return placed
	}
	cache := &Cache{}
	placed := place(straightPlan)
	_, err := cache.EdgesAt(v, placed, 22)
	require.Error(t, err, "nothing was measured yet")
	r, err := Run(context.Background(), v, placed, Scan{}, Options{Cache: cache})
	require.NoError(t, err)
	edges, err := cache.EdgesAt(v, placed, r.Sites[0].Frame.Arc)
	require.NoError(t, err)
	_, err = cache.EdgesAt(v, place(strings.Replace(straightPlan, "[0, 18, -2]", "[0.8, 18, -2]", 1)), 22)
	require.Error(t, err, "another arch")
	var ends [2]r3.Vec
	for i, side := range []float64{-1, 1} {
		at, std, err := edges.Near(r3.Vec{X: side * (ridgeRadius + 0.4), Y: 4, Z: -6})
		require.NoError(t, err)
		assert.InDelta(t, side*ridgeRadius, at.X, 2*std)
		assert.InDelta(t, 4, at.Y, 1e-9, "in the section")
		assert.InDelta(t, -6, at.Z, 0.02, "the foot of where the hand was")
		assert.Less(t, std, pointing)
		ends[i] = at
	}
	_, _, err = edges.Near(r3.Vec{X: ridgeRadius + Snap + 0.2, Y: 4, Z: -6})
	require.ErrorIs(t, err, ridge.ErrNoEdge)
	for _, site := range []string{`site: "36", `, ""} {
		row := readingOf(t, fmt.Sprintf(`id: a, %ssnapped: true, from: [%.3f, %.3f, %.3f], to: [%.3f, %.3f, %.3f]`, site, ends[0].X, ends[0].Y, ends[0].Z, ends[1].X, ends[1].Y, ends[1].Z))
		assert.Contains(t, row.Note, "both ends on fitted edges of bone")
		assert.Less(t, row.Budget.U(), 2*math.Sqrt(2)*pointing)
		assert.InDelta(t, 2*ridgeRadius, *row.Value, row.Budget.U())
	}
	off := readingOf(t, fmt.Sprintf(`id: a, site: "36", snapped: true, from: [%.3f, %.3f, %.3f], to: [%.3f, %.3f, %.3f]`, ends[0].X, ends[0].Y+0.2, ends[0].Z, ends[1].X, ends[1].Y+0.2, ends[1].Z))
	assert.Contains(t, off.Note, "no edge that is found now", "out of the section's plane")
}

// A reading of a site that is not there, one that stands twice and one outside the scan name themselves.
func TestReadingsThatCannotBe(t *testing.T) {
	for reading, want := range map[string]string{
		`id: a, site: "37", from: [0, 4, -4], to: [0, 4, -8]`:                                `reading "a" is of site "37", which is not in the plan`,
		`id: a, from: [0, 4, -4], to: [0, 4, -8]}, {id: a, from: [0, 4, -4], to: [0, 4, -8]`: `reading "a" stands twice`,
		`from: [0, 400, -4], to: [0, 4, -8]`:                                                 `reading "1": from [0, 400, -4] mm is outside the scan`,
	} {
		p, source, err := plan.Read("plan.yaml", []byte(straightPlan+"readings: [{"+reading+"}]\n"), nil)
		if err == nil {
			_, err = p.Place(straightRidge(t).Grid, source)
		}
		assert.ErrorContains(t, err, want)
	}
}
