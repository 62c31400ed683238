package accuracy

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A figure that a single number does not have is a dash.
func TestNoTableSaysNaN(t *testing.T) {
	var b strings.Builder
	require.NoError(t, Markdown(&b, "all", []Summary{
		{Quantity: "ridge_width", Group: "all", N: 1, Bias: 0.01, SD: math.NaN(), MeanU: 0.02, Coverage: 1, Worst: 0.01, Seed: 7},
		{Quantity: "ridge_tilt", Group: "all", N: 2, SD: 0, MeanU: 0.02, Coverage: 1, Seed: 8},
	}))
	assert.Contains(t, b.String(), "| ridge_width | all | 1 | 0 | +0.010 | – | 0.020 | – | 100.0 % | +0.01 (7) |")
	assert.NotContains(t, b.String(), "NaN")
	assert.NotContains(t, b.String(), "Inf")
}
