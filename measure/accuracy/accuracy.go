// Package accuracy measures synthetic jaws whose truth is known and says how far the numbers lie
// from it: bias, spread, and how often the stated uncertainty covers the error.
//
// Options flow in, an [Error] a measured number comes out, and tables are made of those. It is the
// one place where the measuring rooms and the phantom meet; neither knows the other.
package accuracy

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"golang.org/x/sync/errgroup"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// Error is one measured number beside its truth.
type Error struct {
	Quantity string  // as in measurements.csv, a height with what it ends at
	At       float64 // depth below the crest, mm; NaN: none
	Cell     Cell    // the scan it was taken on
	Truth    float64 // mm or degrees
	Error    float64 // measured less true, mm or degrees; NaN: no number was given
	U        float64 // stated expanded uncertainty, mm or degrees
	Why      string  // why there is no number
	Seed     uint64  // of the jaw
}

// Cell is the kind of scan that a number was taken on.
type Cell struct{ Voxel, Blur, Noise float64 } // mm, mm, grey values

// Options say which jaws are drawn.
type Options struct {
	Cases    int                                     // jaws, one site each
	Seed     uint64                                  // of the first
	Fix      func(o phantom.Options) phantom.Options // changes each drawn jaw; nil: as drawn
	Edge     float64                                 // edge of the imaged cube, mm; 0: 24
	Progress func(done, total int)                   // nil: silent
}

// teeth are the sites drawn from, in both jaws.
var teeth = map[phantom.Kind][]int{
	phantom.Mandible: {36, 46, 35, 45, 42, 32},
	phantom.Maxilla:  {16, 26, 15, 25, 12, 22},
}

// Run draws jaws, measures them as a user would, as many at once as there are processors, and
// returns every error in the order of the jaws. The seed decides all.
func Run(ctx context.Context, o Options) ([]Error, error) {
	if o.Edge == 0 {
		o.Edge = 24
	}
	cases := make([][]Error, o.Cases)
	var done sync.Mutex
	finished := 0
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(runtime.GOMAXPROCS(0))
	for n := range o.Cases {
		g.Go(func() error {
			seed := o.Seed + uint64(n)
			errs, err := one(ctx, o, seed)
			if err != nil {
				return fmt.Errorf("accuracy: jaw %d: %w", seed, err)
			}
			cases[n] = errs
			done.Lock()
			defer done.Unlock()
			if finished++; o.Progress != nil {
				o.Progress(finished, o.Cases)
			}
			return nil
		})
	}
	err := g.Wait()
	return slices.Concat(cases...), err
}

// one measures one random jaw at one site.
func one(ctx context.Context, o Options, seed uint64) ([]Error, error) {
	kind := phantom.Kind(seed % 2)
	draw := phantom.Random(seed, kind)
	if o.Fix != nil {
		draw = o.Fix(draw)
	}
	small, err := draw.Small(teeth[kind][int(seed/2)%len(teeth[kind])], o.Edge)
	if err != nil {
		return nil, err
	}
	jaw, err := phantom.New(small)
	if err != nil {
		return nil, err
	}
	v, err := jaw.Volume(ctx, nil)
	if err != nil {
		return nil, err
	}
	truth, err := intended(small)
	if err != nil {
		return nil, err
	}
	var text bytes.Buffer
	if err := jaw.Plan().Write(&text); err != nil {
		return nil, err
	}
	p, source, err := plan.Read("plan.yaml", text.Bytes(), nil)
	if err != nil {
		return nil, err
	}
	exact(p)
	misplace(p, small.Hand, seed)
	placed, err := p.Place(v.Grid, source)
	if err != nil {
		return nil, err
	}
	r, err := measure.Run(ctx, v, placed, measure.Scan{}, measure.Options{PlacedBy: &small.Hand})
	if err != nil {
		return nil, err
	}
	cell := Cell{math.Cbrt(small.Scan.Voxel[0] * small.Scan.Voxel[1] * small.Scan.Voxel[2]), small.Scan.Blur, small.Scan.Noise}
	return compare(r.Sites[0], truth.Sites[0], cell, seed), nil
}

// intended returns the truth of the section that was meant, on the arch and at the site without the
// hand's scatter.
func intended(o phantom.Options) (phantom.Truth, error) {
	o.Hand = 0
	jaw, err := phantom.New(o)
	if err != nil {
		return phantom.Truth{}, err
	}
	return jaw.Truth()
}

// misplace moves the sites by the hand's scatter, as the phantom does the arch.
func misplace(p *plan.Plan, hand float64, seed uint64) {
	r := rand.New(rand.NewPCG(seed, 31))
	for i := range p.Sites {
		at := *p.Sites[i].At
		at.X += hand * r.NormFloat64()
		at.Y += hand * r.NormFloat64()
		p.Sites[i].At = &at
	}
}

// exact takes out of the plan what the phantom does not get wrong: its scale, and the marking of
// its structures. The budget must then stand on what is left.
func exact(p *plan.Plan) {
	p.ScaleHalfWidth = 0
	for i := range p.Structures {
		p.Structures[i].SD = 0
	}
}

// compare pairs the site's rows with the truth.
func compare(s measure.SiteResult, t phantom.SiteTruth, cell Cell, seed uint64) []Error {
	var out []Error
	for _, row := range s.Rows {
		name, want, ok := wanted(row, t.Ridge)
		if !ok {
			continue
		}
		e := Error{Quantity: name, At: math.NaN(), Cell: cell, Truth: want, Error: math.NaN(), Why: row.Note, Seed: seed}
		if row.At != nil {
			e.At = *row.At
		}
		if row.Value != nil {
			e.Error, e.U = *row.Value-want, row.Budget.U()
		}
		out = append(out, e)
	}
	return out
}

// wanted returns the truth of a row and the name it is tabled under.
func wanted(row measure.Row, t phantom.AxisTruth) (name string, want float64, ok bool) {
	switch row.Quantity {
	case quantity.RidgeTilt:
		return string(row.Quantity), t.Tilt, true
	case quantity.BuccalUndercut:
		return string(row.Quantity), t.Buccal.Depth, true
	case quantity.LingualUndercut:
		return string(row.Quantity), t.Lingual.Depth, true
	case quantity.RidgeHeight:
		for _, h := range t.Heights {
			if h.To == row.To {
				return string(row.Quantity) + " to " + quantity.InWords(h.To), h.Height, true
			}
		}
		return "", 0, false
	case quantity.RidgeWidth, quantity.BuccalPlate, quantity.LingualPlate:
		return atDepth(row, t)
	}
	return "", 0, false
}

// atDepth finds the truth of a width or plate at the row's depth; plates are tabled by their true
// thickness, for a thin one is harder. Below the end of the bone there is no truth.
func atDepth(row measure.Row, t phantom.AxisTruth) (string, float64, bool) {
	for _, w := range t.Widths {
		if w.At != *row.At || len(t.Heights) > 0 && t.Heights[0].To != "canal" && w.At > t.Heights[0].Height-1 {
			continue
		}
		if row.Quantity == quantity.RidgeWidth {
			if w.At < 2 {
				return string(row.Quantity) + " at 1 mm", w.Width, true
			}
			return string(row.Quantity) + " at 3–10 mm", w.Width, true
		}
		plate := w.Buccal
		if row.Quantity == quantity.LingualPlate {
			plate = w.Lingual
		}
		if plate == nil || w.At < 3 {
			return "", 0, false
		}
		if *plate < 0.8 {
			return "plate under 0.8 mm", *plate, true
		}
		return "plate from 0.8 mm", *plate, true
	}
	return "", 0, false
}
