package measure

import (
	"fmt"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/plan"
	"ridgerule/measure/safety"
)

// A site that fails has a row for every number that the same site has when it does not: missing is countable.
func TestFailedSiteHasEveryRowThatAMeasuredOneHas(t *testing.T) {
	text := straightPlan + "levelling_plane: [[0, 0, -2.5], [5, 0, -2.5], [0, 5, -2.5]]\n"
	good := runPlan(t, text).Sites[0]
	require.Empty(t, good.Err)
	p, err := plan.Read("plan.yaml", []byte(text), nil)
	require.NoError(t, err)
	key := func(r Row) string {
		if r.At != nil && (r.Quantity != "buccal_undercut" && r.Quantity != "lingual_undercut") {
			return fmt.Sprintf("%s at %g", r.Quantity, *r.At)
		}
		return string(r.Quantity)
	}
	keys := func(rows []Row) []string {
		var out []string
		for _, r := range rows {
			if r.Quantity != "clearance" && r.Quantity != "implant_lean" {
				out = append(out, key(r))
			}
		}
		slices.Sort(out)
		return slices.Compact(out)
	}
	rules := safety.Margins()
	s := &site{plan: p.Sites[0]}
	s.out.Err = "the field ends"
	c := &run{plan: p, rules: rules}
	for _, r := range c.asked(s) {
		s.add(r)
	}
	c.boneFailed(s, s.out.Err)
	assert.Equal(t, keys(good.Rows), keys(s.out.Rows))
	for _, r := range s.out.Rows {
		assert.Nil(t, r.Value)
	}
}

// Implants that cannot be measured together leave rows, never silence.
func TestPairsThatFailLeaveRows(t *testing.T) {
	rows := pairsFailed([]safety.Placed{{Site: "a"}, {Site: "b"}, {Site: "c"}}, "no body")
	require.Len(t, rows, 9)
	for _, r := range rows {
		assert.Equal(t, "no body", r.Note)
		assert.Nil(t, r.Value)
	}
}
