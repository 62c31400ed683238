package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// The doubt whether a floor has a lining is in its budget whichever way the fit decided, and does not jump where the
// decision falls. The closed form of what noise may hide is 0.25 mm here: 0.25·√(4·50/√(700/3)/2600/0.005).
func TestDoubtOfALiningKnowsNoSwitch(t *testing.T) {
	tissue := Tissue{Soft: 50, Cortex: 1600, Marrow: 400, Edges: 20}
	floor := func(begin estimate, outside, air, thick float64) float64 {
		w := Wall{active: begin.active(), noise: 50, count: 700}
		w.p[pG0], w.p[pG1], w.p[pGA], w.p[pGamma], w.p[pSigma] = outside, 1600, air, thick, 0.25
		return w.liningTerm(tissue, 0.2)
	}
	lined := func(thick float64) float64 { return floor(estimate{mucosa: true}, 50, -1000, thick) }
	bare := floor(estimate{}, -1000, -1000, beyondReach)
	require.InDelta(t, 0.25/2/math.Sqrt(3), bare, 0.001)
	require.InDelta(t, bare, lined(0.001), 1e-6, "as the lining gets thin")
	require.InDelta(t, bare, lined(0.3), 0.3*bare, "thinner than a voxel and a half")
	require.Greater(t, lined(0.3), lined(0.6))
	require.Less(t, lined(2), 0.01*bare, "a thick one is no doubt")
	require.Zero(t, floor(estimate{}, 50, 50, beyondReach), "soft tissue as far as the fit sees")
}
