package measure

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/plan"
)

// What a series told is used again for the same arch, and only for that: the results are those of runs that estimate anew,
// byte by byte, whatever was moved in between.
func TestTaughtChangesNoNumber(t *testing.T) {
	v := straightRidge(t)
	moved := strings.Replace(straightPlan, "at: [0, 4, -2]", "at: [0, -3, -2]", 1)
	bent := strings.Replace(straightPlan, "[0, 18, -2]", "[0.8, 18, -2]", 1)
	upper := strings.NewReplacer("jaw: mandible", "jaw: maxilla\norientation_note: upside down\nocclusal: [0, 0, 1]", `"36"`, `"26"`, "root 35", "root 25").Replace(straightPlan)
	turned := strings.Replace(straightPlan, "jaw: mandible", "jaw: mandible\nocclusal: [0.02, 0, 1]", 1)
	cache := &Cache{}
	for i, text := range []string{straightPlan, moved, bent, turned, upper} {
		p, source, err := plan.Read("plan.yaml", []byte(text), nil)
		require.NoError(t, err, i)
		placed, err := p.Place(v.Grid, source)
		require.NoError(t, err, i)
		before := cache.model
		again, err := Run(context.Background(), v, placed, Scan{}, Options{Cache: cache})
		require.NoError(t, err)
		anew, err := Run(context.Background(), v, placed, Scan{}, Options{})
		require.NoError(t, err)
		assert.Equal(t, i == 1, before != nil && before == cache.model, i)
		assert.True(t, everything(anew) == everything(again), "plan %d: other numbers", i)
	}
}

// everything is a result as text, numbers that are none included.
func everything(r *Result) string {
	var b strings.Builder
	for _, s := range r.Sites {
		fmt.Fprintf(&b, "%#v\n", s.Frame)
		for _, row := range s.Rows {
			value, margin := -1.0, -1.0
			if row.Value != nil {
				value = *row.Value
			}
			if row.Margin != nil {
				margin = *row.Margin
			}
			fmt.Fprintf(&b, "%s %s %x %x %v %v %s\n", row.Quantity, row.To, value, margin, row.Budget, row.Verdict, row.Note)
		}
		chords, _ := json.Marshal(s.Chords)
		fmt.Fprintf(&b, "%v %s %v %v\n", s.Outline, chords, s.Crest, s.Axis)
	}
	cautions, _ := json.Marshal(r.Cautions)
	return b.String() + string(cautions)
}
