package ridge

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// The Fisher information of an exact image about its surface, by this file's own derivatives; its
// inverse bounds what any fit can know. docs/edges.md derives it.

// derivatives returns how the grey value at p moves with the place of the surface along its normal,
// its two slopes, three curvatures and change of curvature, the grey values outside and inside, the
// blur and, for a plate, the marrow's grey value, the thickness and its two changes along the section. A surface's change is seen
// through the same blur: x² becomes x²+σ², x³ becomes x³+3xσ².
func (o site) derivatives(p r3.Vec) []float64 {
	d, foot := o.depth(p)
	x, t, v := r3.Dot(foot, o.side), r3.Dot(foot, o.up), o.sigma*o.sigma
	z0, z1, bend := d/o.sigma, (d-o.plate)/o.sigma, 0.0
	s1, c1 := 0.0, 0.0
	switch o.body {
	case "plate":
		s1, c1 = marrow-cortex, cumul(z1)
	case "cylinder":
		bend = o.sigma / boundRadius // of σ²H by σ, for the half level moves by σ²/2R
	}
	w0, w1 := -(cortex-soft)*phi(z0)/o.sigma, -s1*phi(z1)/o.sigma
	w := w0 + w1
	j := []float64{w, w * x, w * t, w * (x*x + v) / 2, w * x * t, w * (t*t + v) / 2, w * (x*x*x + 3*x*v) / 6,
		1 - cumul(z0), cumul(z0) - c1, w0*(z0+bend) + w1*z1}
	if o.body == "plate" {
		j = append(j, c1, w1, w1*x, w1*(x*x+v)/2)
	}
	return j
}

// order names the fit's parameter for each of the derivatives.
var order = []int{pE, pSX, pST, pCXX, pCXT, pCTT, pCub, pG0, pG1, pSigma, pG2, pTau, pTauX, pTauXX}

// bound returns the Cramér–Rao bound on the SD of the surface's place along in, in mm, from the given
// voxels: with every parameter free, and with what the fit takes as known before.
func (o site) bound(voxels []r3.Vec, known []prior) (free, informed float64) {
	n := len(o.derivatives(r3.Vec{}))
	f := mat.NewSymDense(n, nil)
	for _, p := range voxels {
		f.SymRankOne(f, 1/(o.noise*o.noise), mat.NewVecDense(n, o.derivatives(p)))
	}
	free = firstSD(f) / o.lean
	for i := range n {
		for _, k := range known {
			if k.param == order[i] {
				f.SetSym(i, i, f.At(i, i)+1/(k.sd*k.sd))
			}
		}
	}
	return free, firstSD(f) / o.lean
}

// firstSD returns the SD of the first parameter with information f, in its unit: all others unknown.
func firstSD(f *mat.SymDense) float64 {
	n := f.SymmetricDim()
	var chol mat.Cholesky
	var x mat.VecDense
	one := mat.NewVecDense(n, nil)
	one.SetVec(0, 1)
	if !chol.Factorize(f) || chol.SolveVecTo(&x, one) != nil {
		return math.Inf(1)
	}
	return math.Sqrt(x.AtVec(0))
}

// cost returns the bound on the SD of the place when only the listed derivatives' parameters are
// unknown beside it, in mm.
func (o site) cost(voxels []r3.Vec, unknown ...int) float64 {
	return o.boundOf(0, voxels, unknown, nil)
}

// boundOf returns the bound on the SD of one parameter beside the unknown ones, of which some are
// known before to within an SD, in its unit.
func (o site) boundOf(which int, voxels []r3.Vec, unknown []int, known map[int]float64) float64 {
	n := 1 + len(unknown)
	f := mat.NewSymDense(n, nil)
	for _, p := range voxels {
		all := o.derivatives(p)
		j := []float64{all[which]}
		for _, k := range unknown {
			j = append(j, all[k])
		}
		f.SymRankOne(f, 1/(o.noise*o.noise), mat.NewVecDense(n, j))
	}
	for i, k := range unknown {
		if sd := known[k]; sd > 0 {
			f.SetSym(i+1, i+1, f.At(i+1, i+1)+1/(sd*sd))
		}
	}
	return firstSD(f)
}
