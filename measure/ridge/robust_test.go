package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat"

	"ridgerule/measure/reformat"
)

// Bone of every make keeps its width: in soft tissue or bare in air, solid, with thin plates, with
// marrow as dark as the tissue outside, dim, coarse or noisy, and wherever on the ridge the arch
// was drawn. The limits are the for its scan (0.2 mm, noise 50) and follow noise and voxel
// elsewhere.
func TestNoMakeOfBoneIsLost(t *testing.T) {
	for _, c := range []struct {
		name                       string
		r, tau, voxel, blur, noise float64
		out, marrow, cortex        float64
		site                       float64 // of the arch above the crest, mm
		bias                       float64
	}{
		{"bare in air", 3.5, 1.5, 0.2, 0.2, 50, air, marrow, cortex, -1, 0.03},
		{"thin plates", 3.5, 0.5, 0.2, 0.2, 50, soft, marrow, cortex, -1, 0.04},
		{"marrow darker than soft tissue", 3.5, 1, 0.2, 0.2, 50, soft, -50, cortex, -1, 0.03},
		{"coarse and noisy", 3.5, 1.5, 0.4, 0.35, 150, soft, marrow, cortex, -1, 0.08},
		{"arch above the crest", 3.5, 1.5, 0.3, 0.2, 50, soft, marrow, cortex, 5, 0.03},
		{"arch deep in the bone", 3.5, 1.5, 0.3, 0.2, 50, soft, marrow, cortex, -15, 0.03},
		{"knife edge", 1.6, 0.8, 0.2, 0.2, 50, soft, marrow, cortex, -1, 0.03},
		{"dim", 3.5, 1.5, 0.2, 0.2, 50, 0, 150, 600, -1, 0.04},
	} {
		outer, inner := hollow(c.r, 24, c.tau)
		a, b := outer.blurred(c.blur), inner.blurred(c.blur)
		s := around(24, c.voxel, c.noise)
		s.min.V, s.max.V = s.min.V-c.site, s.max.V-c.site
		s.turn, s.offset = 0.3, reformat.UV{U: 0.37, V: 0.21}
		o, axis := trace(t, s.field(t, func(p reformat.UV) float64 {
			p.V += c.site
			return c.out + (c.cortex-c.out)*a(p) + (c.marrow-c.cortex)*b(p)
		}))
		var errs []float64
		for _, d := range []float64{3, 5, 7, 10} {
			want := 2 * c.r
			if d < c.r {
				want = 2 * math.Sqrt(d*(2*c.r-d))
			}
			w, err := o.Width(axis, d, Placement{})
			require.NoError(t, err, c.name)
			errs = append(errs, w.Value-want)
		}
		require.InDelta(t, 0, stat.Mean(errs, nil), c.bias, "%s: %.3f", c.name, errs)
	}
}
