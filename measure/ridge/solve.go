package ridge

// The least-squares fit of the layers to voxels, on squared residuals that a few foreign voxels pull
// with limited force.

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// prior is what is known of one parameter before the fit.
type prior struct {
	param    int
	mean, sd float64
}

// layerFit is one fit in progress: the voxels, which parameters move, and what is known of them.
type layerFit struct {
	samples []reformat.VoxelSample
	active  []int
	priors  []prior
	noise   float64 // SD of a voxel's grey value, the unit of the residuals

	room   []float64 // for [layerFit.normal]
	sights []sight   // of the samples, from where the fit last looked
}

// sightRoom keeps the room of fits that are done: a fit sees some hundred kilobytes, and a site has hundreds of fits.
var sightRoom sync.Pool // of *[]sight

// borrow takes room for n sights.
func (l *layerFit) borrow(n int) {
	if room, ok := sightRoom.Get().(*[]sight); ok && cap(*room) >= n {
		l.sights = (*room)[:n]
		return
	}
	l.sights = make([]sight, n)
}

// giveBack returns the room of the sights.
func (l *layerFit) giveBack() {
	if room := l.sights; room != nil {
		sightRoom.Put(&room)
	}
	l.sights = nil
}

// huber is where a residual stops counting with its square, in noise SDs: voxels of trabeculae or
// of a neighbouring structure pull with limited force. Common practice, no source.
const huber = 3.0

// cost returns what the voxels alone say against p, in squared noise SDs.
func (l *layerFit) cost(p *params) (sum float64) {
	h := p.bends()
	for _, g := range l.samples {
		loss, _ := fit.Huber((g.Grey-p.grey(g, h))/l.noise, huber)
		sum += loss
	}
	return sum
}

// batch is how many voxels' derivatives are multiplied at once: few enough to stay close at hand.
const batch = 128

// stack gathers the derivatives and residuals of a batch of voxels, a row for each active parameter
// and one for the residual; their products are the normal equations.
type stack struct {
	sum  *fit.Equations
	rows blas64.General
}

// flush adds the products of the batch's rows.
func (t *stack) flush() {
	t.sum.Add(t.rows)
	t.rows.Cols = 0
}

// look returns the objective at p, in squared noise SDs, and keeps how the voxels are seen from there for
// [layerFit.normal].
func (l *layerFit) look(p *params) (cost float64) {
	if len(l.sights) < len(l.samples) {
		l.sights = make([]sight, len(l.samples))
	}
	inv, h := 1/l.noise, p.bends()
	for i := range l.samples {
		s := &l.sights[i]
		s.see(p, l.samples[i], h)
		loss, _ := fit.Huber((l.samples[i].Grey-s.value)*inv, huber)
		cost += loss
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
func (l *layerFit) normal(p *params, cost float64) *fit.Equations {
	n := len(l.active)
	s := fit.NewEquations(n, cost)
	if l.room == nil {
		l.room = make([]float64, (n+1)*batch)
	}
	t := stack{s, blas64.General{Rows: n + 1, Stride: batch, Data: l.room}}
	var grad params
	inv, h := 1/l.noise, p.bends()
	for i := range l.samples {
		seen := &l.sights[i]
		r := (l.samples[i].Grey - seen.value) * inv
		_, w := fit.Huber(r, huber)
		if w < 1 {
			w = math.Sqrt(w)
		}
		if seen.level >= 0 {
			if i := slices.Index(l.active, seen.level); i >= 0 {
				s.AddSingle(i, w*inv, w*r)
			}
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
	for _, k := range l.priors {
		if i := slices.Index(l.active, k.param); i >= 0 {
			s.AddPrior(i, k.mean-p[k.param], k.sd)
		}
	}
	return s
}

// The relative change of the objective at which a fit is near enough for its residuals to tell the
// noise, and at which it has arrived: of a thousand voxels 0.1, a third of a standard uncertainty, of
// which the last step leaves less than a tenth.
const (
	roughly = 1e-3
	settled = 1e-4
)

// solve improves p by [fit.Descend] until a step no longer matters and returns the
// covariance of the active parameters. It reports false when the fit has no answer.
func (l *layerFit) solve(p *params, settled float64) (*mat.SymDense, bool) {
	d := &layerDescent{layerFit: l, here: p, trial: *p}
	d.Look()
	last, _ := fit.Descend(d, fit.Descent{
		Steps:   40,   // far more than a fit that has an answer takes; our choice
		Ease:    0.1,  // common practice, no source
		Least:   1e-9, // such a step is an undamped one; our choice
		Again:   1e-3, // as the first step; our choice
		Settled: settled,
	})
	return last.Covariance(1e-9) // so little that only a matrix without an inverse gets another one
}

// layerDescent is a fit of layers on its way, as [fit.Descend] asks for it.
type layerDescent struct {
	*layerFit
	here  *params
	trial params
	cost  float64 // where it last looked
}

// Move is [fit.Problem]'s.
func (d *layerDescent) Move(by []float64) bool {
	d.trial = *d.here
	for i, at := range d.active {
		d.trial[at] += by[i]
	}
	d.trial.within()
	return !math.IsNaN(d.trial[pE])
}

// Look is [fit.Problem]'s.
func (d *layerDescent) Look() float64 {
	d.cost = d.look(&d.trial)
	return d.cost
}

// Take is [fit.Problem]'s.
func (d *layerDescent) Take() { *d.here = d.trial }

// Equations is [fit.Problem]'s.
func (d *layerDescent) Equations() *fit.Equations { return d.normal(d.here, d.cost) }

// residual returns the SD of the voxels about the model, in grey values, which a few foreign voxels do
// not move.
func (l *layerFit) residual(p *params) float64 {
	r, h := make([]float64, len(l.samples)), p.bends()
	for i, g := range l.samples {
		r[i] = math.Abs(g.Grey - p.grey(g, h))
	}
	return fit.Scatter(r)
}
