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

// Cache keeps what a series told along an arch, and the sites that were measured on it, for the next run on the same
// volume and arch, as of somebody who moves one site and measures again: only that site is measured then. No number changes
// by it. The zero value is ready; runs may share it.
type Cache struct {
	mu       sync.Mutex
	volume   *volume.Volume
	arch     []r3.Vec
	occlusal r3.Vec
	jaw      Jaw
	model    *seriesModel // nil: nothing yet
	before   *remembered  // the sites of the run before; nil: none
}

// seriesModel is what the stations of an arch tell about a series.
type seriesModel struct {
	tissue   ridge.ImageModel
	said     []Caution
	motion   string // signs that the patient moved; empty: none
	sections *sections
}

// of returns the model of the run's volume along its arch, or estimates it now. A nil Cache keeps nothing.
func (t *Cache) of(ctx context.Context, c *run) (*seriesModel, error) {
	if t == nil {
		return c.estimate(ctx)
	}
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.knows(c.v, c.plan) {
		return t.model, nil
	}
	l, err := c.estimate(ctx)
	if err != nil {
		return nil, err
	}
	t.volume, t.arch, t.occlusal, t.jaw, t.model = c.v, slices.Clone(c.plan.Arch), c.plan.Occlusal, c.plan.Jaw, l
	return l, nil
}

// knows reports whether a model is kept of a volume along a plan's arch.
func (t *Cache) knows(v *volume.Volume, p *plan.Placed) bool {
	return t.model != nil && t.volume == v && slices.Equal(t.arch, p.Arch) && t.occlusal == p.Occlusal && t.jaw == p.Jaw
}

// take uses a model for a run.
func (c *run) take(l *seriesModel) {
	c.tissue, c.modelCautions, c.sections = l.tissue, l.said, l.sections
	if l.motion != "" {
		_ = c.doubts.Add(doubt{Caution: Cautionf("motion", SeverityUncertain, "the patient seems to have moved during the scan: %s. Numbers may be off by more than their uncertainty; look at the pictures, and scan again", l.motion)})
	}
}
