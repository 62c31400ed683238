package trace

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// How canals bend: the slope of the centre-line (or of the radius) wanders like a random walk
// with this variance a mm. A canal turning with a radius of 10 mm for 5 mm needs about
// (1/10)²·5 = 0.05; a canal whose radius goes from 1 to 1.5 mm over 10 mm, 0.0003.
const (
	bend  = 0.02  // 1/mm
	widen = 0.002 // 1/mm
)

// line is a smoothed row of numbers along the path, with the variance of each.
type line struct{ value, variance []float64 }

// smoothLine returns the most probable smooth row through observations obs with variances v
// (+Inf: not observed), step mm apart: a natural cubic smoothing spline in the discrete form,
// second differences d being normal with variance bend·step³.
//
//	minimise Σ (x−obs)²/v + Σ (x[i−1] − 2x[i] + x[i+1])²/(bend·step³)
//
// The penalty comes from how canals bend, not from a wish for smoothness, so firm observations
// keep their curve; the variances are the diagonal of the inverse.
//
// Source: Wahba G. J R Stat Soc B 1978;40:364–372 (from memory).
func smoothLine(obs, v []float64, step, bend float64) (line, bool) {
	n := len(obs)
	a, b := mat.NewSymBandDense(n, min(2, n-1), nil), mat.NewVecDense(n, nil)
	for i := range obs {
		if w := 1 / v[i]; w > 0 {
			a.SetSymBand(i, i, w)
			b.SetVec(i, w*obs[i])
		}
	}
	w := 1 / (bend * step * step * step)
	for i := 1; i < n-1; i++ {
		for p, cp := range [3]float64{1, -2, 1} {
			for q := p; q < 3; q++ {
				at, to := i-1+p, i-1+q
				a.SetSymBand(at, to, a.At(at, to)+w*cp*[3]float64{1, -2, 1}[q])
			}
		}
	}
	return solveLine(a, b)
}

func solveLine(a *mat.SymBandDense, b *mat.VecDense) (line, bool) {
	n := b.Len()
	var chol mat.BandCholesky
	var x mat.VecDense
	if !chol.Factorize(a) || chol.SolveVecTo(&x, b) != nil {
		return line{}, false
	}
	l := line{value: x.RawVector().Data, variance: make([]float64, n)}
	e := mat.NewVecDense(n, nil)
	var col mat.VecDense
	for i := range n { // n solves of a narrow band: n² numbers, n is a few hundred
		e.Zero()
		e.SetVec(i, 1)
		if chol.SolveVecTo(&col, e) != nil {
			return line{}, false
		}
		l.variance[i] = math.Max(col.AtVec(i), 0)
	}
	return l, true
}

// smooth draws the centre-line and the radius through the fits. The marks at both ends are
// observations too, as firm as the user's hand.
func (c *centred) smooth(marks []r3.Vec, o Options) error {
	var obs [3][]float64
	v := make([]float64, len(c.points))
	for i := range c.fits {
		var p r3.Vec
		p, v[i] = c.observe(i, marks, o)
		obs[0], obs[1], obs[2] = append(obs[0], p.X), append(obs[1], p.Y), append(obs[2], p.Z)
	}
	for k := range obs {
		var ok bool
		if c.x[k], ok = robustLine(obs[k], v, c.step, bend); !ok {
			return fmt.Errorf("%w: the centre-line cannot be drawn", ErrNoPath)
		}
	}
	return c.smoothRadius()
}

// observe returns where the centre is at point i, by the fit, the path of the round before
// and, at the ends, the mark; and the variance of that in mm².
func (c *centred) observe(i int, marks []r3.Vec, o Options) (r3.Vec, float64) {
	sum, weight := r3.Vec{}, 0.0
	add := func(p r3.Vec, sd float64) {
		w := 1 / (sd * sd)
		sum, weight = r3.Add(sum, r3.Scale(w, p)), weight+w
	}
	add(c.points[i], anchorSD)
	if f := c.fits[i]; f.ok {
		add(c.sections[i].point(f.model[mx], f.model[my]), c.sd[i])
	}
	switch i {
	case 0:
		add(marks[0], o.MarkSD)
	case len(c.points) - 1:
		add(marks[len(marks)-1], o.MarkSD)
	}
	return r3.Scale(1/weight, sum), 1 / weight
}

func (c *centred) smoothRadius() error {
	obs, v := make([]float64, len(c.fits)), make([]float64, len(c.fits))
	usual := c.usual(mr)
	for i, f := range c.fits {
		w := 1 / (radiusSD * radiusSD)
		obs[i] = usual
		if f.ok {
			k := 1 / (c.sdR[i] * c.sdR[i])
			obs[i] = (w*usual + k*f.model[mr]) / (w + k)
			w += k
		}
		v[i] = 1 / w
	}
	var ok bool
	if c.r, ok = robustLine(obs, v, c.step, widen); !ok {
		return fmt.Errorf("%w: the radius cannot be drawn", ErrNoPath)
	}
	return nil
}

// robustLine is [smoothLine], observations three of their sd off the line losing weight.
func robustLine(obs, v []float64, step, bend float64) (line, bool) {
	w := append([]float64(nil), v...)
	for range 2 {
		l, ok := smoothLine(obs, w, step, bend)
		if !ok {
			return l, false
		}
		for i := range w {
			d := obs[i] - l.value[i]
			w[i] = v[i] * (1 + d*d/v[i]/9)
		}
	}
	return smoothLine(obs, w, step, bend)
}
