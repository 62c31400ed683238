package ridge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// small is a fit of a few hundred voxels of a plane edge, 9 × 8 × 7 of a larger grid, with white noise of 40.
func small() (*SurfacePatch, *layerFit, [3]int) {
	strides := [3]int{1, 20, 400}
	p := params{pSigma: 0.3, pG0: soft, pG1: cortex, pTau: beyondReach, pGamma: beyondReach, pG2: cortex, pGA: soft}
	r := rand.New(rand.NewPCG(5, 6))
	w := &SurfacePatch{p: p, noise: 40, active: []int{pE, pG0, pG1}}
	for v := range 9 * 8 * 7 {
		g := reformat.VoxelSample{N: 0.2 * float64(v%9-4), X: 0.2 * float64(v/9%8-4), T: 0.2 * float64(v/72-3), Voxel: v%9 + 20*(v/9%8) + 400*(v/72)}
		g.Grey = p.grey(g, p.bends()) + 40*r.NormFloat64()
		w.seen = append(w.seen, g)
	}
	return w, &layerFit{samples: w.seen, active: w.active, noise: 40}, strides
}

// What correlated noise adds to a covariance, against the definition, pair by pair (JCGM 100, equation 13): A⁻¹·ΣΣ ρᵢⱼ·Jᵢ·Jⱼᵀ/s²·A⁻¹ over i ≠ j.
func TestCovarianceOfCorrelatedNoise(t *testing.T) {
	w, fit, strides := small()
	c := correlation{{1, 0.5, 0.2}, {1, 0.3}, {1, 0.1}}
	rows := fit.derivatives(&w.p)
	n := len(w.active)
	var normal, cov mat.Dense
	normal.Mul(rows.T(), rows)
	require.NoError(t, cov.Inverse(&normal))
	sym := mat.NewSymDense(n, nil)
	for i := range n {
		for k := i; k < n; k++ {
			sym.SetSym(i, k, cov.At(i, k))
		}
	}
	pairs := mat.NewDense(n, n, nil)
	for i, a := range w.seen {
		for k, b := range w.seen {
			d := [3]int{abs(a.Voxel%20 - b.Voxel%20), abs(a.Voxel/20%20 - b.Voxel/20%20), abs(a.Voxel/400 - b.Voxel/400)}
			if i == k || max(d[0], d[1], d[2]) > lagMost {
				continue
			}
			rho := c[0][d[0]] * c[1][d[1]] * c[2][d[2]]
			if rho < 0.02 {
				continue
			}
			for x := range n {
				for y := range n {
					pairs.Set(x, y, pairs.At(x, y)+rho*rows.At(i, x)*rows.At(k, y))
				}
			}
		}
	}
	var half, want mat.Dense
	half.Mul(sym, pairs)
	want.Mul(&half, sym)
	got := fit.excess(&w.p, sym, c, strides)
	for x := range n {
		for y := range n {
			scale := math.Sqrt(sym.At(x, x) * sym.At(y, y))
			require.InDelta(t, want.At(x, y)/scale, got.At(x, y)/scale, 1e-9, "%d, %d", x, y)
			require.InDelta(t, got.At(x, y), got.At(y, x), 1e-12)
		}
	}
	require.Nil(t, fit.excess(&w.p, sym, correlation{{1}, {1}, {1}}, strides))
}

// The sums of residuals' products, by going through all pairs: of a wall whose residuals are white, each held to three standard deviations.
func TestSumsOfResiduals(t *testing.T) {
	w, _, strides := small()
	w.seen[100].Grey += 4000 // held to 120
	var steps [3][lagMost + 1]int
	for a, stride := range strides {
		steps[a] = [lagMost + 1]int{stride, 2 * stride, 3 * stride, 4 * stride}
	}
	l := w.residualLags(steps)
	held := func(v int) float64 {
		return math.Max(-120, math.Min(120, w.seen[v].Grey-w.p.grey(w.seen[v], w.p.bends())))
	}
	power := 0.0
	for v := range w.seen {
		power += held(v) * held(v)
	}
	require.InDelta(t, power, l.power, 1e-6*power)
	require.InDelta(t, float64(len(w.seen)), l.n, 0)
	for a := range steps {
		for d, step := range steps[a] {
			product, count := 0.0, 0.0
			for v, g := range w.seen {
				for k, other := range w.seen {
					if other.Voxel-g.Voxel == step {
						product, count = product+held(v)*held(k), count+1
					}
				}
			}
			require.InDelta(t, product, l.product[a][d], 1e-6*power)
			require.InDelta(t, count, l.count[a][d], 0)
		}
	}
	require.Equal(t, 120.0, held(100))
	// Voxels that are not there have no pair.
	gone := *w
	gone.seen = append(append([]reformat.VoxelSample{}, w.seen[:50]...), w.seen[60:]...)
	require.InDelta(t, float64(8*8*7-4-6), gone.residualLags(steps).count[0][0], 0, "the last four of a row have four pairs, the first six of the next have six")
}

// Trabeculae: what the grey values behind the plate scatter beyond the noise, √(s² − noise²), of the voxels past the blurred inner edge.
func TestTextureBehindThePlate(t *testing.T) {
	p := params{pSigma: 0.2, pG0: soft, pG1: cortex, pG2: marrow, pTau: 1, pGamma: beyondReach, pGA: soft}
	w := &SurfacePatch{p: p, plate: true, noise: 30}
	for i := range 400 {
		g := reformat.VoxelSample{N: -1 + 0.01*float64(i)}
		off := 100.0
		if i%2 == 0 {
			off = -100
		}
		if g.N <= 1.3 { // the plate, and 1.5 sigma past it
			off *= 9
		}
		g.Grey = p.grey(g, p.bends()) + off
		w.seen = append(w.seen, g)
	}
	want := math.Sqrt(math.Pow(100/0.6745, 2) - 30*30)
	require.InDelta(t, want, w.texture(ImageModel{}), 0.05)
	quiet := ImageModel{Edges: 9, Noise: 10}
	require.InDelta(t, math.Sqrt(math.Pow(100/0.6745, 2)-10*10), w.texture(quiet), 0.05, "the series' noise where it is less")
	w.plate = false
	require.Zero(t, w.texture(quiet))
}

// The axis of a ridge between upright walls turns back to them by just the angle that it is off, for the line through the middles stands still.
func TestAxisSettlesOnUprightWalls(t *testing.T) {
	o, a := trace(t, around(20, 0.3, 10).field(t, ridgeOf(20)))
	a.Crest, a.crestWall = a.At(2), nil
	for _, off := range []float64{-0.06, 0.03, 0.1} {
		b := a
		b.Dir = turnBy(a.Dir, off)
		m := o.middles(b)
		require.GreaterOrEqual(t, len(m.at), 4)
		b.pivot = mean(m.at)
		turn, pull := o.settle(b, m)
		require.InDelta(t, -off, turn, 0.01)
		require.InDelta(t, 1, pull, 0.1)
	}
}
