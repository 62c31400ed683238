package align

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// How well the optimum is known. The points are grouped in bricks, because what disturbs one point (a streak, lost bone, a
// grey that drifts) disturbs its neighbours too. With g the slope of one brick and H the second derivative of the whole,
//
//	cov = H⁻¹ · G/(G−1)·Σ g·gᵀ · H⁻¹
//
// Source: White H. Econometrica 1982;50:1–25. doi:10.2307/1912526; Liang KY, Zeger SL. Biometrika 1986;73:13–22.
// doi:10.1093/biomet/73.1.13 (from memory).

// commonError is what all bricks may share, standard, of the larger voxel, as a shift and as a turn that moves a point half a jaw
// away by as much: greys that drift across the field, another blur, interpolation. Our choice, after the first pairs of
// docs/alignment.md, whose error the bricks alone told as half to two thirds of what it was.
const commonError = 0.02

// uncertain fills in the uncertainty of the fit at m, and the check of size.
func (n *information) uncertain(m motion, fit *ScanFit) error {
	curve := n.curvature(m)
	inner := mat.NewDense(size, size, nil)
	inner.Copy(curve)
	cov, err := n.covariance(m, inner)
	if err != nil {
		return err
	}
	s := &Spread{Centre: m.to}
	for i := range size {
		for j := range size {
			s.Cov[i][j] = (cov.At(i, j) + cov.At(j, i)) / 2
		}
	}
	for q := range shiftX {
		s.Cov[turnX+q][turnX+q] += square(n.floor / lever)
		s.Cov[shiftX+q][shiftX+q] += square(n.floor)
	}
	if err := n.size(m, fit); err != nil {
		return err
	}
	along, err := withSize(curve)
	if err != nil {
		return err
	}
	for i := range params {
		for j := range params {
			s.Cov[i][j] += (square(fit.Size) + square(fit.SizeStd)) * along[i] * along[j]
		}
	}
	fit.Spread = s
	return nil
}

// withSize returns by how much each parameter is off for each part by which the second scan is larger, which is not applied: the
// size by −1, and the rest by what brings a body of the wrong size best onto the other, which needs not lie about its middle,
//
//	δ = H⁻¹·h, H the second derivatives by turn and shift, h those by them and the size
func withSize(curve *mat.Dense) (out [params]float64, err error) {
	var rest mat.VecDense
	if rest.SolveVec(curve.Slice(0, size, 0, size), curve.Slice(0, size, size, params).(*mat.Dense).ColView(0)) != nil {
		return out, errLoose
	}
	for i := range size {
		out[i] = rest.AtVec(i)
	}
	out[size] = -1
	return out, nil
}

// size fits the size as a seventh parameter, from m on, and its uncertainty.
func (n *information) size(m motion, fit *ScanFit) error {
	grown, _ := n.climb(m, params)
	cov, err := n.covariance(grown, n.curvature(grown))
	if err != nil {
		return err
	}
	fit.Size, fit.SizeStd = grown.grow-1, math.Sqrt(max(0, cov.At(size, size)))
	return nil
}

// errLoose is the fault of bone along which a motion changes nothing.
var errLoose error = &Refusal{"the bone the two scans share does not hold a transform: along some motion nothing changes", "widen the mask, or use scans that share more"}

// covariance returns that of the first parameters at m, as many as the second derivatives curve has.
func (n *information) covariance(m motion, curve *mat.Dense) (*mat.Dense, error) {
	var inverse, cov mat.Dense
	if inverse.Inverse(curve) != nil {
		return nil, errLoose
	}
	_, by := n.at(m)
	k, _ := curve.Dims()
	cov.Product(&inverse, by.scatter(k), inverse.T())
	return &cov, nil
}

// scatter returns G/(G−1)·Σ (g−ḡ)·(g−ḡ)ᵀ of the first k parameters.
func (s slopes) scatter(k int) *mat.Dense {
	out := mat.NewDense(k, k, nil)
	count := 0.0
	for b := range s {
		if s[b] != ([params]float64{}) {
			count++
		}
	}
	mean := s.sum()
	for b := range s {
		if s[b] == ([params]float64{}) {
			continue
		}
		for i := range k {
			for j := range k {
				out.Set(i, j, out.At(i, j)+(s[b][i]-mean[i]/count)*(s[b][j]-mean[j]/count)*count/max(1, count-1))
			}
		}
	}
	return out
}

// curvature returns the second derivatives of the mutual information at m by the seven parameters, of central differences
// of its slope.
func (n *information) curvature(m motion) *mat.Dense {
	const step = 0.05 // mm at the lever; our choice: below an edge's blur, above the steps of single points
	out := mat.NewDense(params, params, nil)
	for q := range params {
		var by [params]float64
		by[q] = step / leverOf[q]
		_, up := n.at(m.after(by))
		by[q] = -by[q]
		_, down := n.at(m.after(by))
		a, b := up.sum(), down.sum()
		for i := range params {
			out.Set(i, q, (a[i]-b[i])/(2*step/leverOf[q]))
		}
	}
	for i := range params {
		for j := range i {
			both := (out.At(i, j) + out.At(j, i)) / 2
			out.Set(i, j, both)
			out.Set(j, i, both)
		}
	}
	return out
}
