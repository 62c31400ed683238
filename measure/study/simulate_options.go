package study

import (
	"context"
	"errors"
	"fmt"

	"ridgerule/measure"
	"ridgerule/measure/plan"
)

// Placement is the scatter of a reader's marks: the standard deviation along each of x, y and z, mm,
// every mark on its own. nil means [usualPlacement] for arch and sites, and for structures the SD that
// the plan states for each.
type Placement struct {
	Arch  *float64 // of each arch point, mm
	Sites *float64 // of each site's place and operator's crest point, mm; along the arch where the plan gives a length
	Marks *float64 // of each point of a marked structure, mm
}

// usualPlacement is the scatter of a mark drawn by hand, mm; the same as measure's budget takes.
const usualPlacement = 0.3

// SimulateOptions say how a case is simulated; Measure must be set.
type SimulateOptions struct {
	Placement Placement
	Draws     int    // readings drawn; 0 means 200
	Seed      uint64 // the same seed gives the same draws
	Progress  func(done, total int)

	// Measure measures one plan on the volume of the case. It is called from several goroutines at
	// once and must not keep or change what it is given.
	Measure func(ctx context.Context, p *plan.Plan, o measure.Options) (*measure.Result, error)
}

// filled returns the options with defaults for what is nil or 0; Marks stays nil for the plan's own.
func (o SimulateOptions) filled() SimulateOptions {
	usual := usualPlacement
	if o.Draws == 0 {
		o.Draws = 200
	}
	if o.Placement.Arch == nil {
		o.Placement.Arch = &usual
	}
	if o.Placement.Sites == nil {
		o.Placement.Sites = &usual
	}
	return o
}

// errDraws: see [SimulateOptions.Check].
var errDraws = errors.New("study: unusable simulation")

// Check returns an error for fewer than 2 draws, more than 1 million, or a scatter that is no length
// from 0 to 10 mm.
func (o SimulateOptions) Check() error {
	if o.Draws != 0 && (o.Draws < 2 || o.Draws > 1_000_000) {
		return fmt.Errorf("%w: %d draws; give 2 to 1000000", errDraws, o.Draws)
	}
	for _, sd := range []*float64{o.Placement.Arch, o.Placement.Sites, o.Placement.Marks} {
		if sd != nil && !(*sd >= 0 && *sd <= 10) {
			return fmt.Errorf("%w: a scatter of %g mm; give 0 to 10 mm", errDraws, *sd)
		}
	}
	return nil
}
