package trace

import "math"

// disc holds D(ρ, r): the value at distance ρ from the centre of a disc of radius r, 1 inside
// and 0 outside, blurred by a Gaussian of sigma; and its slopes in ρ and r. There is no closed
// form, so it is a table over ρ and r, read linearly.
//
//	D(ρ, r) = ∫ φ(y/σ)/σ · [Φ((h−ρ)/σ) − Φ((−h−ρ)/σ)] dy,  h = √(r²−y²),  |y| ≤ r
type disc struct {
	sigma float64 // mm
	value []float64
}

const (
	discStep = 0.05 // mm; linear reading errs by less than 0.004 at sigma 0.2 mm
	discFar  = 4.6  // largest ρ, mm
	discR    = 3.6  // largest r, mm
	discCols = int(discFar/discStep) + 2
	discRows = int(discR/discStep) + 2
)

func newDisc(sigma float64) *disc {
	d := &disc{sigma: sigma, value: make([]float64, discCols*discRows)}
	for row := range discRows {
		for col := range discCols {
			d.value[row*discCols+col] = discValue(float64(col)*discStep, float64(row)*discStep, sigma)
		}
	}
	return d
}

// discValue integrates over y = r·sin θ by the midpoint rule; the integrand is smooth and
// vanishes with its slopes at both ends, so few points do.
func discValue(rho, r, sigma float64) float64 {
	const points, far = 16, 5.0 // on the half circle; the other half is its mirror
	switch {
	case rho > r+far*sigma:
		return 0
	case rho < r-far*sigma:
		return 1
	}
	sum := 0.0
	for i := range points {
		theta := math.Pi / 2 * (float64(i) + 0.5) / points
		y, h := r*math.Sin(theta), r*math.Cos(theta)
		if math.Abs(y) > far*sigma {
			continue
		}
		sum += math.Exp(-y*y/(2*sigma*sigma)) * (normal((h-rho)/sigma) - normal((-h-rho)/sigma)) * h
	}
	return sum * math.Pi / points / (sigma * math.Sqrt(2*math.Pi))
}

// normal returns the standard normal distribution function, a probability without unit.
func normal(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// at returns D (without unit) and its slopes in ρ and r (per mm).
func (d *disc) at(rho, r float64) (v, dRho, dR float64) {
	x := min(max(rho, 0), discFar) / discStep
	y := min(max(r, 0), discR) / discStep
	i, j := int(x), int(y)
	fx, fy := x-float64(i), y-float64(j)
	t := d.value[j*discCols+i:]
	a, b, c, e := t[0], t[1], t[discCols], t[discCols+1]
	lo, hi := a+fx*(b-a), c+fx*(e-c)
	return lo + fy*(hi-lo), ((b - a) + fy*((e-c)-(b-a))) / discStep, (hi - lo) / discStep
}
