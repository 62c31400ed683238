package trace

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// section is the picture in a plane across the path, a mean over a thin slab.
type section struct {
	at   r3.Vec // where the path meets the plane; (x, y) = (0, 0)
	u, w r3.Vec // unit vectors of x and y
	px   []pixel
}

type pixel struct {
	x, y float64 // mm
	i, j int     // x and y in pixels
	grey float64
}

const (
	pixelStep = 0.25 // mm
	pixels    = 13   // each way from the path: 3.25 mm, a wide canal and its wall
	apartMM   = 0.5  // distance between sections along the path, mm
)

// newSection samples the plane across tangent through at; pixels without grey value are left out.
func newSection(s *sampler, at, tangent r3.Vec) *section {
	c := &section{at: at}
	c.u, c.w = across(tangent)
	for j := -pixels; j <= pixels; j++ {
		for i := -pixels; i <= pixels; i++ {
			if i*i+j*j > pixels*pixels {
				continue
			}
			p := pixel{x: pixelStep * float64(i), y: pixelStep * float64(j), i: i, j: j}
			for k := -1; k <= 1; k++ {
				p.grey += s.at(r3.Add(c.point(p.x, p.y), r3.Scale(float64(k)*apartMM/3, tangent))) / 3
			}
			if !math.IsNaN(p.grey) {
				c.px = append(c.px, p)
			}
		}
	}
	return c
}

// point returns the patient position of (x, y), mm.
func (c *section) point(x, y float64) r3.Vec {
	return r3.Add(c.at, r3.Add(r3.Scale(x, c.u), r3.Scale(y, c.w)))
}

// model is the picture of a canal in a section, eight numbers: a dark disc of radius r in a
// thin wall in marrow that may rise to one side, blurred.
//
//	I = inside·D(ρ,r) + wall·[D(ρ,r+t) − D(ρ,r)] + (out + gx·x + gy·y)·[1 − D(ρ,r+t)]
//	ρ = distance from (x, y),  t = wallThick
type model [8]float64

const (
	mx, my, mr           = 0, 1, 2
	mInside, mWall, mOut = 3, 4, 5
	mGX, mGY             = 6, 7
	wallThick            = 0.4 // mm, a common cortical lining; only its product with the wall's grey matters once blurred
	smallest, largest    = 0.5, 2.5
	fitSteps             = 12
	rim                  = 0.9 // mm beyond the wall that the fit still looks at; farther off is other anatomy
)

// at returns the model's grey value at (x, y) and fills slope with its derivatives.
func (m *model) at(d *disc, x, y float64, slope *[8]float64) float64 {
	dx, dy := x-m[mx], y-m[my]
	rho := math.Hypot(dx, dy)
	d1, d1rho, d1r := d.at(rho, m[mr])
	d2, d2rho, d2r := d.at(rho, m[mr]+wallThick)
	out := m[mOut] + m[mGX]*x + m[mGY]*y
	rise := (m[mInside]-m[mWall])*d1rho + (m[mWall]-out)*d2rho
	if rho > 0 {
		slope[mx], slope[my] = -rise*dx/rho, -rise*dy/rho
	} else {
		slope[mx], slope[my] = 0, 0
	}
	slope[mr] = (m[mInside]-m[mWall])*d1r + (m[mWall]-out)*d2r
	slope[mInside], slope[mWall], slope[mOut] = d1, d2-d1, 1-d2
	slope[mGX], slope[mGY] = (1-d2)*x, (1-d2)*y
	return m[mInside]*d1 + m[mWall]*(d2-d1) + out*(1-d2)
}

// prior is what is known of a model before the picture: each number with its own sd.
type prior struct{ mean, sd model }

// fit is a canal found in a section.
type fit struct {
	model
	ok      bool
	noise   float64    // rms difference between picture and model, grey values
	cov     [3]float64 // variances of x, y and r for independent pixels, mm²; see correlate
	resid   []float64  // difference of each pixel
	weight  []float64  // weight of each pixel, 0 beyond the rim
	jacobi  [][8]float64
	inverse *mat.SymDense
}

// fit finds the model that explains the picture best: Levenberg–Marquardt with the prior as
// eight further observations, pixels far off the model losing weight (Huber).
func (c *section) fit(d *disc, p prior) fit {
	f := fit{model: p.mean}
	if len(c.px) < 60 {
		return f
	}
	f.resid, f.weight, f.jacobi = make([]float64, len(c.px)), make([]float64, len(c.px)), make([][8]float64, len(c.px))
	cost, lambda := c.evaluate(d, p, &f), 1e-3
	for range fitSteps {
		h, g := c.normal(p, &f)
		step, ok := solveDamped(h, g, lambda)
		if !ok {
			return f
		}
		trial := f
		trial.resid, trial.weight, trial.jacobi = clone(f.resid), clone(f.weight), clone(f.jacobi)
		for i := range step {
			trial.model[i] += step[i]
		}
		trial.model[mr] = min(max(trial.model[mr], smallest), largest)
		if t := c.evaluate(d, p, &trial); t <= cost {
			small := math.Abs(step[mx])+math.Abs(step[my])+math.Abs(step[mr]) < 1e-3
			f, cost, lambda = trial, t, lambda/5
			cost = c.reweigh(d, p, &f)
			if small {
				break
			}
		} else {
			lambda *= 8
		}
	}
	h, _ := c.normal(p, &f)
	var chol mat.Cholesky
	if !chol.Factorize(h) {
		return f
	}
	f.inverse = mat.NewSymDense(8, nil)
	if chol.InverseTo(f.inverse) != nil {
		return f
	}
	for i := range f.cov {
		f.cov[i] = f.inverse.At(i, i)
	}
	f.ok = math.Hypot(f.model[mx], f.model[my]) < 2.5
	return f
}

func clone[T any](s []T) []T { return append([]T(nil), s...) }

// evaluate fills differences and slopes with the weights as they are and returns the cost.
// On the first call it sets the weights too.
func (c *section) evaluate(d *disc, p prior, f *fit) float64 {
	for i, q := range c.px {
		f.resid[i] = q.grey - f.model.at(d, q.x, q.y, &f.jacobi[i])
	}
	if f.noise == 0 {
		return c.reweigh(d, p, f)
	}
	return f.cost(p)
}

// cost returns the weighted sum of squares, data and prior; without unit.
func (f *fit) cost(p prior) float64 {
	sum := 0.0
	for i, r := range f.resid {
		sum += f.weight[i] * r * r
	}
	sum /= f.noise * f.noise * oversampling
	for i := range f.model {
		z := (f.model[i] - p.mean[i]) / p.sd[i]
		sum += z * z
	}
	return sum
}

// oversampling is how many pixels share one voxel's noise: pixels are finer than voxels and
// sampled linearly. It only balances data against prior; [correlate] measures it for the sd.
const oversampling = 3.0

// reweigh sets noise and weights to the present model and returns the cost.
func (c *section) reweigh(d *disc, p prior, f *fit) float64 {
	var sum, n float64
	for i, q := range c.px {
		f.weight[i] = fade(math.Hypot(q.x-f.model[mx], q.y-f.model[my]) - f.model[mr] - wallThick - rim)
		sum += f.weight[i] * f.resid[i] * f.resid[i]
		n += f.weight[i]
	}
	f.noise = max(math.Sqrt(sum/max(n-8, 1)), 1e-3)
	for i, r := range f.resid {
		if z := math.Abs(r) / f.noise; z > 2 {
			f.weight[i] *= 2 / z
		}
	}
	return f.cost(p)
}

// fade falls from 1 to 0 over half a millimetre; without unit.
func fade(mm float64) float64 { return min(1, max(0, 1-2*mm)) }

// normal returns the normal equations of data and prior.
func (c *section) normal(p prior, f *fit) (*mat.SymDense, [8]float64) {
	var h [8][8]float64
	var g [8]float64
	scale := 1 / (f.noise * f.noise * oversampling)
	for q := range f.resid {
		k := f.weight[q] * scale
		if k == 0 {
			continue
		}
		j := &f.jacobi[q]
		for a := range 8 {
			g[a] += k * j[a] * f.resid[q]
			for b := a; b < 8; b++ {
				h[a][b] += k * j[a] * j[b]
			}
		}
	}
	s := mat.NewSymDense(8, nil)
	for a := range 8 {
		w := 1 / (p.sd[a] * p.sd[a])
		g[a] += w * (p.mean[a] - f.model[a])
		for b := a; b < 8; b++ {
			s.SetSym(a, b, h[a][b])
		}
		s.SetSym(a, a, h[a][a]+w)
	}
	return s, g
}

func solveDamped(h *mat.SymDense, g [8]float64, lambda float64) ([8]float64, bool) {
	a := mat.NewSymDense(8, nil)
	a.CopySym(h)
	for i := range 8 {
		a.SetSym(i, i, h.At(i, i)*(1+lambda))
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, mat.NewVecDense(8, g[:])) != nil {
		return [8]float64{}, false
	}
	return [8]float64(x.RawVector().Data), true
}
