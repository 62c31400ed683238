package accuracy

import (
	"bytes"
	"context"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/phantom"
)

// A jaw of each kind: the same seed gives the same errors, widths lie within a fifth of a voxel of
// the phantom's truth, and nothing is withheld on a clean scan.
func TestDrawnJawsAreMeasuredWithinAFifthOfAVoxel(t *testing.T) {
	o := Options{Cases: 2, Seed: 300, Edge: 22, Fix: func(o phantom.Options) phantom.Options {
		o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise, o.Hand = [3]float64{0.3, 0.3, 0.3}, 0.3, 50, 0
		return o
	}}
	errs, err := Run(context.Background(), o)
	require.NoError(t, err)
	again, err := Run(context.Background(), o)
	require.NoError(t, err)
	require.Equal(t, len(errs), len(again))
	widths := 0
	for i, e := range errs {
		require.Equal(t, math.Float64bits(e.Error), math.Float64bits(again[i].Error), "%+v", e)
		if e.Quantity == "ridge_width at 3–10 mm" {
			require.InDelta(t, 0, e.Error, 0.06, "jaw %d", e.Seed)
			widths++
		}
	}
	require.GreaterOrEqual(t, widths, 6)
}

// Five errors by hand: mean of 0.1, −0.1, 0.3, 0.1 is 0.1, SD √(0.08/3); two of four covered, one withheld.
func TestSummaryOfAFewErrors(t *testing.T) {
	errs := []Error{{Quantity: "w", Error: 0.1, U: 0.2}, {Quantity: "w", Error: -0.1, U: 0.05}, {Quantity: "w", Error: 0.3, U: 0.2, Seed: 7}, {Quantity: "w", Error: 0.1, U: 0.1}, {Quantity: "w", Error: math.NaN(), Why: "thin"}}
	rows := Summarise(errs, Groups[0].Of)
	require.Len(t, rows, 1)
	s := rows[0]
	require.Equal(t, [2]int{4, 1}, [2]int{s.N, s.Withheld})
	require.InDelta(t, 0.1, s.Bias, 1e-12)
	require.InDelta(t, math.Sqrt(0.08/3), s.SD, 1e-12)
	require.InDelta(t, 0.5, s.Coverage, 1e-12)
	require.Equal(t, uint64(7), s.Seed)
	var b bytes.Buffer
	require.NoError(t, Markdown(&b, "all", rows))
	require.Contains(t, b.String(), "| w | all | 4 | 1 | +0.100 | 0.163 |")
}
