package study

import (
	"cmp"
	"context"
	"errors"
	"sync"

	"golang.org/x/sync/errgroup"

	"ridgerule/dicomio"
	"ridgerule/measure/plan"
)

// CheckOptions say how a manifest is checked; the zero value is ready.
type CheckOptions struct {
	Jobs     int                   // entries at once; 0 means 1
	Memory   int64                 // bytes that a run will be allowed; 0: no limit
	Limits   dicomio.Limits        // of reading a series; the zero value is the usual ones
	Progress func(done, total int) // from one goroutine at a time; nil: silent
}

// Check returns, in the manifest's order, the failures that a run would meet at once: plans that cannot be read or
// do not fit their scan, series that cannot be found or are unfit to measure, volumes too large for the
// memory. It reads headers and no pixel, and writes nothing. The error is ctx's.
func Check(ctx context.Context, m *Manifest, o CheckOptions) ([]Failure, error) {
	gate := newGate(o.Memory)
	faults, done := make([]error, len(m.Entries)), 0
	var mu sync.Mutex
	g, within := errgroup.WithContext(ctx)
	g.SetLimit(max(1, o.Jobs))
	for i, e := range m.Entries {
		if within.Err() != nil {
			break
		}
		g.Go(func() error {
			faults[i] = recovered(func() error {
				bytes, err := e.look(within, o.Limits)
				return cmp.Or(err, gate.fits(bytes))
			})
			mu.Lock()
			defer mu.Unlock()
			if done++; o.Progress != nil {
				o.Progress(done, len(m.Entries))
			}
			return within.Err()
		})
	}
	if err := cmp.Or(g.Wait(), ctx.Err()); err != nil {
		return nil, err
	}
	var out []Failure
	for i, err := range faults {
		if err != nil {
			out = append(out, failureOf(err, StageSeries).of(m.Entries[i]))
		}
	}
	return out, nil
}

// look holds the entry's plan against the headers of its series, and returns the bytes that it takes to measure.
func (e Entry) look(ctx context.Context, limits dicomio.Limits) (int64, error) {
	p, source, err := plan.Open(e.Plan)
	if err != nil {
		return 0, failureOf(err, StagePlan)
	}
	input, err := dicomio.Open(e.Series, limits)
	if err != nil {
		return 0, failureOf(err, StageSeries)
	}
	defer input.Close()
	found, err := dicomio.Scan(ctx, input, limits)
	if err != nil {
		return 0, failureOf(err, StageSeries)
	}
	s, err := found.Pick("")
	if err == nil {
		err = s.Err()
	}
	if err != nil {
		return 0, failureOf(err, StageSeries)
	}
	if err := suits(p, source, s); err != nil {
		return 0, failureOf(err, StagePlan)
	}
	return need(s.Bytes(), len(p.Sites)), nil
}

// suits says why the plan is none for this series, as far as its headers tell: its pixels have a hash too, which
// is held when they are read.
func suits(p *plan.Plan, source *plan.Source, s *dicomio.Series) error {
	if frame := p.For.Frame; frame != "" && frame != s.FrameHash() {
		return errors.New("the plan was made on another scan: it names another frame of reference; correct the series or the plan in the manifest")
	}
	_, err := p.Place(s.Grid, source)
	return err
}
