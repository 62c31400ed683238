package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// shape is a region of the section whose every row is one stretch lo(v) < u < hi(v).
type shape struct {
	base, top float64 // rows, mm
	row       func(v float64) (lo, hi float64)
}

// blurred returns the grey profile of the shape with grey value 1, blurred by sigma:
//
//	∫ φ((v−w)/σ)/σ·[Φ((u−lo(w))/σ) − Φ((u−hi(w))/σ)] dw
//
// by Simpson's rule over ±5σ, split at the shape's ends.
func (s shape) blurred(sigma float64) func(p reformat.UV) float64 {
	return func(p reformat.UV) float64 {
		a, b := math.Max(s.base, p.V-5*sigma), math.Min(s.top, p.V+5*sigma)
		if a >= b {
			return 0
		}
		const n = 40
		h, sum := (b-a)/n, 0.0
		for i := range n + 1 {
			w := a + float64(i)*h
			lo, hi := s.row(w)
			f := math.Exp(-(p.V-w)*(p.V-w)/(2*sigma*sigma)) / (sigma * math.Sqrt(2*math.Pi))
			f *= 0.5 * (math.Erfc((lo-p.U)/sigma/math.Sqrt2) - math.Erfc((hi-p.U)/sigma/math.Sqrt2))
			switch {
			case i == 0 || i == n:
			case i%2 == 1:
				f *= 4
			default:
				f *= 2
			}
			sum += f
		}
		return sum * h / 3
	}
}

// stadium is a ridge with a half-round crest of radius r whose top lies at v = 0, upright walls
// and a half-round base at v = −height.
func stadium(r, height float64) shape {
	return shape{-height, 0, func(v float64) (lo, hi float64) {
		half := r
		if v > -r {
			half = math.Sqrt(math.Max(0, r*r-(v+r)*(v+r)))
		} else if v < r-height {
			half = math.Sqrt(math.Max(0, r*r-(v+height-r)*(v+height-r)))
		}
		return -half, half
	}}
}
