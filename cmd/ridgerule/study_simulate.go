package main

import (
	"context"

	"github.com/spf13/cobra"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/study"
)

func (a *app) studySimulate() *cobra.Command {
	var planPath, series string
	var arch, sites, marks float64
	o := study.SimulateOptions{}
	c := &cobra.Command{
		Use:   "simulate PATH --plan PLAN",
		Short: "What a reader's hand does to each number of one case",
		Long: `Measure one case many times, each time with the marks of its plan moved at random: arch points, sites
and the paths of structures, along x, y and z by the SD given. The table on stdout has a row a number:
its spread over the readings, beside what its budget sets aside for the placing of marks.

` + pathHelp,
		Args: oneArg("PATH"),
	}
	fl := c.Flags()
	fl.StringVar(&planPath, "plan", "", "the site plan `PLAN` (YAML or JSON)")
	fl.StringVar(&series, "series", "", "the series to read when there are several: its number or `UID`")
	fl.IntVar(&o.Draws, "draws", 200, "readings to draw")
	fl.Uint64Var(&o.Seed, "seed", 1, "the same seed gives the same readings")
	fl.Float64Var(&arch, "arch-sd", 0.3, "SD of each arch point, `mm`")
	fl.Float64Var(&sites, "site-sd", 0.3, "SD of each site's place, `mm`")
	fl.Float64Var(&marks, "mark-sd", 0, "SD of each point of a structure, `mm`; the plan's own sd_mm when not given")
	c.RunE = func(c *cobra.Command, args []string) error {
		o.Placement.Arch, o.Placement.Sites = &arch, &sites
		if fl.Changed("mark-sd") {
			o.Placement.Marks = &marks
		}
		if err := o.Check(); err != nil || o.Draws == 0 {
			return usagef("--draws, --arch-sd, --site-sd or --mark-sd: %w", err)
		}
		p, err := openPlan(planPath)
		if err != nil {
			return err
		}
		s, err := a.simulate(c.Context(), args[0], series, p, o)
		if err != nil {
			return err
		}
		for _, n := range s.Notes {
			a.say("note: %s", n)
		}
		if s.Failed > 0 {
			a.say("note: %d of %d readings could not be measured at all", s.Failed, s.Draws)
		}
		return s.WriteCSV(a.stdout)
	}
	return c
}

// simulate reads the series once and measures the moved plans on it.
func (a *app) simulate(ctx context.Context, path, selector string, p planFile, o study.SimulateOptions) (*study.Simulation, error) {
	s, err := a.open(ctx, path, selector)
	if err != nil {
		return nil, err
	}
	defer s.input.Close()
	if _, err := p.place(s.Grid); err != nil {
		return nil, err
	}
	drawn, err := p.InPatient(s.Grid, p.source)
	if err != nil {
		return nil, err
	}
	v, err := a.volume(ctx, s)
	if err != nil {
		return nil, err
	}
	scan := scanOf(s.Series, v)
	o.Measure = func(ctx context.Context, moved *plan.Plan, mo measure.Options) (*measure.Result, error) {
		placed, err := moved.Place(v.Grid, p.source)
		if err != nil {
			return nil, err
		}
		return measure.Run(ctx, v, placed, scan, mo)
	}
	step, end := a.progress("readings")
	defer end()
	o.Progress = step
	return study.Simulate(ctx, drawn, o)
}
