package measure_test

import (
	"context"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
)

// offset returns the plan with its whole arch moved by mm toward buccal.
func offset(p *plan.Plan, c *reformat.Curve, mm float64) *plan.Plan {
	moved := *p
	moved.Arch = nil
	for _, a := range p.Arch {
		s, _ := c.Project(a)
		moved.Arch = append(moved.Arch, r3.Add(a, r3.Scale(mm, c.Frame(s).U)))
	}
	return &moved
}

// placed returns the plan with its site at arc length arc, mm.
func placed(p *plan.Plan, arc float64) *plan.Plan {
	moved := *p
	moved.Sites = slices.Clone(p.Sites)
	moved.Sites[0].At, moved.Sites[0].ArcMM = nil, &arc
	return &moved
}

// handShares measures the site as planned and as another hand might have: the arch 1 mm to buccal
// and to lingual, the site 0.5 mm either way along it. It returns how far each width moves, as a
// share of the U that a user gets who says nothing about the hand, by depth.
func handShares(t *testing.T, name string, v *volume.Volume, p *plan.Plan) (arch, site map[float64][]float64) {
	widths := func(p *plan.Plan) map[float64]measure.Row {
		r, err := measure.RunPlan(context.Background(), v, p, measure.Scan{}, measure.Options{})
		require.NoError(t, err)
		out := map[float64]measure.Row{}
		end := math.Inf(1)
		if h, ok := r.Sites[0].Lookup("ridge_height", math.NaN()); ok && h.Value != nil && (h.To == "sinus" || h.To == "nasal_floor") {
			end = *h.Value - 1 // beside a cavity a wall is left, and no width of a ridge
		}
		for _, row := range r.Sites[0].Rows {
			if row.Quantity == "ridge_width" && *row.At < end {
				require.NotNil(t, row.Value, "%s at %g mm: %s", name, *row.At, row.Note)
				out[*row.At] = row
			}
		}
		return out
	}
	asGiven, err := p.Place(v.Grid, nil)
	require.NoError(t, err)
	curve := asGiven.Curve
	arc, _ := curve.Project(*p.Sites[0].At)
	base := widths(p)
	shares := func(plans ...*plan.Plan) map[float64][]float64 {
		out := map[float64][]float64{}
		for _, p := range plans {
			for at, row := range widths(p) {
				if _, ok := base[at]; !ok {
					continue
				}
				was, u := *base[at].Value, base[at].Budget.U()
				out[at] = append(out[at], math.Abs(*row.Value-was)/u)
				if math.Abs(*row.Value-was) > u {
					t.Logf("%s at %g mm: %.3f ± %.3f mm, then %.3f ± %.3f mm", name, at, was, u, *row.Value, row.Budget.U())
				}
			}
		}
		return out
	}
	return shares(offset(p, curve, 1), offset(p, curve, -1)), shares(placed(p, arc+0.5), placed(p, arc-0.5))
}

// Another hand draws the arch 1 mm beside this one, or sets the site 0.5 mm farther along it: widths
// move by less than their U says. A jaw of each kind; RIDGERULE_LONG draws 24 more.
//
// An arch 1 mm aside gives the same section: hardly anything may move. 0.5 mm along is 1.7 standard
// uncertainties of a hand that scatters by 0.3 mm, so that a width that only the hand makes unsure
// moves by 0.83 of its U.
func TestWidthsMoveByLessThanTheirUForAnotherHand(t *testing.T) {
	var arch, site, near []float64
	held := func(name string, v *volume.Volume, p *plan.Plan) {
		a, s := handShares(t, name, v, p)
		for at := range a {
			if at < 2 {
				near = slices.Concat(near, a[at], s[at])
				continue
			}
			arch, site = append(arch, a[at]...), append(site, s[at]...)
		}
	}
	both, err := jaws()
	require.NoError(t, err)
	for _, j := range both {
		held(j.plan.Case, j.v, j.plan)
	}
	for _, seed := range handSeeds() {
		o := phantom.Random(seed, phantom.Kind(seed%2))
		o.Scan.Voxel, o.Scan.Blur, o.Scan.Noise, o.Hand = [3]float64{0.4, 0.4, 0.4}, 0.3, 50, 0
		v, p, err := imaged(o, [2][]int{{36, 45, 42}, {16, 25, 12}}[seed%2][seed/2%3], 20)
		require.NoError(t, err)
		held(p.Case, v, p)
	}
	for _, c := range []struct {
		name   string
		shares []float64
		most   float64
	}{{"arch 1 mm aside", arch, 0.5}, {"site 0.5 mm along", site, 1}, {"either, width at 1 mm", near, 1}} {
		slices.Sort(c.shares)
		n := len(c.shares)
		t.Logf("%s: |change|/U of %d widths: median %.2f, 95 %% %.2f, most %.2f", c.name, n, c.shares[n/2], c.shares[n*95/100], c.shares[n-1])
		if c.shares[n-1] > c.most {
			t.Errorf("%s: widths move by %.2f of their U, want %.2f at most", c.name, c.shares[n-1], c.most)
		}
	}
}

// handSeeds are the random jaws: none, or 24.
func handSeeds() []uint64 {
	n := 0
	if os.Getenv("RIDGERULE_LONG") != "" {
		n = 24
	}
	seeds := make([]uint64, n)
	for i := range seeds {
		seeds[i] = 900 + uint64(i)
	}
	return seeds
}
