package trace

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/fit"
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
	rim               = 0.9      // mm beyond the wall that the fit still looks at; farther off is other anatomy
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

// discFit is a canal found in a section.
type discFit struct {
	model
	ok      bool
	near    int       // pixels looked at: those beyond are far from any canal here
	noise   float64   // rms difference between picture and model, grey values
	resid   []float64 // difference of each pixel
	weight  []float64 // weight of each pixel, 0 beyond the rim
	jacobi  []slopes
	inverse *mat.SymDense // of the normal equations
}

func newFit(m model, n int) *discFit {
	return &discFit{model: m, resid: make([]float64, n), weight: make([]float64, n), jacobi: make([]slopes, n)}
}

// huber is where a difference stops counting with its square, in rms differences. Our choice.
const huber = 2.0

// oversampling is how many pixels share one voxel's noise: pixels are finer than voxels and
// sampled linearly. It only balances picture against prior; the sd comes from precision.go.
const oversampling = 3.0

// fit finds the model that explains the picture best, by [fit.Descend] with the prior as
// eleven further observations, pixels far off the model losing weight (Huber).
func (c *section) fit(d *disc, p prior) *discFit {
	w := &discDescent{c, d, p, newFit(p.mean, len(c.px)), newFit(p.mean, len(c.px))}
	if len(c.px) < 60 {
		return w.here
	}
	c.evaluate(d, w.here)
	last, ok := fit.Descend(w, fit.Descent{
		Steps: 12,  // our choice: a faint section's fit may end here, and its answer moves with it and with Ease
		Ease:  0.2, // our choice
		Arrived: func(step []float64) bool {
			return math.Abs(step[mx])+math.Abs(step[my])+math.Abs(step[mr]) < 2e-3 // mm; our choice
		},
	})
	f := w.here
	if !ok {
		return f
	}
	if f.inverse, f.ok = last.Covariance(0); f.ok {
		f.ok = math.Hypot(f.model[mx], f.model[my]) < 2.5 && f.model[mr] < largest-0.05 // else no edge was found
	}
	return f
}

// discDescent is a fit of the model on its way, as [fit.Descend] asks for it.
type discDescent struct {
	*section
	d           *disc
	p           prior
	here, trial *discFit
}

// Move is [fit.Problem]'s.
func (w *discDescent) Move(by []float64) bool {
	w.trial.model, w.trial.noise = w.here.model, w.here.noise
	copy(w.trial.weight, w.here.weight)
	for i := range by {
		w.trial.model[i] += by[i]
	}
	w.trial.clamp(w.p.brightest)
	return true
}

// Look is [fit.Problem]'s.
func (w *discDescent) Look() float64 {
	w.evaluate(w.d, w.trial)
	return w.trial.cost(w.p)
}

// Take is [fit.Problem]'s.
func (w *discDescent) Take() { w.here, w.trial = w.trial, w.here }

// Equations is [fit.Problem]'s: the pixels are weighed anew.
func (w *discDescent) Equations() *fit.Equations {
	return w.normal(w.p, w.here, w.reweigh(w.p, w.here))
}

// evaluate fills differences and slopes of the pixels that may have weight.
func (c *section) evaluate(d *disc, f *discFit) {
	far := math.Hypot(f.model[mx], f.model[my]) + f.model[mr] + f.model[mThick] + rim + fadeOut
	f.near = c.within(max(far, voteReach))
	for i, q := range c.px[:f.near] {
		f.resid[i] = q.grey - f.model.at(d, q.x, q.y, &f.jacobi[i])
	}
}

// cost returns the weighted sum of squares, picture and prior; without unit.
func (f *discFit) cost(p prior) float64 {
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
func (c *section) reweigh(p prior, f *discFit) float64 {
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
		_, weight := fit.Huber(r/f.noise, huber)
		f.weight[i] *= weight
	}
	return f.cost(p)
}

const fadeOut = 0.5 // mm

// fade falls from 1 to 0 over fadeOut; without unit.
func fade(mm float64) float64 { return min(1, max(0, 1-mm/fadeOut)) }

// normal returns the normal equations of picture and prior, at a model of this cost.
func (c *section) normal(p prior, f *discFit, cost float64) *fit.Equations {
	e := fit.NewEquations(params, cost)
	scale := 1 / (f.noise * f.noise * oversampling)
	for q := range f.near {
		k := f.weight[q] * scale
		if k == 0 {
			continue
		}
		j := &f.jacobi[q]
		for a := range params {
			ka, row := k*j[a], e.Row(a)
			row[params] += ka * f.resid[q]
			for b := a; b < params; b++ {
				row[b] += ka * j[b]
			}
		}
	}
	for a := range params {
		w, row := 1/(p.sd[a]*p.sd[a]), e.Row(a)
		row[a] += w
		row[params] += w * (p.mean[a] - f.model[a])
	}
	return e
}
