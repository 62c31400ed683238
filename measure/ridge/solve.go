package ridge

// The least-squares fit of the layers to voxels: Levenberg–Marquardt on squared residuals that a
// few foreign voxels pull with limited force.

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// prior is what is known of one parameter before the fit.
type prior struct {
	param    int
	mean, sd float64
}

// layerFit is one fit in progress: the voxels, which parameters move, and what is known of them.
type layerFit struct {
	grains []reformat.Grain
	active []int
	priors []prior
	noise  float64 // SD of a voxel's grey value, the unit of the residuals

	room   []float64 // for [layerFit.normal]
	sights []sight   // of the grains, from where the fit last looked
}

// huber is where a residual stops counting with its square, in noise SDs: voxels of trabeculae or
// of a neighbouring structure pull with limited force. Common practice, no source.
const huber = 3.0

// loss returns what a residual of r noise SDs costs.
func loss(r float64) float64 {
	if c := math.Abs(r); c > huber {
		return huber * (2*c - huber)
	}
	return r * r
}

// cost returns what the voxels alone say against p, in squared noise SDs.
func (l *layerFit) cost(p *params) (sum float64) {
	h := p.bends()
	for _, g := range l.grains {
		sum += loss((g.Grey - p.grey(g, h)) / l.noise)
	}
	return sum
}

// system is the objective at one place, in squared noise SDs, with its normal equations A·d = b: A
// is the upper triangle of the first n rows and columns of m, b its last column.
type system struct {
	cost float64
	n    int
	m    blas64.Symmetric
}

// diagonal returns where A's i-th diagonal element lies in m, and where b's i-th.
func (s *system) diagonal(i int) (a, b int) { return i * (s.n + 2), i*(s.n+1) + s.n }

// batch is how many voxels' derivatives are multiplied at once: few enough to stay close at hand.
const batch = 128

// stack gathers the derivatives and residuals of a batch of voxels, a row for each active parameter
// and one for the residual; their products are the normal equations.
type stack struct {
	sum  *system
	rows blas64.General
}

// flush adds the products of the batch's rows.
func (t *stack) flush() {
	blas64.Syrk(blas.NoTrans, 1, t.rows, 1, t.sum.m)
	t.rows.Cols = 0
}

// look returns the objective at p, in squared noise SDs, and keeps how the voxels are seen from there for
// [layerFit.normal].
func (l *layerFit) look(p *params) (cost float64) {
	if len(l.sights) < len(l.grains) {
		l.sights = make([]sight, len(l.grains))
	}
	inv, h := 1/l.noise, p.bends()
	for i := range l.grains {
		s := &l.sights[i]
		s.see(p, l.grains[i], h)
		cost += loss((l.grains[i].Grey - s.value) * inv)
	}
	for _, k := range l.priors {
		if slices.Contains(l.active, k.param) {
			r := (k.mean - p[k.param]) / k.sd
			cost += r * r
		}
	}
	return cost
}

// normal returns the normal equations at p, where the fit has just looked, at that objective.
func (l *layerFit) normal(p *params, cost float64) *system {
	n := len(l.active)
	s := &system{cost: cost, n: n, m: blas64.Symmetric{N: n + 1, Stride: n + 1, Uplo: blas.Upper, Data: make([]float64, (n+1)*(n+1))}}
	if l.room == nil {
		l.room = make([]float64, (n+1)*batch)
	}
	t := stack{s, blas64.General{Rows: n + 1, Stride: batch, Data: l.room}}
	var grad params
	inv, h := 1/l.noise, p.bends()
	for i := range l.grains {
		seen := &l.sights[i]
		r := (l.grains[i].Grey - seen.value) * inv
		w := 1.0
		if c := math.Abs(r); c > huber {
			w = math.Sqrt(huber / c)
		}
		if seen.level >= 0 {
			l.flat(s, seen.level, w*inv, w*r)
			continue
		}
		p.slopesOf(seen, h, &grad)
		col := l.room[t.rows.Cols:]
		for i, at := range l.active {
			col[i*batch] = grad[at] * (w * inv)
		}
		col[n*batch] = w * r
		if t.rows.Cols++; t.rows.Cols == batch {
			t.flush()
		}
	}
	t.flush()
	l.believe(s, p)
	return s
}

// flat adds a voxel that depends on one level alone, with derivative d and residual r.
func (l *layerFit) flat(s *system, level int, d, r float64) {
	if i := slices.Index(l.active, level); i >= 0 {
		a, b := s.diagonal(i)
		s.m.Data[a] += d * d
		s.m.Data[b] += d * r
	}
}

// believe adds what is known before the fit.
func (l *layerFit) believe(s *system, p *params) {
	for _, k := range l.priors {
		i := slices.Index(l.active, k.param)
		if i < 0 {
			continue
		}
		r := (k.mean - p[k.param]) / k.sd
		a, b := s.diagonal(i)
		s.m.Data[a] += 1 / (k.sd * k.sd)
		s.m.Data[b] += r / k.sd
	}
}

// The relative change of the objective at which a fit is near enough for its residuals to tell the
// noise, and at which it has arrived: of a thousand voxels 0.1, a third of a standard uncertainty, of
// which the last step leaves less than a tenth.
const (
	roughly = 1e-3
	settled = 1e-4
)

// damping is what a step begins with, and what it falls back to when an undamped one led uphill.
const damping = 1e-3

// free is the damping below which a step goes where the normal equations say, and its gain is what
// they promise. A step held shorter than that gains little anywhere: no sign of having arrived.
const free = 1e-2

// solve improves p by Levenberg–Marquardt until a step no longer matters and returns the
// covariance of the active parameters. It reports false when the fit has no answer.
//
// A step that promises less than settled is taken unseen: to look would cost as much as another step.
func (l *layerFit) solve(p *params, settled float64) (*mat.SymDense, bool) {
	lambda, here := damping, l.normal(p, l.look(p))
	for range 40 {
		next, gain, ok := l.step(p, here, lambda)
		if !ok {
			break
		}
		enough := settled * (1 + here.cost)
		if gain < enough && lambda <= free {
			*p = next
			break
		}
		there := l.look(&next)
		if !(there <= here.cost) {
			if lambda = math.Max(8*lambda, damping); lambda > 1e9 {
				break
			}
			continue
		}
		done := here.cost-there < enough && lambda <= free
		*p, here, lambda = next, l.normal(&next, there), math.Max(lambda*0.1, 1e-9)
		if done {
			break
		}
	}
	return l.covariance(here)
}

// step returns p moved by one damped step, and by how much that lowers the objective as far as it
// is a parabola.
func (l *layerFit) step(p *params, s *system, lambda float64) (next params, gain float64, ok bool) {
	d := make([]float64, s.n)
	for i := range d {
		_, b := s.diagonal(i)
		d[i] = s.m.Data[b]
	}
	x := blas64.General{Rows: s.n, Cols: 1, Stride: 1, Data: slices.Clone(d)}
	chol, ok := lapack64.Potrf(s.damped(lambda))
	if !ok {
		return *p, 0, false
	}
	lapack64.Potrs(chol, x)
	next = *p
	for i, at := range l.active {
		next[at] += x.Data[i]
		gain += x.Data[i] * d[i]
	}
	next.within()
	return next, gain, !math.IsNaN(next[pE])
}

// damped returns a copy of A whose diagonal is larger by a share. A parameter that nothing depends on gets a
// diagonal of 1, in whatever unit: it stays where it is.
func (s *system) damped(share float64) blas64.Symmetric {
	a := s.m
	a.N, a.Data = s.n, slices.Clone(s.m.Data)
	for i := range s.n {
		at, _ := s.diagonal(i)
		if a.Data[at] += share * a.Data[at]; a.Data[at] == 0 {
			a.Data[at] = 1
		}
	}
	return a
}

// covariance returns the inverse of the normal matrix.
func (l *layerFit) covariance(s *system) (*mat.SymDense, bool) {
	a := s.damped(1e-9)
	chol, ok := lapack64.Potrf(a)
	if !ok {
		return nil, false
	}
	if a, ok = lapack64.Potri(chol); !ok {
		return nil, false
	}
	inv := mat.NewSymDense(s.n, nil)
	for i := range s.n {
		for j := i; j < s.n; j++ {
			inv.SetSym(i, j, a.Data[i*a.Stride+j])
		}
	}
	return inv, true
}

// residual returns the SD of the voxels about the model, in grey values, which a few foreign voxels do
// not move.
func (l *layerFit) residual(p *params) float64 {
	r, h := make([]float64, len(l.grains)), p.bends()
	for i, g := range l.grains {
		r[i] = math.Abs(g.Grey - p.grey(g, h))
	}
	return scatter(r)
}
