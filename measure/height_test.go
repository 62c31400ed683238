package measure

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// An axis that leans by 20° leaves a ridge 7 mm wide through its side and never reaches the base: what is
// given is the length to that wall, never a height to plan by, and where the height to the border was asked
// for, no number and what to do. From the crest given 1 mm below the ridge's top, in its middle, the wall is
// 3.5/sin 20° = 10.23 mm away.
func TestHeightThroughASideWallIsNoHeight(t *testing.T) {
	from := strings.Index(straightPlan, "  - {name: left canal")
	open := straightPlan[:from] + straightPlan[strings.Index(straightPlan, "  - {name: root 35"):]
	for _, lean := range []string{"0.34202", "-0.34202"} {
		given := "crest: [0, 4, -3.5]\n    axis: [" + lean + ", 0, -0.93969]\n    depths_mm"
		s := runPlan(t, strings.Replace(open, "depths_mm", given, 1)).Sites[0]
		want := ToLingualWall
		if s.Axis.U > 0 {
			want = ToBuccalWall
		}
		row := value(t, s, "ridge_height", math.NaN())
		assert.InDelta(t, 3.5/math.Sin(math.Pi/9), *row.Value, 0.06)
		assert.Equal(t, [2]string{string(want), string(want)}, [2]string{row.To, string(s.HeightTo)})
		assert.Contains(t, row.Note, "not a height of bone to the base")
		assert.Contains(t, row.Note, "canal not marked", "it may lie on the way")
		assert.Contains(t, s.HeightOpen, "not a height of bone to the base", "what is open is never the bold number")

		s = runPlan(t, strings.Replace(open, "depths_mm", "height_to: border\n    "+given, 1)).Sites[0]
		row, ok := s.Lookup("ridge_height", math.NaN())
		require.True(t, ok)
		assert.Nil(t, row.Value)
		assert.Contains(t, row.Note, quantity.InWords(want)+", 10.")
		assert.Contains(t, row.Note, "give another axis in the plan")
		assert.Empty(t, s.HeightTo)
	}
	s := runPlan(t, strings.Replace(open, "depths_mm", "height_to: border\n    depths_mm", 1)).Sites[0]
	row := value(t, s, "ridge_height", math.NaN())
	assert.Equal(t, string(ToBorder), row.To)
	assert.InDelta(t, ridgeHeight, *row.Value, 0.08)
	assert.NotContains(t, row.Note, "not a height")
}

// Where the ridge's own axis leaves through a wall the remedy is another axis rule.
func TestRemedyOfAHeightToTheBorder(t *testing.T) {
	s := &site{plan: plan.Site{Axis: AxisRidge}}
	h := s.toBase(height{to: ToBuccalWall})
	assert.Contains(t, h.why, "give axis: occlusal, or a vector")
	assert.Empty(t, h.to)
}
