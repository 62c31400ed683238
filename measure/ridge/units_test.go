package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Grey values have no unit: stretched from 10⁻³ to 10³ times and shifted, a ridge with trabeculae, thin
// mucosa and the air beyond it keeps every length and every U but for the rounding of float32.
func TestLengthsDoNotKnowTheUnitOfGrey(t *testing.T) {
	outer, inner := hollow(3.5, 22, 1.5)
	mucosa := stadium(4.7, 24.4)
	lined := shape{mucosa.base + 1.2, mucosa.top + 1.2, func(v float64) (float64, float64) { return mucosa.row(v - 1.2) }}
	bone, within, covered := bony(outer, inner, 0.25), inner.blurred(0.25), lined.blurred(0.25)
	grey := func(p reformat.UV) float64 {
		q := scale(2*math.Pi/1.3, p)
		return bone(p) + 220*within(p)*math.Sin(q.U)*math.Sin(q.V) + (air-soft)*(1-covered(p))
	}
	measured := func(r volume.Rescale) (out []uncertainty.Length) {
		s := around(22, 0.3, 40)
		s.rescale = r
		o, a := trace(t, s.field(t, grey))
		for _, d := range []float64{3, 6, 9} {
			w, err := o.Width(a, d, Placement{})
			require.NoError(t, err)
			out = append(out, w.Length, w.Plates[0].Length, w.Plates[1].Length)
		}
		h, err := o.End(a, Placement{})
		require.NoError(t, err)
		return append(out, h.Length)
	}
	want := measured(volume.Rescale{Slope: 1})
	for _, r := range []volume.Rescale{{Slope: 1e-3}, {Slope: 1e3}, {Slope: 1, Intercept: 20000}, {Slope: 0.01, Intercept: -300}} {
		for i, got := range measured(r) {
			require.InDelta(t, want[i].Value, got.Value, 2e-4, "× %g + %g, length %d", r.Slope, r.Intercept, i)
			require.InDelta(t, want[i].U(), got.U(), 2e-4, "× %g + %g, U of length %d", r.Slope, r.Intercept, i)
		}
	}
}

// What trabeculae do to an inner edge is a length: √(π/2)·0.3·300/1150 = 0.098 mm in any unit of grey.
func TestTrabeculaeTermHasNoUnitOfGrey(t *testing.T) {
	for _, unit := range []float64{1e-6, 1e-3, 1, 1e3} {
		w := Wall{marrow: 300 * unit}
		w.p[pSigma], w.p[pG1], w.p[pG2] = 0.3, 1600*unit, 450*unit
		require.InDelta(t, 0.0981, w.marrowTerm(), 1e-4, "× %g", unit)
	}
	require.Zero(t, (&Wall{}).marrowTerm())
}
