package measure_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
)

// at returns the plan with sites at these arc lengths, named after them, each asked for little.
func at(p *plan.Plan, arcs []float64) *plan.Plan {
	out, first := *p, p.Sites[0]
	first.At, first.Tooth, first.Implant, first.Depths = nil, "", nil, []float64{3}
	out.Sites = nil
	for _, s := range arcs {
		site := first
		site.ID, site.ArcMM = fmt.Sprintf("at %.4f", s), &s
		out.Sites = append(out.Sites, site)
	}
	return &out
}

// bits writes out what was measured at a site to the last bit.
func bits(s measure.SiteResult) string {
	out := fmt.Sprintf("%s %x %x %x %x\n", s.Err, s.Outline, s.Crest, s.Axis, s.HeightEnd)
	for _, r := range s.Rows {
		out += fmt.Sprintf("%s to %q %q %v", r.Quantity, r.To, r.Note, r.Verdict)
		for _, x := range []*float64{r.At, r.Value} {
			if x != nil {
				out += fmt.Sprintf(" %x", *x)
			}
		}
		for _, t := range r.Budget {
			out += fmt.Sprintf(" %s %x %x", t.Name, t.Std, t.Sensitivity)
		}
		out += "\n"
	}
	return out
}

// A site's numbers are its own: with one site more or fewer, or in another order, not a bit of any other
// changes. Once, of 25 sites close together on a plain jaw, none could be measured: two dim walls among
// many told what bone is. Between 74.7 and 78.5 mm stands a canine, whose crown is no crest.
func TestSitesDoNotSpoilEachOther(t *testing.T) {
	v, p, err := imaged(phantom.Options{Scan: phantom.Scan{Voxel: [3]float64{0.6, 0.6, 0.6}}}, 32, 32)
	require.NoError(t, err)
	const low, high = 62.0, 79.0
	counts := []int{25, 5, 1}
	if os.Getenv("RIDGERULE_LONG") != "" {
		counts = []int{300, 150, 25, 5, 1}
	}
	arcs := make([]float64, counts[0])
	for i := range arcs {
		arcs[i] = low + (high-low)*float64(i)/float64(len(arcs)-1)
	}
	r := rand.New(rand.NewPCG(3, 4))
	known := map[string]string{}
	for _, n := range counts {
		r.Shuffle(len(arcs), func(i, j int) { arcs[i], arcs[j] = arcs[j], arcs[i] })
		got, err := measure.RunPlan(context.Background(), v, at(p, arcs[:n]), measure.Scan{}, measure.Options{})
		require.NoError(t, err)
		require.Len(t, got.Sites, n)
		for i, s := range got.Sites {
			if arcs[i] < 73.5 {
				require.Empty(t, s.Err, s.ID)
			}
			if n == counts[0] {
				known[s.ID] = bits(s)
			}
			require.Equal(t, known[s.ID], bits(s), "%s among %d sites", s.ID, n)
		}
	}
}
