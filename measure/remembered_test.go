package measure

import (
	"context"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
)

// threeSites is the straight ridge with three sites, of which two neighbours are close and one is levelled.
var threeSites = strings.NewReplacer("structures:", `    level: {depth_mm: 1}
  - {tooth: "35", at: [0, -2, -2], level: {depth_mm: 1.5}, implant: {platform: [0, -2, -3], axis: [0, 0, -1], diameter_mm: 3.5, length_mm: 8}}
  - {tooth: "37", at: [0, 11, -2], sizes: {diameters_mm: [3.5, 4], lengths_mm: [6, 8]}}
structures:`, "path: [[0, -1, 0], [0, -1, -12]]", "path: [[0, -9, 0], [0, -9, -12]]").Replace(straightPlan)

// Of a plan in which one site was touched that one is measured, of one whose rest was touched all are; and the numbers are
// those of a run that knows nothing, byte by byte, in whatever order the plans come.
func TestOnlyTouchedSitesAreMeasuredAgain(t *testing.T) {
	v := straightRidge(t)
	edit := func(text, old, fresh string) string {
		require.Contains(t, text, old)
		return strings.Replace(text, old, fresh, 1)
	}
	moved := edit(threeSites, "at: [0, 11, -2]", "at: [0, 10.5, -2]")
	turned := edit(moved, "diameter_mm: 4, length_mm: 10", "diameter_mm: 3.5, length_mm: 9")
	read := turned + "readings: [{id: a, site: \"37\", from: [0, 10, -4], to: [0, 10, -8]}]\n"
	reviewed := read + "review: {by: A, role: B, at: now, plan_sha256: " + strings.Repeat("ab", 32) + "}\n"
	canal := edit(reviewed, "radius_mm: 1.5", "radius_mm: 1.6")
	removed := edit(canal, `  - {tooth: "37", at: [0, 10.5, -2], sizes: {diameters_mm: [3.5, 4], lengths_mm: [6, 8]}}`+"\n", "")
	removed = edit(removed, "readings: [{id: a, site: \"37\", ", "readings: [{id: a, ")
	cache := &Cache{}
	for i, c := range []struct {
		name, text string
		fresh      int
	}{
		{"first", threeSites, 3}, {"again", threeSites, 0}, {"one moved", moved, 1}, {"an implant changed", turned, 1}, {"a reading", read, 1}, {"a review", reviewed, 0},
		{"a canal wider", canal, 3}, {"one removed", removed, 0}, {"back", threeSites, 3}, {"and again", moved, 1},
	} {
		p, source, err := plan.Read("plan.yaml", []byte(c.text), nil)
		require.NoError(t, err, c.name)
		placed, err := p.Place(v.Grid, source)
		require.NoError(t, err, c.name)
		again, err := Run(context.Background(), v, placed, Scan{}, Options{Cache: cache})
		require.NoError(t, err)
		anew, err := Run(context.Background(), v, placed, Scan{}, Options{})
		require.NoError(t, err)
		assert.Equal(t, c.fresh, cache.before.fresh, "%d: %s", i, c.name)
		assert.True(t, everything(anew) == everything(again), "%d: %s: other numbers", i, c.name)
		for k := range anew.Arch.Rows {
			a, b := anew.Arch.Rows[k], again.Arch.Rows[k]
			if a.Value != nil && b.Value != nil {
				assert.Equal(t, math.Float64bits(*a.Value), math.Float64bits(*b.Value), "%s: %s %s", c.name, a.Sites, a.Quantity)
			}
			assert.Equal(t, a.Budget, b.Budget, "%s: %s %s", c.name, a.Sites, a.Quantity)
		}
		assert.Len(t, again.Arch.Rows, len(anew.Arch.Rows))
	}
	p, source, err := plan.Read("plan.yaml", []byte(moved), nil)
	require.NoError(t, err)
	placed, err := p.Place(v.Grid, source)
	require.NoError(t, err)
	by, other := 0.7, *v
	for _, c := range []struct {
		v   *volume.Volume
		opt Options
	}{{v, Options{Cache: cache, PlacedBy: &by}}, {v, Options{Cache: cache}}, {&other, Options{Cache: cache}}} {
		_, err = Run(context.Background(), c.v, placed, Scan{}, c.opt)
		require.NoError(t, err)
		assert.Equal(t, 3, cache.before.fresh, "another hand, or another volume")
		assert.Same(t, c.v, cache.volume, "what was learnt is of this volume")
	}
}
