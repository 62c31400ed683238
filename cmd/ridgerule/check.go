package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/plan"
)

func (a *app) check() *cobra.Command {
	var path, selector string
	c := &cobra.Command{
		Use:   "check PLAN",
		Short: "Check a site plan: every error at once",
		Long: `Check a site plan and print every error with its line, column and remedy, and every caution that its
result would carry. With --series the plan is held against the scan too, as ridgerule measure would:
points outside it, structures where the image shows none; and the lines are printed by which the plan
names that scan.`,
		Args: oneArg("PLAN"),
	}
	c.Flags().StringVar(&path, "series", "", "the scan `PATH` to hold the plan against")
	c.Flags().StringVar(&selector, "pick", "", "the series when PATH holds several: its number or `UID`")
	c.RunE = func(c *cobra.Command, args []string) error {
		p, err := readPlan(args[0])
		var found checked
		if err == nil {
			found, err = a.checkPlan(c.Context(), p, path, selector)
		}
		if a.json {
			return a.checkJSON(found, err)
		}
		if err != nil {
			return err
		}
		a.cautions(found.Cautions)
		if found.For != nil {
			fmt.Fprintf(a.stdout, "for:\n  series: %s\n", found.For.Series)
			if found.For.Frame != "" {
				fmt.Fprintf(a.stdout, "  frame: %s\n", found.For.Frame)
			}
		}
		fmt.Fprintf(a.stdout, "the plan: no errors; %s, %d sites, %d structures\n", p.Jaw, len(p.Sites), len(p.Structures))
		return nil
	}
	return c
}

// checked is what is odd about a plan, and the scan it was held against.
type checked struct {
	Cautions []measure.Caution
	For      *madeFor
}

// madeFor are the hashes by which a plan names its scan.
type madeFor struct {
	Series string `json:"series"`
	Frame  string `json:"frame,omitempty"`
}

// checkPlan holds the plan against itself or, as ridgerule measure does, against the series at path.
func (a *app) checkPlan(ctx context.Context, p planFile, path, selector string) (checked, error) {
	if path == "" {
		cautions, err := p.Check(p.source)
		return checked{Cautions: cautions}, err
	}
	s, err := a.open(ctx, path, selector)
	if err != nil {
		return checked{}, err
	}
	defer s.input.Close()
	placed, err := p.place(s.Grid)
	if err != nil {
		return checked{}, err
	}
	v, err := a.volume(ctx, s)
	if err != nil {
		return checked{}, err
	}
	scan := scanOf(s.Series, v)
	r, err := measure.Run(ctx, v, placed, scan, measure.Options{})
	if err != nil {
		return checked{}, err
	}
	return checked{r.Cautions, &madeFor{scan.SeriesHash, scan.FrameHash}}, nil
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
func (a *app) checkJSON(found checked, err error) error {
	answer := struct {
		Good     bool              `json:"good"`
		Errors   []planFault       `json:"errors"`
		Cautions []measure.Caution `json:"cautions"`
		For      *madeFor          `json:"for,omitempty"`
	}{Good: err == nil, Errors: []planFault{}, Cautions: append([]measure.Caution{}, found.Cautions...), For: found.For}
	var faults plan.Errors
	if err != nil && (!errors.As(err, &faults) || errors.Is(err, dicomio.ErrSeries)) {
		return err
	}
	for _, e := range faults {
		answer.Errors = append(answer.Errors, planFault{e.File, e.Line, e.Column, e.Where, e.What, e.Remedy})
	}
	if printErr := a.printJSON(answer); printErr != nil || err == nil {
		return printErr
	}
	return errSaid{err}
}
