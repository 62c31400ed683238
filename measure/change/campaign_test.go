package change

import (
	"bytes"
	"context"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// drawnVisits draws a lower jaw and its second visit at random: voxels of 0.3 to 0.4 mm, noise of about 100, nothing or 0.3 to
// 1.5 mm of the crest lost at a site; and aligns the two by their scans.
func drawnVisits(t *testing.T, seed uint64) (*visited, align.File) {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 0xc4a9))
	in := func(low, high float64) float64 { return low + (high-low)*r.Float64() }
	o := phantom.Random(seed, phantom.Mandible)
	v, w := in(0.3, 0.4), in(0.3, 0.4)
	o.Scan = phantom.Scan{Voxel: [3]float64{v, v, v}, Blur: in(0.2, 0.3), Noise: in(70, 130)}
	o.Hand, o.Shape.Variation = 0, max(0.3, o.Shape.Variation)
	j, err := phantom.New(o)
	require.NoError(t, err)
	visit := phantom.Visit{Turn: r3.Vec{X: in(-6, 6), Y: in(-6, 6), Z: in(-6, 6)}, Shift: r3.Vec{X: in(-5, 5), Y: in(-5, 5), Z: in(-5, 5)},
		Scan: phantom.Scan{Voxel: [3]float64{w, w, w}, Blur: in(0.2, 0.35), Noise: in(70, 130), Seed: seed + 1000}}
	for i, s := range j.Plan().Sites {
		if i%2 == 0 {
			visit.Changes = append(visit.Changes, phantom.Change{Tooth: s.Tooth, Crest: in(0.3, 1.5)})
		}
	}
	out := &visited{jaw: j}
	out.again, err = j.Again(visit)
	require.NoError(t, err)
	out.before.Volume, err = j.Volume(context.Background(), nil)
	require.NoError(t, err)
	out.after.Volume, err = out.again.Volume(context.Background(), nil)
	require.NoError(t, err)
	out.before.Facts, out.after.Facts = measure.Scan{SeriesHash: "a"}, measure.Scan{SeriesHash: "b"}
	var b bytes.Buffer
	require.NoError(t, j.Plan().Write(&b))
	out.plan, _, err = plan.Read("plan.yaml", b.Bytes(), nil)
	require.NoError(t, err)
	fit, err := align.Scans(context.Background(), out.before.Volume, out.after.Volume, align.ScanOptions{Keep: align.Basal(j.Plan().Arch, r3.Vec{Z: 1}, nil)})
	require.NoError(t, err)
	f, err := out.trueAlignment()
	require.NoError(t, err)
	f.Transform = fit.Transform
	return out, f
}

// Held-out jaws: whether unchanged crests show no change, and whether lost ones are told within U. As many jaws as RIDGERULE_LONG
// says (half a minute each), from RIDGERULE_SEED on:
//
//	RIDGERULE_LONG=30 RIDGERULE_SEED=7000 go test -run HeldOutChanges -v -timeout 2h ./measure/change
func TestHeldOutChanges(t *testing.T) {
	jaws, err := strconv.Atoi(os.Getenv("RIDGERULE_LONG"))
	if err != nil || jaws < 1 {
		t.Skip("half a minute a jaw; set RIDGERULE_LONG to how many")
	}
	from, err := strconv.ParseUint(os.Getenv("RIDGERULE_SEED"), 10, 64)
	if err != nil {
		from = 7000
	}
	still, quiet, held, shown, large := 0, 0, 0, 0, 0
	bias, scatter, claimed, n := 0.0, 0.0, 0.0, 0.0
	for seed := from; seed < from+uint64(jaws); seed++ {
		v, f := drawnVisits(t, seed)
		r := compared(t, v, f)
		for i, s := range r.Sites {
			if s.Err != "" {
				t.Logf("seed %d, %s: %s", seed, s.ID, s.Err)
				continue
			}
			row := rowOf(t, s, CrestLevel, math.NaN())
			truth := v.lost(t, r, i)
			e := row.Change.Value - truth
			bias, scatter, claimed = bias+e, scatter+e*e, claimed+row.Change.Std()*row.Change.Std()
			if math.Abs(e) <= row.Change.U() {
				held++
			}
			n++
			height := rowOf(t, s, quantity.RidgeHeight, math.NaN())
			if truth == 0 {
				for _, x := range []Shown{row.Shown, height.Shown} {
					if x != NoNumber {
						still++
					}
					if x == NoChange {
						quiet++
					}
				}
				continue
			}
			if truth >= 2*row.Change.U() {
				large++
				if row.Shown == Change {
					shown++
				}
			}
		}
	}
	t.Logf("%.0f crests: bias %+.3f mm, error %.3f mm RMS, u %.3f, within U in %d; no change shown in %d of %d unchanged numbers; shown in %d of %d losses of 2 U and more",
		n, bias/n, math.Sqrt(scatter/n), math.Sqrt(claimed/n), held, quiet, still, shown, large)
	require.LessOrEqual(t, math.Abs(bias/n), 0.03)
	if jaws < 20 {
		return // too few to tell shares
	}
	require.GreaterOrEqual(t, float64(quiet), 0.93*float64(still))
	require.GreaterOrEqual(t, float64(shown), 0.95*float64(large))
}

// lost is how far the shape's own crest lies lower at the i-th site, along the axis measured in the first scan, mm; 0 to a
// thousandth.
func (v *visited) lost(t *testing.T, r *Result, i int) float64 {
	t.Helper()
	before := r.Before.Sites[i]
	axis, near := before.Frame.Direction(before.Axis), before.Frame.Patient(before.Crest)
	sec, _ := v.jaw.SectionAt(v.jaw.Plan().Sites[i].At)
	was, _, err := v.jaw.Limits(sec, near, axis)
	require.NoError(t, err)
	is, _, err := v.again.Limits(sec, near, axis)
	require.NoError(t, err)
	return math.Round(1000*r3.Dot(r3.Sub(is, was), axis)) / 1000
}
