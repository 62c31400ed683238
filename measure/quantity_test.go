package measure

import (
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"ridgerule/measure/quantity"
)

// What a run writes is what the table of quantities says: the unit, a depth only where it counts from something, a value
// below zero only where that means something; and a site's numbers come in the table's order, after what is said first.
func TestRowsKeepTheTableOfQuantities(t *testing.T) {
	text := strings.Replace(straightPlan, "structures:", `    sizes: {diameters_mm: [3.5], lengths_mm: [6]}
    level: {depth_mm: 1}
  - {tooth: "37", at: [0, 12, -2], level: {depth_mm: 1}, axis: occlusal, implant: {platform: [0, 12, 2], axis: [0, 0, -1], diameter_mm: 4, length_mm: 18}}
structures:`, 1)
	r := runPlan(t, text+"prosthesis_end: [[0, 15, 0]]\nocclusal_level: [0, 0, -3]\n")
	keeps := func(row Row) {
		q := quantity.Of(row.Quantity)
		assert.Equal(t, q.Unit, row.Unit, row.Quantity)
		assert.False(t, row.At != nil && q.From == quantity.NoDepth, "%s at a depth", row.Quantity)
		assert.False(t, row.Value != nil && *row.Value < 0 && q.Negative == "", "%s below zero", row.Quantity)
	}
	for _, row := range r.Arch.Rows {
		keeps(row.Row)
	}
	order := quantity.All()
	place := func(q quantity.Name) int {
		return slices.IndexFunc(order, func(o quantity.Quantity) bool { return o.Name == q })
	}
	seen := map[quantity.Name]bool{}
	for _, s := range r.Sites {
		var rest []quantity.Name
		for _, row := range s.Rows {
			keeps(row)
			seen[row.Quantity] = true
			if rankOf(row) == rankRest && !slices.Contains(rest, row.Quantity) {
				rest = append(rest, row.Quantity)
			}
		}
		assert.True(t, slices.IsSortedFunc(rest, func(a, b quantity.Name) int { return place(a) - place(b) }), "%v", rest)
	}
	assert.Greater(t, len(seen), 25, "the plan asks for nearly all")
}
