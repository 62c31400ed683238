package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ridgerule/measure/phantom"
)

// jawFlags say which synthetic jaw is made.
type jawFlags struct {
	jaw, label         string
	seed               uint64
	voxel, blur, noise float64
	noisy              bool // noise is given
	random, upright    bool
	sites              []int
}

func (a *app) phantom() *cobra.Command {
	var out outFlags
	var j jawFlags
	c := &cobra.Command{
		Use:   "phantom -o DIR",
		Short: "Make a synthetic jaw as a DICOM series, with its truth",
		Long: `Make a synthetic jaw in the folder DIR: the series scan/, the site plan plan.yaml and truth.json, what
a perfect measurement of that plan finds, computed from the shape and never from voxels. The same
flags give the same bytes.`,
		Example: `  ridgerule phantom -o jaw --jaw maxilla --voxel 0.3 --noise 80
  ridgerule measure jaw/scan --plan jaw/plan.yaml -o result`,
		Args: noArgs,
	}
	out.add(c.Flags())
	j.add(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		j.noisy = c.Flags().Changed("noise")
		o, err := j.options()
		if err != nil {
			return err
		}
		return a.makePhantom(c, o, out)
	}
	return c
}

func (j *jawFlags) add(fl *pflag.FlagSet) {
	fl.StringVar(&j.jaw, "jaw", "mandible", "`mandible` or maxilla")
	fl.Uint64Var(&j.seed, "seed", 1, "of noise, texture and variation; with --random, of everything")
	fl.BoolVar(&j.random, "random", false, "draw shape and scan at random over the ranges of the calibration")
	fl.BoolVar(&j.upright, "plain", false, "an upright jaw of even shape without texture, instead of a lifelike one")
	fl.Float64Var(&j.voxel, "voxel", 0, "voxel size, `mm`; 0 means the jaw's own (0.2)")
	fl.Float64Var(&j.blur, "blur", 0, "sigma of the blur, `mm`; 0 means the jaw's own (0.2)")
	fl.Float64Var(&j.noise, "noise", 0, "`SD` of the noise in grey values; the jaw's own when not given")
	fl.IntSliceVar(&j.sites, "sites", nil, "the `teeth` to measure: 36,46")
	fl.StringVar(&j.label, "case", "", "the case's `label` in the plan")
}

func (j *jawFlags) options() (phantom.Options, error) {
	kind, ok := map[string]phantom.Kind{"mandible": phantom.Mandible, "maxilla": phantom.Maxilla}[j.jaw]
	if !ok {
		return phantom.Options{}, usagef("--jaw %q is neither mandible nor maxilla", j.jaw)
	}
	o := phantom.Demo(kind)
	switch {
	case j.random && j.upright:
		return phantom.Options{}, usagef("--random and --plain exclude each other")
	case j.random:
		o = phantom.Random(j.seed, kind)
	case j.upright:
		o = phantom.Options{Jaw: kind}
	}
	o.Seed = j.seed
	if j.voxel != 0 {
		o.Scan.Voxel, o.Scan.Size = [3]float64{j.voxel, j.voxel, j.voxel}, [3]int{}
	}
	if j.blur != 0 {
		o.Scan.Blur = j.blur
	}
	if j.noisy {
		o.Scan.Noise = j.noise
	}
	if j.sites != nil {
		o.Sites = j.sites
	}
	if j.label != "" {
		o.Case = j.label
	}
	return o, nil
}

func (a *app) makePhantom(c *cobra.Command, o phantom.Options, out outFlags) error {
	f, err := newFolder(out.dir, out.replace)
	if err != nil {
		return err
	}
	defer f.abandon()
	if err := a.writePhantom(c.Context(), f, o); err != nil {
		return err
	}
	if err := a.settle(f, out.dir); err != nil {
		return err
	}
	return a.list(out.dir, []string{"scan", "plan.yaml", "truth.json"})
}
