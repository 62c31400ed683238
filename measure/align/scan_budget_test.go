package align

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A body that is seen s too large, and may only be turned and shifted, comes to lie with its points' centroid on their own, wherever the
// parameters' centre is: for points of equal weight the shift is the centroid's place and no turn. Where they stand on the
// centroid the size then moves nothing.
func TestWrongSizeIsFittedAboutTheCentroid(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	curve := mat.NewDense(params, params, nil)
	var centroid r3.Vec
	const n = 500
	for range n {
		p := r3.Vec{X: 12 + 30*r.NormFloat64(), Y: -7 + 20*r.NormFloat64(), Z: 4 + 5*r.NormFloat64()}
		centroid = r3.Add(centroid, r3.Scale(1.0/n, p))
		for _, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} { // −(e·δ(p))², as the mutual information falls
			w := r3.Cross(p, e)
			row := mat.NewVecDense(params, []float64{w.X, w.Y, w.Z, e.X, e.Y, e.Z, r3.Dot(p, e)})
			curve.RankOne(curve, -1, row, row)
		}
	}
	got, err := withSize(curve)
	require.NoError(t, err)
	for i, want := range [params]float64{0, 0, 0, centroid.X, centroid.Y, centroid.Z, -1} {
		require.InDelta(t, want, got[i], 1e-9, "parameter %d", i)
	}
	s := &Spread{}
	for i := range params {
		for j := range params {
			s.Cov[i][j] = 0.004 * 0.004 * got[i] * got[j]
		}
	}
	require.InDelta(t, 0, s.along(centroid, r3.Vec{X: 1}), 1e-9)
	require.InDelta(t, 0.04, s.along(r3.Add(centroid, r3.Vec{X: 10}), r3.Vec{X: 1}), 1e-9)
}

// Greys that have nothing to do with each other say nothing: 500 pairs counted in 32 × 32 steps say half a nat and more by chance alone,
// in wider steps next to nothing, so that places with few points in common are not preferred.
func TestFewPointsSayNothingByChance(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var h joint
	const n = 500
	for range n {
		h[r.IntN(bins)][margins+r.IntN(bins)]++
	}
	fine, _ := h.logs(n)
	rough, _ := h.wider(pooled).logs(n)
	require.Greater(t, fine, 0.5)
	require.Less(t, rough, 0.05)
}
