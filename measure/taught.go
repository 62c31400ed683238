package measure

import (
	"context"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/ridge"
)

// Taught keeps what a series taught along an arch, and the sites that were measured on it, for the next run on the same
// volume and arch, as of somebody who moves one site and measures again: only that site is measured then. No number changes
// by it. The zero value is ready; runs may share it.
type Taught struct {
	mu       sync.Mutex
	volume   *volume.Volume
	arch     []r3.Vec
	occlusal r3.Vec
	jaw      Jaw
	lesson   *lesson     // nil: nothing yet
	before   *remembered // the sites of the run before; nil: none
}

// lesson is what the stations of an arch teach about a series.
type lesson struct {
	tissue   ridge.ImageModel
	said     []Caution
	motion   string // signs that the patient moved; empty: none
	sections *sections
}

// of returns what was taught about the run's volume along its arch, or has it taught now. A nil Taught keeps nothing.
func (t *Taught) of(ctx context.Context, c *run) (*lesson, error) {
	if t == nil {
		return c.learn(ctx)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.knows(c.v, c.plan) {
		return t.lesson, nil
	}
	l, err := c.learn(ctx)
	if err != nil {
		return nil, err
	}
	t.volume, t.arch, t.occlusal, t.jaw, t.lesson = c.v, slices.Clone(c.plan.Arch), c.plan.Occlusal, c.plan.Jaw, l
	return l, nil
}

// knows reports whether something was taught about a volume along a plan's arch.
func (t *Taught) knows(v *volume.Volume, p *plan.Placed) bool {
	return t.lesson != nil && t.volume == v && slices.Equal(t.arch, p.Arch) && t.occlusal == p.Occlusal && t.jaw == p.Jaw
}

// take uses a lesson for a run.
func (c *run) take(l *lesson) {
	c.tissue, c.taught, c.sections = l.tissue, l.said, l.sections
	if l.motion != "" {
		_ = c.doubts.Add(doubt{Caution: Cautionf("motion", SeverityUncertain, "the patient seems to have moved during the scan: %s. Numbers may be off by more than their uncertainty; look at the pictures, and scan again", l.motion)})
	}
}
