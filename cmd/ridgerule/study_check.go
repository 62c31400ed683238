package main

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"slices"

	"github.com/spf13/cobra"

	"ridgerule/measure/study"
)

func (a *app) studyCheck() *cobra.Command {
	o := study.CheckOptions{Memory: study.FreeMemory()}
	var memory string
	c := &cobra.Command{
		Use:   "check MANIFEST",
		Short: "Check every plan and series of a manifest before a run",
		Long: `Check what MANIFEST lists before it is measured: that every plan is right and fits its scan, that every series
is there and fit to measure, and that each fits the memory. Headers are read and no pixel; nothing is
written. Every fault is said at once, with its line. Exit status 2 when a plan is wrong, else 3 when a series is.`,
		Example: `  ridgerule study check manifest.csv
  ridgerule study run manifest.csv -o study`,
		Args: oneArg("MANIFEST"),
	}
	c.Flags().IntVar(&o.Jobs, "jobs", runtime.GOMAXPROCS(0), "cases at once")
	c.Flags().StringVar(&memory, "memory", "", "memory that the run will have, as `6000M` or 12G; what is available when not given")
	c.RunE = func(c *cobra.Command, args []string) error {
		if memory != "" {
			var err error
			if o.Memory, err = study.ParseMemory(memory); err != nil {
				return usagef("--memory %w", err)
			}
		}
		o.Limits = a.limits
		return a.checkStudy(c.Context(), args[0], o)
	}
	return c
}

func (a *app) checkStudy(ctx context.Context, path string, o study.CheckOptions) error {
	m, err := a.openManifest(path)
	if err != nil {
		return err
	}
	step, end := a.studyProgress("checked")
	o.Progress = step
	faults, err := study.Check(ctx, m, o)
	end()
	if err != nil {
		return err
	}
	if a.json {
		type fault struct {
			Line int `json:"line"`
			study.Failure
		}
		list := []fault{}
		for _, f := range faults {
			list = append(list, fault{f.Line, f})
		}
		err = a.printJSON(map[string]any{"cases": len(m.Entries), "faults": list})
	} else {
		for _, f := range faults {
			fmt.Fprintf(a.stderr, "line %d, %s: %s: %s\n", f.Line, nameOf(f), f.Stage, f.Reason)
		}
		_, err = fmt.Fprintf(a.stdout, "%d cases: %d to measure, %d with faults\n", len(m.Entries), len(m.Entries)-len(faults), len(faults))
	}
	switch {
	case err != nil || len(faults) == 0:
		return err
	case slices.ContainsFunc(faults, func(f study.Failure) bool { return f.Stage == study.StagePlan }):
		return errSaid{usageError{errors.New("a plan is wrong")}}
	}
	return errSaid{errUnfit}
}

// errUnfit is the end of a check that found a series wrong, and no plan.
var errUnfit = errors.New("a series cannot be measured")
