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
// by Simpson's rule over ±5σ, split at the shape's ends. It keeps the rows of the last v, which a raster asks for all along it:
// not for two at once.
func (s shape) blurred(sigma float64) func(p reformat.UV) float64 {
	const n = 40
	type row struct{ lo, hi, weight float64 }
	var rows [n + 1]row
	last := math.NaN()
	at := func(v float64) {
		last, rows = v, [n + 1]row{}
		a, b := math.Max(s.base, v-5*sigma), math.Min(s.top, v+5*sigma)
		if a >= b {
			return
		}
		h := (b - a) / n
		for i := range rows {
			w := a + float64(i)*h
			weight := math.Exp(-(v-w)*(v-w)/(2*sigma*sigma)) / (sigma * math.Sqrt(2*math.Pi)) * h / 3
			switch {
			case i == 0 || i == n:
			case i%2 == 1:
				weight *= 4
			default:
				weight *= 2
			}
			lo, hi := s.row(w)
			rows[i] = row{lo, hi, weight}
		}
	}
	scale := 1 / (sigma * math.Sqrt2)
	return func(p reformat.UV) (sum float64) {
		if p.V != last {
			at(p.V)
		}
		before, across := row{lo: math.NaN()}, 0.0
		for _, r := range rows {
			if r.lo != before.lo || r.hi != before.hi { // upright walls are the same in every row
				before, across = r, 0.5*(erfc((r.lo-p.U)*scale)-erfc((r.hi-p.U)*scale))
			}
			sum += r.weight * across
		}
		return sum
	}
}

// erfc is math.Erfc, which is within 1e-16 of its ends past 6.
func erfc(x float64) float64 {
	switch {
	case x > 6:
		return 0
	case x < -6:
		return 2
	}
	return math.Erfc(x)
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
