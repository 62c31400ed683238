package trace

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// model is the picture of a canal in a section, eleven numbers: a dark disc of radius r in
// surroundings that may rise to one side or to two opposite sides (a plate of cortex beside
// it, or one on each side), with a brighter wall of thickness t between, blurred.
//
//	I = inside·D(ρ,r) + out(x,y)·[1 − D(ρ,r)] + wall·[D(ρ,r+t) − D(ρ,r)]
//	out(x,y) = out + gx·x + gy·y + p·(x²−y²)/q + s·2xy/q,  q = max(1 mm, √(x²+y²))
//	ρ = distance from (x, y);  wall = how much brighter than marrow, 0 for a canal without
type model [params]float64

const (
	mx, my, mr    = 0, 1, 2 // centre and radius, mm
	mInside, mOut = 3, 4    // grey values
	mGX, mGY      = 5, 6    // grey values a mm
	mWall, mThick = 7, 8    // grey values; mm
	mP, mS        = 9, 10   // grey values a mm
	params        = 11
)

const (
	smallest, largest = 0.5, 3.0 // radius, mm
	thinnest, thick   = 0.1, 1.2 // wall, mm
	fitSteps          = 12
	rim               = 0.9 // mm beyond the wall that the fit still looks at; farther off is other anatomy
)

type slopes [params]float64

// at returns the model's grey value at (x, y) and fills slope with its derivatives.
func (m *model) at(d *disc, x, y float64, slope *slopes) float64 {
	dx, dy := x-m[mx], y-m[my]
	rho := math.Hypot(dx, dy)
	d1, d1rho, d1r := d.at(rho, m[mr])
	d2, d2rho, d2r := d.at(rho, m[mr]+m[mThick])
	q := max(1, math.Hypot(x, y))
	two, four := (x*x-y*y)/q, 2*x*y/q
	out := m[mOut] + m[mGX]*x + m[mGY]*y + m[mP]*two + m[mS]*four
	step := m[mInside] - out
	slope[mx], slope[my] = 0, 0
	if rho > 0 {
		rise := step*d1rho + m[mWall]*(d2rho-d1rho)
		slope[mx], slope[my] = -rise*dx/rho, -rise*dy/rho
	}
	slope[mr] = step*d1r + m[mWall]*(d2r-d1r)
	slope[mInside], slope[mOut] = d1, 1-d1
	slope[mGX], slope[mGY] = (1-d1)*x, (1-d1)*y
	slope[mP], slope[mS] = (1-d1)*two, (1-d1)*four
	slope[mWall], slope[mThick] = d2-d1, m[mWall]*d2r
	return out + step*d1 + m[mWall]*(d2-d1)
}

// clamp keeps the model a canal, its wall no brighter than bone can be here.
func (m *model) clamp(brightest float64) {
	m[mr] = min(max(m[mr], smallest), largest)
	m[mThick] = min(max(m[mThick], thinnest), thick)
	m[mWall] = max(0, min(m[mWall], brightest-m[mOut]))
}

// prior is what is known of a model before the picture: each number with its own sd, and how bright
// bone is.
type prior struct {
	mean, sd  model
	brightest float64 // grey value
}

// fit is a canal found in a section.
type fit struct {
	model
	ok      bool
	near    int       // pixels looked at: those beyond are far from any canal here
	noise   float64   // rms difference between picture and model, grey values
	resid   []float64 // difference of each pixel
	weight  []float64 // weight of each pixel, 0 beyond the rim
	jacobi  []slopes
	inverse *mat.SymDense // of the normal equations
}

func newFit(m model, n int) *fit {
	return &fit{model: m, resid: make([]float64, n), weight: make([]float64, n), jacobi: make([]slopes, n)}
}

// oversampling is how many pixels share one voxel's noise: pixels are finer than voxels and
// sampled linearly. It only balances picture against prior; the sd comes from precision.go.
const oversampling = 3.0

// fit finds the model that explains the picture best: Levenberg–Marquardt with the prior as
// eleven further observations, pixels far off the model losing weight (Huber).
//
// Source: Marquardt DW. J SIAM 1963;11:431–441. doi:10.1137/0111030 (from memory).
func (c *section) fit(d *disc, p prior) *fit {
	f, trial := newFit(p.mean, len(c.px)), newFit(p.mean, len(c.px))
	if len(c.px) < 60 {
		return f
	}
	c.evaluate(d, f)
	cost, lambda := c.reweigh(p, f), 1e-3
	for range fitSteps {
		h, g := c.normal(p, f)
		step, ok := solveDamped(h, g, lambda)
		if !ok {
			return f
		}
		trial.model, trial.noise = f.model, f.noise
		copy(trial.weight, f.weight)
		for i := range step {
			trial.model[i] += step[i]
		}
		trial.clamp(p.brightest)
		c.evaluate(d, trial)
		if trial.cost(p) > cost {
			lambda *= 8
			continue
		}
		f, trial = trial, f
		cost, lambda = c.reweigh(p, f), lambda/5
		if math.Abs(step[mx])+math.Abs(step[my])+math.Abs(step[mr]) < 2e-3 {
			break
		}
	}
	c.conclude(p, f)
	return f
}

// conclude inverts the normal equations and says whether there is a fit at all.
func (c *section) conclude(p prior, f *fit) {
	h, _ := c.normal(p, f)
	var chol mat.Cholesky
	f.inverse = mat.NewSymDense(params, nil)
	if chol.Factorize(h) && chol.InverseTo(f.inverse) == nil {
		f.ok = math.Hypot(f.model[mx], f.model[my]) < 2.5 && f.model[mr] < largest-0.05 // else no edge was found
	}
}

// evaluate fills differences and slopes of the pixels that may have weight.
func (c *section) evaluate(d *disc, f *fit) {
	far := math.Hypot(f.model[mx], f.model[my]) + f.model[mr] + f.model[mThick] + rim + fadeOut
	f.near = c.within(max(far, voteReach))
	for i, q := range c.px[:f.near] {
		f.resid[i] = q.grey - f.model.at(d, q.x, q.y, &f.jacobi[i])
	}
}

// cost returns the weighted sum of squares, picture and prior; without unit.
func (f *fit) cost(p prior) float64 {
	sum := 0.0
	for i, r := range f.resid[:f.near] {
		sum += f.weight[i] * r * r
	}
	sum /= f.noise * f.noise * oversampling
	for i := range f.model {
		z := (f.model[i] - p.mean[i]) / p.sd[i]
		sum += z * z
	}
	return sum
}

// reweigh sets noise and weights to the present model and returns the cost.
func (c *section) reweigh(p prior, f *fit) float64 {
	var sum, n float64
	edge := f.model[mr] + f.model[mThick] + rim
	clear(f.weight)
	for i, q := range c.px[:f.near] {
		f.weight[i] = fade(math.Hypot(q.x-f.model[mx], q.y-f.model[my]) - edge)
		sum += f.weight[i] * f.resid[i] * f.resid[i]
		n += f.weight[i]
	}
	f.noise = max(math.Sqrt(sum/max(n-params, 1)), 1e-3)
	for i, r := range f.resid[:f.near] {
		if z := math.Abs(r) / f.noise; z > 2 {
			f.weight[i] *= 2 / z
		}
	}
	return f.cost(p)
}

const fadeOut = 0.5 // mm

// fade falls from 1 to 0 over fadeOut; without unit.
func fade(mm float64) float64 { return min(1, max(0, 1-mm/fadeOut)) }

// normal returns the normal equations of picture and prior.
func (c *section) normal(p prior, f *fit) (*mat.SymDense, slopes) {
	var h [params]slopes
	var g slopes
	scale := 1 / (f.noise * f.noise * oversampling)
	for q := range f.near {
		k := f.weight[q] * scale
		if k == 0 {
			continue
		}
		j := &f.jacobi[q]
		for a := range params {
			ka := k * j[a]
			g[a] += ka * f.resid[q]
			for b := a; b < params; b++ {
				h[a][b] += ka * j[b]
			}
		}
	}
	s := mat.NewSymDense(params, nil)
	for a := range params {
		w := 1 / (p.sd[a] * p.sd[a])
		g[a] += w * (p.mean[a] - f.model[a])
		for b := a; b < params; b++ {
			s.SetSym(a, b, h[a][b])
		}
		s.SetSym(a, a, h[a][a]+w)
	}
	return s, g
}

// solveDamped returns the step of normal equations h, g with the diagonal raised by lambda.
func solveDamped(h *mat.SymDense, g slopes, lambda float64) (slopes, bool) {
	a := mat.NewSymDense(params, nil)
	a.CopySym(h)
	for i := range params {
		a.SetSym(i, i, h.At(i, i)*(1+lambda))
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, mat.NewVecDense(params, g[:])) != nil {
		return slopes{}, false
	}
	return slopes(x.RawVector().Data), true
}
