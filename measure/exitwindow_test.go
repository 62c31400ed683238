package measure

import (
	"context"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
)

// sized tries one size on the straight ridge under a planned tooth whose middle lies at x = 1, with keys of the restoration.
func sized(t *testing.T, keys, by string) SiteResult {
	t.Helper()
	dir := fstest.MapFS{"setup.stl": {Data: toothBlock(t, r3.Sub(r3.Vec{X: -3, Z: 5}, setUpShift), r3.Sub(r3.Vec{X: 5, Y: 10, Z: 12}, setUpShift))}, "setup.json": {Data: aligned(t, setUpShift, 0.1, by)}}
	text := strings.Replace(straightPlan, "    implant: {platform: [0, 4, -2], diameter_mm: 4, length_mm: 10}\n", "    sizes: {diameters_mm: [3], lengths_mm: [6]}\n", 1)
	text = strings.Replace(text, "path: [[0.5, -19, -15], [0.5, 19, -15]]", "path: [[0.5, -19, -15], [0.5, -14, -15], [0.5, -9, -15], [0.5, -4, -15], [0.5, 1, -15], [0.5, 6, -15], [0.5, 11, -15], [0.5, 15, -15], [0.5, 19, -15]]", 1)
	text = strings.Replace(text, "  - {name: root 35, kind: root, path: [[0, -1, 0], [0, -1, -12]], radius_mm: 2, sd_mm: 0}\n", "", 1)
	p, _, err := plan.Read("plan.yaml", []byte(text+"restoration: {surface: setup.stl, align: setup.json"+keys+"}\n"), dir)
	require.NoError(t, err)
	r, err := RunPlan(context.Background(), straightRidge(t), p, Scan{}, Options{})
	require.NoError(t, err)
	return r.Sites[0]
}

// A safety rule: with a window the size search keeps the axis within it, whether the site has an implant or sizes alone; a size whose axis
// cannot come out there is not held, and none is where nobody accepted the alignment. The tooth's middle lies at x = 1, its biting side at z = 12; U of
// a shift is 0.2 mm.
func TestSizesKeepTheExitWithinTheWindow(t *testing.T) {
	exit := func(r safety.SizeResult) float64 {
		im := r.Implant
		return r3.Add(im.Platform, r3.Scale((12-im.Platform.Z)/im.Axis.Z, im.Axis)).X
	}
	free := sized(t, "", "r01").SizesTried[0]
	require.Equal(t, safety.Held, free.Verdict, "%s", free.Reason)
	require.Greater(t, math.Abs(exit(free)-1), 0.5, "without a window the best pose leaves elsewhere")

	s := sized(t, ", exit_window_mm: {buccal: 0.5, lingual: 0.5}", "r01")
	kept := s.SizesTried[0]
	require.Equal(t, safety.Held, kept.Verdict, "%s", kept.Reason)
	require.LessOrEqual(t, math.Abs(exit(kept)-1), 0.5-0.2+1e-6)
	row, ok := s.Lookup(quantity.LargestDiameter, math.NaN())
	require.True(t, ok)
	require.NotNil(t, row.Value)
	require.Contains(t, row.Note, "within the window: buccal 0.5, lingual 0.5 mm")

	unsure := sized(t, ", exit_window_mm: {buccal: 0.5, lingual: 0.5}", "")
	require.Equal(t, safety.Uncertain, unsure.SizesTried[0].Verdict)
	row, _ = unsure.Lookup(quantity.LargestDiameter, math.NaN())
	require.Nil(t, row.Value)
	require.Contains(t, row.Note, "accepted by nobody")

	none := sized(t, ", exit_window_mm: {buccal: 0.1, lingual: 0.1}", "r01")
	require.Equal(t, safety.Uncertain, none.SizesTried[0].Verdict, "U is wider than the window")
	require.Equal(t, safety.ExitWindow, none.SizesTried[0].Limit)
	row, _ = none.Lookup(quantity.LargestDiameter, math.NaN())
	require.Nil(t, row.Value)
	require.Contains(t, row.Note, safety.ExitWindow)
}
