package trace

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// line is a smoothed row of numbers along the path, with the variance of each.
type line struct{ value, variance []float64 }

// smoothLine returns the most probable smooth row through observations obs with variances v
// (+Inf: not observed), step mm apart: a natural cubic smoothing spline in the discrete form,
// second differences d being normal with variance bend·step³.
//
//	minimise Σ (x−obs)²/v + Σ (x[i−1] − 2x[i] + x[i+1])²/(bend·step³)
//
// The penalty comes from how canals bend, not from a wish for smoothness, so firm observations
// keep their curve; the variances are the diagonal of the inverse.
//
// Source: Wahba G. J R Stat Soc B 1978;40:364–372 (from memory).
func smoothLine(obs, v []float64, step, bend float64) (line, bool) {
	n := len(obs)
	a, b := mat.NewSymBandDense(n, min(2, n-1), nil), mat.NewVecDense(n, nil)
	for i := range obs {
		if w := 1 / v[i]; w > 0 {
			a.SetSymBand(i, i, w)
			b.SetVec(i, w*obs[i])
		}
	}
	w := 1 / (bend * step * step * step)
	for i := 1; i < n-1; i++ {
		for p, cp := range [3]float64{1, -2, 1} {
			for q := p; q < 3; q++ {
				at, to := i-1+p, i-1+q
				a.SetSymBand(at, to, a.At(at, to)+w*cp*[3]float64{1, -2, 1}[q])
			}
		}
	}
	return solveLine(a, b)
}

func solveLine(a *mat.SymBandDense, b *mat.VecDense) (line, bool) {
	n := b.Len()
	var chol mat.BandCholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
		return line{}, false
	}
	l := line{value: x.RawVector().Data, variance: make([]float64, n)}
	e := mat.NewVecDense(n, nil)
	var col mat.VecDense
	for i := range n { // n solves of a narrow band: n² numbers, n is a few hundred
		e.Zero()
		e.SetVec(i, 1)
		if chol.SolveVecTo(&col, e) != nil {
			return line{}, false
		}
		l.variance[i] = math.Max(col.AtVec(i), 0)
	}
	return l, true
}
