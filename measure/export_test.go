package measure

import (
	"context"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
)

// RunPlan places a plan on the volume's grid and measures it.
func RunPlan(ctx context.Context, v *volume.Volume, p *plan.Plan, scan Scan, opt Options) (*Result, error) {
	placed, err := p.Place(v.Grid, nil)
	if err != nil {
		return nil, err
	}
	return Run(ctx, v, placed, scan, opt)
}
