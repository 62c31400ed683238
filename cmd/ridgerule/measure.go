package main

import (
	"errors"
	"path/filepath"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/plan"
)

// outFlags are the flags of a verb that leaves a folder.
type outFlags struct {
	dir     string
	replace bool
}

func (o *outFlags) add(f *pflag.FlagSet) {
	f.StringVarP(&o.dir, "output", "o", "", "the folder to make `DIR`; it must not exist or be empty")
	f.BoolVar(&o.replace, "replace", false, "let -o replace a folder that holds something")
}

// caseFlags are the flags of a verb that measures a case.
type caseFlags struct {
	outFlags
	plan, series string
	otherScan    bool
}

func (k *caseFlags) add(f *pflag.FlagSet) {
	k.outFlags.add(f)
	f.StringVar(&k.plan, "plan", "", "the site plan `PLAN` (YAML or JSON)")
	f.BoolVar(&k.otherScan, "other-scan", false, "measure another scan than the plan names; every output says so")
	f.StringVar(&k.series, "series", "", "the series to read when there are several: its number or `UID`")
}

// result measures the case at path, with its output folder begun: abandon it in the end.
func (k *caseFlags) result(c *cobra.Command, a *app, path string, p planFile, extra *extraFlags) (fullCase, *folder, error) {
	f, err := newFolder(k.dir, k.replace, extra.key.inputs(path, k.plan)...)
	if err != nil {
		return fullCase{}, nil, err
	}
	whole := false
	defer func() { // on an error, and on a panic too
		if !whole {
			f.abandon()
		}
	}()
	result, err := a.measureCase(c.Context(), path, k.series, p, measure.Options{Other: k.otherScan}, extra)
	whole = err == nil
	return result, f, err
}

const pathHelp = `PATH is a folder (searched through), a .zip, a DICOMDIR or one file.`

func (a *app) measure() *cobra.Command {
	var flags caseFlags
	var extra extraFlags
	var words []string
	c := &cobra.Command{
		Use:   "measure PATH --plan PLAN -o DIR",
		Short: "Measure one case: tables, pictures and a report",
		Long: `Measure the sites of a plan in a series and make the folder DIR: measurements.csv, sites.csv,
result.json, datapackage.json, report.html, sections/, panoramic.png, arch.svg and pictures/. The
folder appears whole or not at all. A line a site goes to stdout. More on request, here or later by
ridgerule report, which needs no scan.

No output names the patient; only --with-identity does, in dicom/ and identity.json. With --pseudonym-key the patient of
dicom/ has one pseudonym in all cases under that key; result.json keeps it, the key is copied nowhere.

` + pathHelp,
		Args: oneArg("PATH"),
	}
	flags.add(c.Flags())
	extra.add(c.Flags())
	c.Flags().BoolVar(&extra.stl, "stl", false, "write surfaces/: planned implants and the bone around each site, as STL in patient LPS mm")
	c.Flags().StringSliceVar(&words, "fail-on", nil, failOnHelp)
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := errors.Join(checkFailOn(words), a.checked(&extra)); err != nil {
			return err
		}
		p, err := openPlan(flags.plan)
		if err != nil {
			return err
		}
		result, f, err := flags.result(c, a, args[0], p, &extra)
		if err != nil {
			return err
		}
		defer f.abandon()
		if result.Surfaces, err = extra.surfaces(result); err != nil {
			return err
		}
		if err := extra.write(f, result); err != nil {
			return err
		}
		return a.finish(f, result.Result, flags.dir, words)
	}
	return c
}

// planFile is a plan with where its values stand in its file, for messages.
type planFile struct {
	*plan.Plan
	source *plan.Source
}

func (p planFile) place(g volume.Grid) (*plan.Placed, error) { return p.Place(g, p.source) }

func readPlan(path string) (planFile, error) {
	p, source, err := plan.Open(path)
	return planFile{p, source}, err
}

// openPlan is [readPlan] of the flag --plan.
func openPlan(path string) (planFile, error) {
	if path == "" {
		return planFile{}, usagef("no site plan; name one with --plan PLAN")
	}
	return readPlan(path)
}

// finish puts the folder in its place, says where it is and what was found.
func (a *app) finish(f *folder, r *measure.Result, dir string, words []string) error {
	if err := a.settle(f, dir); err != nil {
		return err
	}
	if err := a.summary(r, dir); err != nil {
		return err
	}
	a.cautions(r.Cautions)
	a.say("report: %s", filepath.Join(dir, "report.html"))
	return failOn(r, words)
}

// settle puts the folder in its place, and says so when something else had to make room.
func (a *app) settle(f *folder, dir string) error {
	kept, err := f.commit()
	if kept != "" {
		a.say("kept what stood in %s, which is not this program's: %s", dir, kept)
	}
	return err
}
