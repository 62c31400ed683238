package measure

import (
	"bytes"
	"context"
	"math"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/solid"
)

// mucosaSheet is the plane z = 7 + 0.2·x about the planned tooth of [restored], open within gap (mm) of the tooth's sides; gap < 0: no opening.
func mucosaSheet(t *testing.T, gap float64) []byte {
	t.Helper()
	const step = 0.25
	at := map[[2]int]int{}
	var points []r3.Vec
	var facets [][3]int
	corner := func(i, j int) int {
		k := [2]int{i, j}
		if _, known := at[k]; !known {
			x, y := -10+step*float64(i), -8+step*float64(j)
			at[k] = len(points)
			points = append(points, r3.Sub(r3.Vec{X: x, Y: y, Z: 7 + 0.2*x}, setUpShift))
		}
		return at[k]
	}
	for i := range 90 {
		for j := range 104 {
			x, y := -10+step*(float64(i)+0.5), -8+step*(float64(j)+0.5)
			if gap >= 0 && x > -3-gap && x < 5+gap && y > -gap && y < 10+gap {
				continue
			}
			a, b, c, d := corner(i, j), corner(i+1, j), corner(i+1, j+1), corner(i, j+1)
			facets = append(facets, [3]int{a, b, c}, [3]int{a, c, d})
		}
	}
	s, err := solid.NewSheet(points, facets)
	require.NoError(t, err)
	var out bytes.Buffer
	require.NoError(t, solid.WriteSheet(&out, s, "mucosa"))
	return out.Bytes()
}

func withMucosa(t *testing.T, gap float64, by string) SiteResult {
	t.Helper()
	dir := fstest.MapFS{
		"setup.stl":  {Data: toothBlock(t, r3.Sub(r3.Vec{X: -3, Z: 5}, setUpShift), r3.Sub(r3.Vec{X: 5, Y: 10, Z: 12}, setUpShift))},
		"mucosa.stl": {Data: mucosaSheet(t, gap)}, "setup.json": {Data: aligned(t, setUpShift, 0.1, by)},
	}
	text := strings.Replace(straightPlan, "platform: [0, 4, -2],", "platform: [0, 4, -2], axis: [0, 0, -1],", 1) + "restoration: {surface: setup.stl, mucosa: mucosa.stl, align: setup.json}\n"
	p, _, err := plan.Read("plan.yaml", []byte(text), dir)
	require.NoError(t, err)
	r, err := RunPlan(context.Background(), straightRidge(t), p, Scan{}, Options{})
	require.NoError(t, err)
	return r.Sites[0]
}

// By hand: from the platform at (0, 4, −2), upright, the mucosa z = 7 + 0.2·x meets the tooth's sides at x = 5 and −3, 10 and 8.4 mm above it, and at
// x = 0 before and behind, 9 mm above. Where it is cut free by half a millimetre it ends 0.1 mm higher or lower; where it ends 2 mm
// away there is no margin. A shift of the alignment of 0.1 mm moves it as much.
func TestPlatformToThePlannedMucosalMargin(t *testing.T) {
	for _, gap := range []float64{-1, 0.5} {
		s := withMucosa(t, gap, "r01")
		free := 0.2 * max(0, gap)
		want := map[string]float64{"buccal": 10 + free, "lingual": 8.4 - free, "mesial": 9, "distal": 9}
		if s.Frame.U.X < 0 {
			want["buccal"], want["lingual"] = want["lingual"], want["buccal"]
		}
		n := 0
		for _, r := range s.Rows {
			if r.Quantity != quantity.MucosalMargin {
				continue
			}
			n++
			require.NotNil(t, r.Value, "%s: %s", r.To, r.Note)
			require.InDelta(t, want[r.To], *r.Value, 1e-5, "%s, gap %g", r.To, gap)
			require.InDelta(t, 0.2, r.Budget.U(), 1e-9)
			require.Empty(t, r.Verdict)
			require.NotContains(t, r.Note, "accepted by nobody")
		}
		require.Equal(t, 4, n)
	}
	row := value(t, withMucosa(t, -1, ""), quantity.MucosalMargin, math.NaN())
	require.Contains(t, row.Note, "accepted by nobody")
	row, _ = ptr(withMucosa(t, 2, "r01")).Lookup(quantity.MucosalMargin, math.NaN())
	require.Nil(t, row.Value)
	require.Contains(t, row.Note, "ends 2.0 mm from the planned tooth")
	s := restored(t, "surface: setup.stl", "[0, 0, -1]", "r01")
	_, asked := s.Lookup(quantity.MucosalMargin, math.NaN())
	require.False(t, asked)
}

func ptr(s SiteResult) *SiteResult { return &s }
