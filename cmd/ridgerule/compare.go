package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/align"
	"ridgerule/measure/change"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
)

// compareFlags are the flags of compare.
type compareFlags struct {
	out                              outFlags
	plan, align, series, afterSeries string
	placed                           bool
}

func (a *app) compare() *cobra.Command {
	var k compareFlags
	c := &cobra.Command{
		Use:   "compare BEFORE AFTER --plan PLAN --align ALIGN -o DIR",
		Short: "Compare the bone in two scans of one jaw: change with its uncertainty",
		Long: `Compare two scans of one jaw at the sites of a plan that was made on BEFORE: crest, ridge height, widths and plates, in the
same sections, along the same axes. A change within its U reads "no change shown", which is no proof that none took
place. At an implant that stands in AFTER the level of the bone on its four sides is told, too. ALIGN is what ridgerule align made of the same two scans, in this order; until somebody has accepted it, every
change is at best uncertain.

With --placed each planned implant is looked for in AFTER, near its planned place, and held against the plan: coronal, apical,
depth, lateral, mesial and buccal deviations and the angle, each with U.

The folder DIR holds report.html, changes.csv and changes.json, with --placed placed.csv too. It appears whole or not at all.`,
		Example: `  ridgerule compare before after --plan plan.yaml --align align.json --placed -o change`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 2 {
				return fmt.Errorf("compare needs BEFORE and AFTER, not %d arguments; see ridgerule compare --help", len(args))
			}
			return nil
		},
	}
	fl := c.Flags()
	k.out.add(fl)
	fl.StringVar(&k.plan, "plan", "", "the site plan `PLAN` of BEFORE (YAML or JSON)")
	fl.StringVar(&k.align, "align", "", "the alignment `ALIGN` of BEFORE and AFTER (JSON)")
	fl.BoolVar(&k.placed, "placed", false, "hold the placed implants against the planned ones")
	fl.StringVar(&k.series, "series", "", "the series of BEFORE when there are several: its number or `UID`")
	fl.StringVar(&k.afterSeries, "after-series", "", "the series of AFTER when there are several: its number or `UID`")
	c.RunE = func(c *cobra.Command, args []string) error { return a.runCompare(c.Context(), args, k) }
	return c
}

func (a *app) runCompare(ctx context.Context, args []string, k compareFlags) error {
	p, err := openPlan(k.plan)
	if err != nil {
		return err
	}
	if k.align == "" {
		return usagef("no alignment; make one with ridgerule align and name it with --align ALIGN")
	}
	f, err := readAlignment(k.align)
	if err != nil {
		return err
	}
	out, err := newFolder(k.out.dir, k.out.replace, append(append([]string{}, args...), k.plan, k.align)...)
	if err != nil {
		return err
	}
	defer out.abandon()
	c, err := a.comparison(ctx, args, k, p, f)
	if err != nil {
		return err
	}
	names := []string{"report.html", "changes.csv", "changes.json"}
	fill := map[string]func(io.Writer) error{
		"report.html":  func(w io.Writer) error { return report.ChangePage(w, c) },
		"changes.csv":  func(w io.Writer) error { return report.ChangesCSV(w, c.Result) },
		"changes.json": func(w io.Writer) error { return report.ChangesJSON(w, c) },
	}
	if k.placed {
		names = append(names, "placed.csv")
		fill["placed.csv"] = func(w io.Writer) error { return report.PlacedCSV(w, c.Result) }
	}
	for _, name := range names {
		if err := out.write(name, fill[name]); err != nil {
			return err
		}
	}
	if err := a.settle(out, k.out.dir); err != nil {
		return err
	}
	if a.json {
		return a.list(k.out.dir, names)
	}
	return a.changeSummary(c.Result, k.out.dir)
}

// comparison reads both scans and compares them.
func (a *app) comparison(ctx context.Context, args []string, k compareFlags, p planFile, f align.File) (report.ChangeCase, error) {
	date, err := report.Date(a.getenv, a.now)
	if err != nil {
		return report.ChangeCase{}, usageError{err}
	}
	var scans [2]change.Scan
	synthetic := false
	for i, path := range args {
		s, err := a.open(ctx, path, [2]string{k.series, k.afterSeries}[i])
		if err != nil {
			return report.ChangeCase{}, err
		}
		v, err := a.volume(ctx, s)
		if err = errors.Join(err, s.input.Close()); err != nil {
			return report.ChangeCase{}, err
		}
		scans[i] = change.Scan{Volume: v, Facts: scanOf(s.Series, v)}
		synthetic = synthetic || s.Synthetic
	}
	step, end := a.progress("measuring")
	defer end()
	r, err := change.Compare(ctx, scans[0], scans[1], p.Plan, p.source, f, change.Options{Placed: k.placed, Progress: step})
	if errors.Is(err, change.ErrAlignment) {
		err = fmt.Errorf("%s: %w", k.align, err)
	}
	if err != nil {
		return report.ChangeCase{}, err
	}
	r.Before.Synthetic, r.After.Synthetic = synthetic, synthetic
	c := report.ChangeCase{Result: r, Before: map[string]report.Picture{}, After: map[string]report.Picture{}, Tool: "ridgerule " + version, Date: date.Format("2006-01-02")}
	for i, s := range r.Before.Sites {
		from, to := extent(s)
		step := math.Max(pixel(scans[0].Volume), pixel(scans[1].Volume))
		c.Before[s.ID] = sectionPicture(scans[0].Volume, s.Frame, from, to, step)
		c.After[s.ID] = sectionPicture(scans[1].Volume, r.After.Sites[i].Frame, from, to, step)
	}
	return c, nil
}

func sectionPicture(v *volume.Volume, f reformat.Frame, from, to reformat.UV, step float64) report.Picture {
	return report.PictureOf(reformat.Resample(v, f, from, to, step))
}

// changeSummary prints a line a site.
func (a *app) changeSummary(r *change.Result, dir string) error {
	w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "site\tcrest lower by mm\tshown\tbone lost at the implant mm, most\tshown\tcoronal deviation mm\tangle deg")
	for _, s := range r.Sites {
		crest, crestShown := mostLost(s.Rows, string(change.CrestLevel))
		bone, boneShown := mostLost(s.Rows, "bone_level_")
		coronal, angle := "–", "–"
		if p := s.Placed; p != nil {
			coronal = fmt.Sprintf("%.2f ± %.2f", p.Deviation.Coronal.Value, math.Ceil(100*p.Deviation.Coronal.U())/100)
			angle = fmt.Sprintf("%.1f ± %.1f", p.Deviation.Angle.Value, math.Ceil(10*p.Deviation.Angle.U())/10)
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", s.ID, crest, crestShown, bone, boneShown, coronal, angle)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, s := range r.Sites {
		for _, why := range []string{s.Err, s.NotPlaced} {
			if why != "" {
				a.say("%s: %s", s.ID, why)
			}
		}
	}
	for _, c := range r.Cautions {
		a.say("caution: %s", c)
	}
	a.say("report: %s", filepath.Join(dir, "report.html"))
	return nil
}

// mostLost writes the greatest change of the rows whose quantity begins so, and whether it is shown.
func mostLost(rows []change.Row, quantity string) (value, shown string) {
	most := math.Inf(-1)
	value, shown = "–", "–"
	for _, r := range rows {
		side, of := strings.CutPrefix(string(r.Quantity), quantity)
		if of && r.Shown.Number() && r.Change.Value > most {
			most = r.Change.Value
			value, shown = strings.TrimSpace(fmt.Sprintf("%+.2f ± %.2f %s", most, math.Ceil(100*r.Change.U())/100, side)), string(r.Shown)
		}
	}
	return value, shown
}
