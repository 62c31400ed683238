package study

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// Simulation is what the reader's hand does to each number of a case.
type Simulation struct {
	Case   string
	Draws  int
	Failed int // draws that could not be measured at all, as a site outside the scan
	Seed   uint64
	Rows   []SimulatedRow
	Notes  []string
}

// SimulatedRow is one number of the case over all draws. Lengths in mm, angles in degrees: Unit says.
type SimulatedRow struct {
	Site     string
	Quantity quantity.Name
	To, Unit string

	At        *float64 // depth, mm; nil: does not apply
	Value     float64  // at the marks of the plan; NaN: none
	N         int      // draws with a number
	Mean, SD  float64  // over those draws; NaN with fewer than 2
	SDLow     float64  // 95 % interval of the SD, χ² with N−1 degrees of freedom
	SDHigh    float64
	Low, High float64 // least and greatest
	Placement float64 // what the budget sets aside for the placing of marks, as a standard uncertainty
	U         float64 // standard uncertainty of the value, the whole budget
	Ratio     float64 // SD / Placement; NaN where the budget sets nothing aside
	Verdict   string  // at the marks of the plan; "" where no margin applies
	Kept      float64 // share of all draws with this verdict; NaN where no margin applies
}

// place says which rows of two results are the same number: what a moved mark may change (the depth
// of an undercut, what a height ends at) is no part of it.
type place struct {
	site     string
	quantity quantity.Name
	to       string
	at       float64
}

func placeOf(site string, r measure.Row) place {
	p := place{site: site, quantity: r.Quantity, to: r.To, at: math.NaN()}
	if r.Quantity == quantity.RidgeHeight {
		p.to = ""
	}
	p.at = -1 // NaN would equal nothing, itself included
	if r.At != nil && quantity.Of(r.Quantity).PerDepth {
		p.at = *r.At
	}
	return p
}

// everyRow calls do for each number of a result.
func everyRow(r *measure.Result, do func(site string, row measure.Row)) {
	for _, s := range r.Sites {
		for _, row := range s.Rows {
			do(s.ID, row)
		}
	}
	for _, row := range r.Arch.Rows {
		do(row.Sites, row.Row)
	}
}

// Simulate measures the plan as it is, then Draws times with its marks moved, and compares the
// spread of each number with what its budget sets aside for the placing of marks:
//
//	placement = √(u² − u₀²), u₀ from the same budget with every mark exact
//
// so that no term need be known by name. The plan's points must be patient coordinates (see
// [plan.Plan.InPatient]). Surfaces are not moved: they have no points that a reader set. Nor is what is
// planned and not read from the scan: implants, levels, ends of a prosthesis.
//
// It returns ctx's error when cancelled, and the plan's own errors for the marks as they are.
func Simulate(ctx context.Context, p *plan.Plan, o SimulateOptions) (*Simulation, error) {
	if p.Voxels {
		panic("study: Simulate of a plan in voxels; place it first")
	}
	s := &simulator{plan: p, o: o.filled()}
	base, placed, err := s.budgets(ctx)
	if err != nil {
		return nil, err
	}
	draws, err := s.draw(ctx)
	if err != nil {
		return nil, err
	}
	return s.gather(base, placed, draws), nil
}

type simulator struct {
	plan *plan.Plan
	o    SimulateOptions
}

// budgets measures the plan as it is, and returns with it the variance that each number's budget
// sets aside for placing.
func (s *simulator) budgets(ctx context.Context) (*measure.Result, map[place]float64, error) {
	stated := s.withMarks(s.o.Placement.Marks)
	base, err := s.o.Measure(ctx, stated, measure.Options{PlacedBy: s.o.Placement.Arch})
	if err != nil {
		return nil, nil, err
	}
	zero := 0.0
	exact := s.withMarks(&zero)
	bare, err := s.o.Measure(ctx, exact, measure.Options{PlacedBy: &zero})
	if err != nil {
		return nil, nil, err
	}
	placed := map[place]float64{}
	everyRow(base, func(site string, r measure.Row) { placed[placeOf(site, r)] = r.Budget.Std() * r.Budget.Std() })
	everyRow(bare, func(site string, r measure.Row) {
		p := placeOf(site, r)
		whole := placed[p]
		if placed[p] -= r.Budget.Std() * r.Budget.Std(); placed[p] < 1e-9*whole {
			placed[p] = 0 // the rounding of equal budgets
		}
	})
	return base, placed, nil
}

// withMarks returns a copy of the plan with every marked path of this SD, mm; nil leaves the plan's own.
func (s *simulator) withMarks(sd *float64) *plan.Plan {
	p := s.plan.Clone()
	for i := range p.Structures {
		if sd != nil {
			p.Structures[i].SD = *sd
		}
	}
	return p
}

// draw measures the moved plans. A draw that could not be measured is nil.
func (s *simulator) draw(ctx context.Context) ([]*measure.Result, error) {
	out := make([]*measure.Result, s.o.Draws)
	var mu sync.Mutex
	done := 0
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i := range out {
		g.Go(func() error {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			moved := s.move(i)
			r, err := s.o.Measure(ctx, moved, measure.Options{PlacedBy: s.o.Placement.Arch})
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if err == nil {
				out[i] = r
			}
			mu.Lock()
			defer mu.Unlock()
			if done++; s.o.Progress != nil {
				s.o.Progress(done, len(out))
			}
			return nil
		})
	}
	return out, g.Wait()
}

// move returns the plan with its marks moved: the i-th reading of the seed, whatever ran before it.
func (s *simulator) move(i int) *plan.Plan {
	rng := rand.New(rand.NewPCG(s.o.Seed, uint64(i)))
	by := func(p *r3.Vec, sd float64) {
		if p != nil {
			*p = r3.Add(*p, r3.Vec{X: sd * rng.NormFloat64(), Y: sd * rng.NormFloat64(), Z: sd * rng.NormFloat64()})
		}
	}
	p := s.withMarks(s.o.Placement.Marks)
	for k := range p.Arch {
		by(&p.Arch[k], *s.o.Placement.Arch)
	}
	for k := range p.Sites {
		site := &p.Sites[k]
		by(site.At, *s.o.Placement.Sites)
		if site.ArcMM != nil {
			*site.ArcMM += *s.o.Placement.Sites * rng.NormFloat64()
		}
		by(site.Crest, *s.o.Placement.Sites)
	}
	for _, st := range p.Structures {
		for n := range st.Path {
			by(&st.Path[n], st.SD)
		}
	}
	return p
}

// sample is one number over the draws.
type sample struct {
	values []float64
	kept   int
}

// gather turns the draws into rows, in the order of the result at the plan's own marks.
func (s *simulator) gather(base *measure.Result, placed map[place]float64, draws []*measure.Result) *Simulation {
	out := &Simulation{Case: base.Case, Draws: len(draws), Seed: s.o.Seed}
	verdicts := map[place]string{}
	samples := map[place]*sample{}
	everyRow(base, func(site string, r measure.Row) {
		p := placeOf(site, r)
		verdicts[p], samples[p] = string(r.Verdict), &sample{}
	})
	for _, d := range draws {
		if d == nil {
			out.Failed++
			continue
		}
		everyRow(d, func(site string, r measure.Row) {
			p := placeOf(site, r)
			n, ok := samples[p]
			if !ok {
				return
			}
			if r.Value != nil {
				n.values = append(n.values, *r.Value)
			}
			if string(r.Verdict) == verdicts[p] {
				n.kept++
			}
		})
	}
	everyRow(base, func(site string, r measure.Row) {
		p := placeOf(site, r)
		out.Rows = append(out.Rows, simulated(site, r, samples[p], placed[p], len(draws)))
	})
	for _, st := range s.plan.Structures {
		if st.Surface != nil {
			out.Notes = append(out.Notes, fmt.Sprintf("structure %q is a surface and was not moved", st.Name))
		}
	}
	return out
}
