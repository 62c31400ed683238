package trace

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// symmetric is a symmetric 3×3 matrix, here the second derivatives of grey value.
type symmetric struct{ xx, yy, zz, xy, xz, yz float64 }

// eigenvalues returns the eigenvalues by rising magnitude.
//
// Source: Smith OK. Commun ACM 1961;4:168. doi:10.1145/355578.366316 (from memory).
func (h symmetric) eigenvalues() [3]float64 {
	mean := (h.xx + h.yy + h.zz) / 3
	a, b, c := h.xx-mean, h.yy-mean, h.zz-mean
	p := math.Sqrt((a*a + b*b + c*c + 2*(h.xy*h.xy+h.xz*h.xz+h.yz*h.yz)) / 6)
	if p == 0 {
		return [3]float64{mean, mean, mean}
	}
	det := a*(b*c-h.yz*h.yz) - h.xy*(h.xy*c-h.yz*h.xz) + h.xz*(h.xy*h.yz-b*h.xz)
	phi := math.Acos(min(1, max(-1, det/(2*p*p*p)))) / 3
	hi := mean + 2*p*math.Cos(phi)
	lo := mean + 2*p*math.Cos(phi+2*math.Pi/3)
	return byMagnitude(lo, 3*mean-hi-lo, hi)
}

func byMagnitude(a, b, c float64) [3]float64 {
	if math.Abs(a) > math.Abs(b) {
		a, b = b, a
	}
	if math.Abs(b) > math.Abs(c) {
		b, c = c, b
	}
	if math.Abs(a) > math.Abs(b) {
		a, b = b, a
	}
	return [3]float64{a, b, c}
}

// eigenvector returns the unit eigenvector of eigenvalue l, or the first axis where l is not
// a single eigenvalue. Two rows of h − l span the plane across it.
func (h symmetric) eigenvector(l float64) r3.Vec {
	r := [3]r3.Vec{{X: h.xx - l, Y: h.xy, Z: h.xz}, {X: h.xy, Y: h.yy - l, Z: h.yz}, {X: h.xz, Y: h.yz, Z: h.zz - l}}
	best, size := r3.Vec{X: 1}, 0.0
	for i := range r {
		if c := r3.Cross(r[i], r[(i+1)%3]); r3.Norm2(c) > size {
			best, size = c, r3.Norm2(c)
		}
	}
	return r3.Unit(best)
}

// frangi returns how much second derivatives with eigenvalues l (by rising magnitude) are those
// of a dark tube, from 0 to 1 without unit:
//
//	V = (1 − exp(−RA²/2α²)) · exp(−RB²/2β²) · (1 − exp(−S²/2c²)),  α = β = 0.5
//	RA = |λ2|/|λ3|,  RB = |λ1|/√|λ2·λ3|,  S = √(λ1² + λ2² + λ3²)
//
// and 0 unless λ2 and λ3 are positive: grey value rises on leaving a dark tube.
//
// Source: Frangi AF, Niessen WJ, Vincken KL, Viergever MA. MICCAI 1998, LNCS 1496:130–137.
// doi:10.1007/BFb0056195 (from memory).
func frangi(l [3]float64, c float64) float64 {
	if !(l[1] > 0 && l[2] > 0) {
		return 0
	}
	ra2 := l[1] * l[1] / (l[2] * l[2])
	rb2 := l[0] * l[0] / (l[1] * l[2])
	s2 := l[0]*l[0] + l[1]*l[1] + l[2]*l[2]
	return (1 - math.Exp(-2*ra2)) * math.Exp(-2*rb2) * (1 - math.Exp(-s2/(2*c*c)))
}
