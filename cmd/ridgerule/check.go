package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

func (a *app) check() *cobra.Command {
	var path, selector string
	c := &cobra.Command{
		Use:   "check PLAN",
		Short: "Check a site plan: every error at once",
		Long: `Check a site plan and print every error with its line, column and remedy. With --series the plan is
held against a scan too: points outside it, stations past the end of the arch. No pixel is read.`,
		Args: oneArg("PLAN"),
	}
	c.Flags().StringVar(&path, "series", "", "the scan `PATH` to hold the plan against")
	c.Flags().StringVar(&selector, "pick", "", "the series when PATH holds several: its number or `UID`")
	c.RunE = func(c *cobra.Command, args []string) error {
		plan, err := measure.OpenPlan(args[0])
		if err == nil && path != "" {
			err = a.checkOn(c.Context(), plan, path, selector)
		}
		if a.json {
			return a.checkJSON(plan, err)
		}
		if err != nil {
			return err
		}
		a.cautions(plan.Cautions)
		fmt.Fprintf(a.stdout, "%s: no errors; %s, %d sites, %d structures\n", called(plan), plan.Jaw, len(plan.Sites), len(plan.Structures))
		return nil
	}
	return c
}

// called returns the plan's file name, if it tells no more than the case's label does.
func called(plan *measure.Plan) string {
	if name := harmlessName(plan.Path, plan.Case); name != "" {
		return name
	}
	return "the plan"
}

// checkOn holds the plan against the grid of a series, from its headers alone.
func (a *app) checkOn(ctx context.Context, plan *measure.Plan, path, selector string) error {
	s, err := a.open(ctx, path, selector)
	if err != nil {
		return err
	}
	defer s.door.Close()
	return fits(plan, s.Grid)
}

// fits places the plan on the grid and holds it against it.
func fits(plan *measure.Plan, g volume.Grid) error {
	if err := plan.Place(g); err != nil {
		return err
	}
	curve, err := reformat.NewCurve(plan.Arch, plan.Occlusal)
	if err != nil {
		return fmt.Errorf("%s: %w", plan.Path, err)
	}
	return plan.CheckOn(g, curve.Length())
}

// planFault is an error of a plan as --json prints it.
type planFault struct {
	File    string `json:"file"`
	Line    int    `json:"line,omitempty"`
	Column  int    `json:"column,omitempty"`
	Where   string `json:"where,omitempty"`
	Problem string `json:"problem"`
	Remedy  string `json:"remedy"`
}

// checkJSON prints the errors of a plan; any other error stays one.
func (a *app) checkJSON(plan *measure.Plan, err error) error {
	answer := struct {
		Good     bool              `json:"good"`
		Errors   []planFault       `json:"errors"`
		Cautions []measure.Caution `json:"cautions"`
	}{Good: err == nil, Errors: []planFault{}, Cautions: []measure.Caution{}}
	var faults measure.PlanErrors
	if err != nil && (!errors.As(err, &faults) || errors.Is(err, dicomio.ErrSeries)) {
		return err
	}
	for _, e := range faults {
		answer.Errors = append(answer.Errors, planFault{e.File, e.Line, e.Column, e.Where, e.What, e.Remedy})
	}
	if plan != nil {
		answer.Cautions = append(answer.Cautions, plan.Cautions...)
	}
	if printErr := a.printJSON(answer); printErr != nil || err == nil {
		return printErr
	}
	return errSaid{err}
}
