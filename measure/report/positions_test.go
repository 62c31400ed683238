package report

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
)

// twoSets are implants planned and recorded, the last 0.3 mm deeper; names in order.
func twoSets(names []string, places []r3.Vec) (align.Set, align.Set) {
	first, second := align.Set{Frame: "planned", Planned: true}, align.Set{Frame: "recorded", Source: "desktop scan"}
	for i, n := range names {
		p := align.Position{Name: n, At: places[i], Axis: r3.Vec{Z: -1}, U: math.NaN(), UAxis: math.NaN()}
		first.Positions = append(first.Positions, p)
		p.At.X, p.U, p.UAxis = p.At.X+5, 0.01, 0.1
		if i == len(names)-1 {
			p.At.Z -= 0.3
		}
		second.Positions = append(second.Positions, p)
	}
	return first, second
}

func positionsPageOf(t *testing.T, c *align.Comparison) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, PositionsPage(&b, c))
	return b.String()
}

// The page says that it judges nothing, what residuals hide, who reviews; a laboratory's limit with its source; a name that is
// markup stays text; no script and nothing from outside.
func TestPositionsPageInformsAndDoesNotJudge(t *testing.T) {
	arch := []r3.Vec{{X: -25}, {X: -12, Y: -24}, {X: 12, Y: -24}, {X: 25}}
	first, second := twoSets([]string{"46", "<b>43", "33", "36"}, arch)
	limit, err := align.NewLimit("height", 0.2, "laboratory <A>")
	require.NoError(t, err)
	c, err := align.Compare(first, second, align.CompareOptions{End: "46", Limits: []align.Limit{limit}})
	require.NoError(t, err)
	page := positionsPageOf(t, c)
	text := plainText(page)
	for _, want := range []string{"no accepted threshold", "one-screw test", "71 % of the true error", "spread over all", "licensed clinician", "data inadequate for a threshold",
		"&lt;b&gt;43", "laboratory &lt;A&gt;", "0.300 ± 0.0", "not held", "Never fit data", "times larger than life", "Least is left without 36"} {
		require.Contains(t, text, want)
	}
	for _, never := range []string{"<b>43", "<script", `"http`, "url(http"} {
		require.False(t, strings.Contains(strings.ReplaceAll(page, `"http://www.w3.org`, ""), never), never)
	}
}

// Where there is no best fit the page says why, and shows the one-end fit and the pairs; of three implants none is named.
func TestPositionsPageOfAStraightRow(t *testing.T) {
	first, second := twoSets([]string{"34", "35", "36"}, []r3.Vec{{}, {Y: 7}, {Y: 15}})
	c, err := align.Compare(first, second, align.CompareOptions{})
	require.NoError(t, err)
	text := plainText(positionsPageOf(t, c))
	for _, want := range []string{"No such fit: they lie nearly on one line", "the gaps that one screw at", "34 – 36", "cannot be told"} {
		require.Contains(t, text, want)
	}
}

// A gap of 0.12 mm, drawn 100 times larger, runs to the right, where its label would stand: no line runs through a label.
func TestNoGapIsDrawnThroughALabel(t *testing.T) {
	first, second := twoSets([]string{"46", "42", "32", "34", "36"}, []r3.Vec{{X: -22, Y: 10}, {X: -7, Y: -17}, {X: 7, Y: -17}, {X: 18, Y: -6}, {X: 22, Y: 10}})
	second.Positions[3].At = r3.Add(second.Positions[3].At, r3.Vec{X: 0.12, Y: -0.06})
	c, err := align.Compare(first, second, align.CompareOptions{})
	require.NoError(t, err)
	var drawn collector
	gapSheet(c).draw(&drawn)
	require.Len(t, drawn.labels, 6)
	for _, l := range drawn.labels {
		require.False(t, strikes(l, drawn.lines), l.Text)
	}
}

// Gaps are drawn as large as fits: 0.1 mm a hundred times, 3 mm four times at most, of which 2 is one of the steps.
func TestGapTimes(t *testing.T) {
	for longest, want := range map[float64]float64{0.1: 100, 0.01: 1000, 3: 2, 20: 1} {
		require.Equal(t, want, gapTimes(longest))
	}
}
