package fit

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// Huber returns what a residual of r standard deviations costs and what weight its square has: 1 up to limit, and
// beyond it so much less that the residual pulls no harder than one of limit does. Without units.
//
//	loss = r²                     |r| ≤ limit
//	loss = limit·(2·|r| − limit)  beyond
//
// Source: Huber PJ. Ann Math Stat 1964;35:73–101. doi:10.1214/aoms/1177703732 (from memory).
func Huber(r, limit float64) (loss, weight float64) {
	if c := math.Abs(r); c > limit {
		return limit * (2*c - limit), limit / c
	}
	return r * r, 1
}

// Equations are the normal equations A·d = b of a sum of squares about one place: A = JᵀJ and b = Jᵀr with r the
// residuals and J their derivatives, both in standard deviations. Only the upper triangle of A is kept.
type Equations struct {
	Cost float64 // the sum of squares there, without unit
	n    int
	m    blas64.Symmetric // A, and b as its last column
}

// NewEquations returns the equations of n unknowns without any residual yet, at a place of this cost.
func NewEquations(n int, cost float64) *Equations {
	return &Equations{cost, n, blas64.Symmetric{N: n + 1, Stride: n + 1, Uplo: blas.Upper, Data: make([]float64, (n+1)*(n+1))}}
}

// Row returns row i of A from column 0, followed by b's element, to be added to: columns below i are not read. In the
// unknowns' inverse units.
func (e *Equations) Row(i int) []float64 { return e.m.Data[i*(e.n+1) : (i+1)*(e.n+1)] }

// Add adds residuals, one a column: a row for each unknown's derivatives, the residuals in the last.
func (e *Equations) Add(rows blas64.General) { blas64.Syrk(blas.NoTrans, 1, rows, 1, e.m) }

// AddSingle adds a residual r that depends on unknown i alone, with derivative d.
func (e *Equations) AddSingle(i int, d, r float64) {
	row := e.Row(i)
	row[i] += d * d
	row[e.n] += d * r
}

// AddPrior adds what is known of unknown i beforehand: it lies off from where it is, with standard deviation sd, in its
// own unit.
func (e *Equations) AddPrior(i int, off, sd float64) {
	row := e.Row(i)
	row[i] += 1 / (sd * sd)
	row[e.n] += off / sd / sd
}

// damped returns a copy of A whose diagonal is larger by a share. An unknown that nothing depends on gets a
// diagonal of 1, in whatever unit: it stays where it is.
func (e *Equations) damped(share float64) blas64.Symmetric {
	a := e.m
	a.N, a.Data = e.n, slices.Clone(e.m.Data)
	for i := range e.n {
		at := i * (e.n + 2)
		if a.Data[at] += share * a.Data[at]; a.Data[at] == 0 {
			a.Data[at] = 1
		}
	}
	return a
}

// step returns the step that the equations ask for, the diagonal raised by a share, and by how much that lowers the sum
// of squares as far as it is a parabola. It reports false where they have no answer.
func (e *Equations) step(share float64) (d []float64, gain float64, ok bool) {
	chol, ok := lapack64.Potrf(e.damped(share))
	if !ok {
		return nil, 0, false
	}
	x := blas64.General{Rows: e.n, Cols: 1, Stride: 1, Data: make([]float64, e.n)}
	for i := range x.Data {
		x.Data[i] = e.Row(i)[e.n]
	}
	lapack64.Potrs(chol, x)
	for i, v := range x.Data {
		gain += v * e.Row(i)[e.n]
	}
	return x.Data, gain, true
}

// Covariance returns the inverse of A, its diagonal raised by a share (no unit; 0: not at all): the covariance of the
// unknowns where the residuals are independent. It reports false where A has none.
func (e *Equations) Covariance(share float64) (*mat.SymDense, bool) {
	chol, ok := lapack64.Potrf(e.damped(share))
	if !ok {
		return nil, false
	}
	a, ok := lapack64.Potri(chol)
	if !ok {
		return nil, false
	}
	inv := mat.NewSymDense(e.n, nil)
	for i := range e.n {
		for j := i; j < e.n; j++ {
			inv.SetSym(i, j, a.Data[i*a.Stride+j])
		}
	}
	return inv, true
}

// Problem is a sum of squares that [Descend] lowers. It stands at one place and has one other on trial.
type Problem interface {
	// Move puts the place that lies d from where the problem stands on trial, or the nearest one allowed; false
	// where there is none.
	Move(d []float64) bool
	// Look returns the sum of squares on trial, with the weights of where the problem stands.
	Look() float64
	// Take makes the place on trial the one where the problem stands. Look was asked there, unless the step was too
	// small to be worth it.
	Take()
	// Equations returns the normal equations where the problem stands, with weights of their own.
	Equations() *Equations
}

// Descent says how [Descend] goes.
type Descent struct {
	Steps   int                    // at most, those that led uphill too
	Ease    float64                // factor on the damping after a step that gained, < 1
	Least   float64                // damping at least, then; 0: none
	Again   float64                // damping after a step uphill, at least; 0: 8 times the step's
	Settled float64                // change of 1 + the sum of squares, as a share, that no longer matters; 0: see Arrived
	Arrived func(d []float64) bool // whether a step d that gained was the last; nil: Settled alone tells
}

const (
	damping = 1e-3 // of the first step: common practice, no source
	most    = 1e9  // damping: such a step moves nothing

	// free is the damping below which a step goes where the normal equations say, and its gain is what
	// they promise. A step held shorter than that gains little anywhere: no sign of having arrived.
	free = 1e-2
)

// Descend moves p by Levenberg–Marquardt until a step no longer matters, and returns the last normal equations asked
// for. It reports false where they have no answer.
//
// A step that promises less than Settled is taken unseen: to look would cost as much as another step.
//
// Source: Marquardt DW. J SIAM 1963;11:431–441. doi:10.1137/0111030 (from memory).
func Descend(p Problem, o Descent) (*Equations, bool) {
	lambda, here := damping, p.Equations()
	for range o.Steps {
		d, gain, ok := here.step(lambda)
		if !ok || !p.Move(d) {
			return here, false
		}
		enough := o.Settled * (1 + here.Cost)
		if gain < enough && lambda <= free {
			p.Take()
			break
		}
		there := p.Look()
		if !(there <= here.Cost) {
			if lambda = math.Max(8*lambda, o.Again); lambda > most {
				break
			}
			continue
		}
		p.Take()
		done := here.Cost-there < enough && lambda <= free || o.Arrived != nil && o.Arrived(d)
		here, lambda = p.Equations(), math.Max(lambda*o.Ease, o.Least)
		if done {
			break
		}
	}
	return here, true
}
