package propose

import (
	"math"
	"slices"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Robust fits: a smooth curve through what the sections say, and the plane of the crest.

const (
	fitRounds = 8
	tukey     = 4.685 // of the residuals' spread, beyond which a value counts nothing
)

// smooth returns the sequence z that is near y and has small second differences:
//
//	Σ wᵢ·bᵢ·(yᵢ−zᵢ)² + stiff·Σ (zᵢ₋₁−2zᵢ+zᵢ₊₁)²
//
// with biweights b that take outliers away. Weight 0 is a value not seen. A value over z counts over times as much as
// one under it: 1 where errors have no side.
//
// Source: Whittaker ET. Proc Edinburgh Math Soc 1923;41:63–75 (from memory); biweights: Beaton AE, Tukey JW.
// Technometrics 1974;16:147–185 (from memory); values over and under z: Newey WK, Powell JL. Econometrica
// 1987;55:819–847 (from memory).
func smooth(y, weight []float64, stiff, over float64) []float64 {
	n := len(y)
	known := 0
	for _, w := range weight {
		if w > 0 {
			known++
		}
	}
	if known < 3 || n < 3 {
		return slices.Clone(y)
	}
	b := make([]float64, n)
	for i := range b {
		b[i] = 1
	}
	z := slices.Clone(y)
	for range fitRounds {
		x, ok := solve(y, weight, b, stiff)
		if !ok {
			return z
		}
		var off []float64
		for i := range z {
			z[i] = x[i]
			if weight[i] > 0 {
				off = append(off, math.Abs(y[i]-z[i]))
			}
		}
		scale := math.Max(0.2, fit.MADToSD*fit.Quantile(off, 0.5)) // mm: finer than this the sections do not tell
		for i := range b {
			if b[i] = biweight((y[i] - z[i]) / scale); y[i] > z[i] {
				b[i] *= over
			}
		}
	}
	return z
}

// solve returns the sequence for given biweights.
func solve(y, weight, biweights []float64, stiff float64) ([]float64, bool) {
	n := len(y)
	a, r := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for i := range n {
		w := weight[i] * biweights[i]
		a.SetSym(i, i, w+1e-9)
		r.SetVec(i, w*y[i])
	}
	d := [3]float64{1, -2, 1}
	for i := 1; i < n-1; i++ {
		for p := range 3 {
			for q := p; q < 3; q++ {
				a.SetSym(i-1+p, i-1+q, a.At(i-1+p, i-1+q)+stiff*d[p]*d[q])
			}
		}
	}
	var ch mat.Cholesky
	var x mat.VecDense
	if !ch.Factorize(a) || ch.SolveVecTo(&x, r) != nil {
		return nil, false
	}
	return x.RawVector().Data, true
}

func biweight(r float64) float64 {
	if r = r / tukey; math.Abs(r) >= 1 {
		return 0
	}
	return (1 - r*r) * (1 - r*r)
}

// planeOf returns the unit normal, on the side of up, of the plane that lies nearest to the points along up,
// outliers taken away, and the median of their distances from it, mm.
func planeOf(points []r3.Vec, up r3.Vec) (normal r3.Vec, spread float64) {
	e := r3.Unit(r3.Cross(up, r3.Vec{X: 0.3, Y: 0.9, Z: 0.2}))
	f := r3.Cross(up, e)
	o := points[len(points)/2]
	b := make([]float64, len(points))
	for i := range b {
		b[i] = 1
	}
	normal = up
	for range fitRounds {
		a, r := mat.NewSymDense(3, []float64{1e-6, 0, 0, 0, 1e-6, 0, 0, 0, 1e-6}), mat.NewVecDense(3, nil)
		for i, p := range points {
			d := r3.Sub(p, o)
			x := [3]float64{1, r3.Dot(d, e), r3.Dot(d, f)}
			for m := range 3 {
				r.SetVec(m, r.AtVec(m)+b[i]*x[m]*r3.Dot(d, up))
				for n := m; n < 3; n++ {
					a.SetSym(m, n, a.At(m, n)+b[i]*x[m]*x[n])
				}
			}
		}
		var ch mat.Cholesky
		var x mat.VecDense
		if !ch.Factorize(a) || ch.SolveVecTo(&x, r) != nil {
			return normal, math.Inf(1)
		}
		normal = r3.Unit(r3.Sub(up, r3.Add(r3.Scale(x.AtVec(1), e), r3.Scale(x.AtVec(2), f))))
		off, all := make([]float64, len(points)), make([]float64, len(points))
		for i, p := range points {
			d := r3.Sub(p, o)
			off[i] = r3.Dot(d, up) - x.AtVec(0) - x.AtVec(1)*r3.Dot(d, e) - x.AtVec(2)*r3.Dot(d, f)
			all[i] = math.Abs(off[i])
		}
		spread = fit.Quantile(all, 0.5)
		for i := range b {
			b[i] = biweight(off[i] / math.Max(0.5, fit.MADToSD*spread))
		}
	}
	return normal, spread
}
