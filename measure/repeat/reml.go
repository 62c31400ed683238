package repeat

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
)

// mixed is an unequal table of subjects crossed with raters: reading = mean + subject + rater
// [+ subject × rater] + error, all of them random. The interaction is told from the error only where cells
// were read more than once.
type mixed struct {
	rows        [][]cellMean // by subject; cells with a reading only
	subjects    int
	raters      int
	cells       int
	readings    int
	within      float64 // sum of squares within the cells
	interaction bool
}

// cellMean is one rater's mean of n readings of one subject.
type cellMean struct {
	rater    int
	n, value float64
}

// newMixed takes the readings in units of a power of two near their spread, so that a change of the
// readings' unit by a power of two changes no digit; unit is that power.
func newMixed(g *grid) (m mixed, unit float64) {
	var all []float64
	for _, row := range g.cell {
		for _, c := range row {
			all = append(all, c...)
		}
	}
	center := mean(all)
	_, exponent := math.Frexp(math.Sqrt(variance(all)))
	unit = math.Ldexp(1, exponent)
	m.raters, m.readings = len(g.Raters), len(all)
	for _, row := range g.cell {
		var cells []cellMean
		for j, c := range row {
			if len(c) > 0 {
				cells = append(cells, cellMean{j, float64(len(c)), (mean(c) - center) / unit})
				m.within += squares(c) / (unit * unit)
			}
		}
		m.rows, m.cells = append(m.rows, cells), m.cells+len(cells)
	}
	m.subjects, m.interaction = len(m.rows), m.cellDF() >= fewest
	return m, unit
}

// restDF and cellDF are the degrees of freedom of what subjects and raters leave of the cell means, and
// of the readings within cells; pure numbers.
func (m mixed) restDF() int { return m.cells - m.subjects - m.raters + 1 }
func (m mixed) cellDF() int { return m.readings - m.cells }

// ratios are variances over that of the error; pure numbers.
type ratios struct{ subject, rater, interaction float64 }

// moments are the restricted likelihood's parts at given ratios, with the error's variance as the unit.
type moments struct {
	logDet  float64       // log |V|
	mean    float64       // 1'V⁻¹1
	squares float64       // least (y − μ)'V⁻¹(y − μ)
	raters  *mat.SymDense // Z'D⁻¹Z of the raters, the mean taken off; D is V without them
}

// at works V⁻¹ out cell by cell. A cell of n readings weighs w = n/(1 + nγ), subject i's cells S = Σw together:
//
//	D⁻¹ = W − γs·ww'/(1 + γs·S) for each subject       V⁻¹ = D⁻¹ − D⁻¹Z(I/γr + Z'D⁻¹Z)⁻¹Z'D⁻¹
//	log |V| = Σ log(1 + nγ) + Σ log(1 + γs·S) + log |I + γr·Z'D⁻¹Z|
func (m mixed) at(r ratios) moments {
	k := m.raters
	zz, z1, zy := mat.NewSymDense(k, nil), make([]float64, k), make([]float64, k)
	var one, oneY, yy, logDet float64
	yy = m.within
	for _, row := range m.rows {
		s, sy := 0.0, 0.0
		for _, c := range row {
			w := c.n / (1 + c.n*r.interaction)
			logDet += math.Log1p(c.n * r.interaction)
			s, sy, yy = s+w, sy+w*c.value, yy+w*c.value*c.value
		}
		shrink := r.subject / (1 + r.subject*s)
		logDet += math.Log1p(r.subject * s)
		one, oneY, yy = one+s-shrink*s*s, oneY+sy-shrink*s*sy, yy-shrink*sy*sy
		for i, c := range row {
			w := c.n / (1 + c.n*r.interaction)
			zz.SetSym(c.rater, c.rater, zz.At(c.rater, c.rater)+w)
			z1[c.rater] += w - shrink*w*s
			zy[c.rater] += w*c.value - shrink*w*sy
			for _, d := range row[:i+1] {
				v := d.n / (1 + d.n*r.interaction)
				zz.SetSym(c.rater, d.rater, zz.At(c.rater, d.rater)-shrink*w*v)
			}
		}
	}
	out := moments{logDet: logDet, raters: mat.NewSymDense(k, nil)}
	out.raters.SymRankOne(zz, -1/one, mat.NewVecDense(k, z1))
	var inner mat.SymDense
	inner.ScaleSym(r.rater, zz)
	for j := range k {
		inner.SetSym(j, j, inner.At(j, j)+1)
	}
	var chol mat.Cholesky
	if !chol.Factorize(&inner) { // only where a ratio is not a number
		return moments{logDet: math.Inf(1)}
	}
	var by1, byY mat.VecDense
	_ = chol.SolveVecTo(&by1, mat.NewVecDense(k, z1)) // an error here is a warning of its condition
	_ = chol.SolveVecTo(&byY, mat.NewVecDense(k, zy))
	for j := range k {
		one -= r.rater * z1[j] * by1.AtVec(j)
		oneY -= r.rater * z1[j] * byY.AtVec(j)
		yy -= r.rater * zy[j] * byY.AtVec(j)
	}
	out.logDet, out.mean, out.squares = logDet+chol.LogDet(), one, yy-oneY*oneY/one
	return out
}

// criterion is −2 log of the restricted likelihood at its best error variance, up to a constant.
//
// Source: Searle SR, Casella G, McCulloch CE. Variance Components, 1992, section 6.6 (from memory).
func (m mixed) criterion(r ratios) float64 {
	if max(r.subject, r.rater, r.interaction) > worst {
		return math.Inf(1)
	}
	p := m.at(r)
	return p.logDet + math.Log(p.mean) + float64(m.readings-1)*math.Log(p.squares)
}

// worst is the ratio past which the readings are taken to leave no error.
const worst = 1e10

// fit returns the ratios of greatest restricted likelihood and the error's variance in units squared; false
// where the table cannot tell the components apart, or leaves no error.
//
// It is good to six digits, for the top is flat. The search is over square roots, which may run below zero and so find a component of 0 within their range.
func (m mixed) fit() (ratios, float64, bool) {
	if m.raters < 2 || m.restDF() < 1 {
		return ratios{}, 0, false
	}
	of := func(x []float64) ratios {
		r := ratios{subject: x[0] * x[0], rater: x[1] * x[1]}
		if m.interaction {
			r.interaction = x[2] * x[2]
		}
		return r
	}
	x := []float64{2, 0.5, 0.5}[:2]
	if m.interaction {
		x = x[:3]
	}
	problem := optimize.Problem{Func: func(x []float64) float64 { return m.criterion(of(x)) }}
	for _, size := range []float64{0.5, 0.05, 0.001} { // begun anew where it stopped: a simplex can stall
		done, err := optimize.Minimize(problem, x, &optimize.Settings{
			MajorIterations: 2000, Converger: &optimize.FunctionConverge{Absolute: 1e-13, Iterations: 40},
		}, &optimize.NelderMead{SimplexSize: size})
		if done == nil || err != nil {
			return ratios{}, 0, false
		}
		x = done.X
	}
	r := m.settle(of(x))
	v := m.at(r).squares / float64(m.readings-1)
	return r, v, v > 0 && max(r.subject, r.rater, r.interaction) < worst/100
}

// settle makes 0 of a component that the likelihood does not tell from it.
func (m mixed) settle(r ratios) ratios {
	for _, x := range []*float64{&r.subject, &r.rater, &r.interaction} {
		best, kept := m.criterion(r), *x
		if *x = 0; m.criterion(r) > best+1e-9 {
			*x = kept
		}
	}
	return r
}

// equal is the equal table that would tell as much, with the mean squares it would expect at these ratios; v is
// the error's variance. A subject is known from k cells, the harmonic mean; a cell from m readings, likewise; and
// a difference of raters from n subjects, by its own variance in this table. Exact for an equal table.
func (m mixed) equal(r ratios, v float64) crossed {
	byCell, bySubject := 0.0, 0.0
	for _, row := range m.rows {
		bySubject += 1 / float64(len(row))
		for _, c := range row {
			byCell += 1 / c.n
		}
	}
	c := crossed{k: float64(m.subjects) / bySubject, m: float64(m.cells) / byCell}
	if !m.interaction {
		c.m = 1
	}
	c.n = m.subjectsPerRater(r, r.interaction+1/c.m)
	rest := v * (1 + c.m*r.interaction)
	c.cell = meanSquare{v, float64(m.cellDF())}
	c.rest = meanSquare{rest, float64(m.restDF())}
	c.rater = meanSquare{rest + v*c.n*c.m*r.rater, float64(m.raters - 1)}
	c.subject = meanSquare{rest + v*c.k*c.m*r.subject, float64(m.subjects - 1)}
	return c
}

// subjectsPerRater is how many subjects of an equal table would tell raters apart as well: cell over the mean
// variance of a rater's effect against their mean, a pure number. cell is the variance of a cell's mean.
func (m mixed) subjectsPerRater(r ratios, cell float64) float64 {
	var eigen mat.EigenSym
	if !eigen.Factorize(m.at(r).raters, false) {
		return 1
	}
	inverse := 0.0
	for _, x := range eigen.Values(nil)[1:] { // the least is that of the mean: 0
		inverse += 1 / x
	}
	return math.Max(1, cell*float64(m.raters-1)/inverse)
}
