package main

import (
	"github.com/spf13/cobra"

	"ridgerule/measure/phantom"
)

func (a *app) phantom() *cobra.Command {
	var out outFlags
	var jaw, label string
	var seed uint64
	var voxel, blur, noise float64
	var random, upright bool
	var sites []int
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
	fl := c.Flags()
	fl.StringVar(&jaw, "jaw", "mandible", "`mandible` or maxilla")
	fl.Uint64Var(&seed, "seed", 1, "of noise, texture and variation; with --random, of everything")
	fl.BoolVar(&random, "random", false, "draw shape and scan at random over the ranges of the calibration")
	fl.BoolVar(&upright, "plain", false, "an upright jaw of even shape without texture, instead of a lifelike one")
	fl.Float64Var(&voxel, "voxel", 0, "voxel size, `mm`; 0 means the jaw's own (0.2)")
	fl.Float64Var(&blur, "blur", 0, "sigma of the blur, `mm`; 0 means the jaw's own (0.2)")
	fl.Float64Var(&noise, "noise", 0, "`SD` of the noise in grey values; the jaw's own when not given")
	fl.IntSliceVar(&sites, "sites", nil, "the `teeth` to measure: 36,46")
	fl.StringVar(&label, "case", "", "the case's `label` in the plan")
	c.RunE = func(c *cobra.Command, _ []string) error {
		kind, ok := map[string]phantom.Kind{"mandible": phantom.Mandible, "maxilla": phantom.Maxilla}[jaw]
		if !ok {
			return usagef("--jaw %q is neither mandible nor maxilla", jaw)
		}
		o := phantom.Demo(kind)
		switch {
		case random && upright:
			return usagef("--random and --plain exclude each other")
		case random:
			o = phantom.Random(seed, kind)
		case upright:
			o = phantom.Options{Jaw: kind}
		}
		o.Seed = seed
		if voxel != 0 {
			o.Scan.Voxel, o.Scan.Size = [3]float64{voxel, voxel, voxel}, [3]int{}
		}
		if blur != 0 {
			o.Scan.Blur = blur
		}
		if fl.Changed("noise") {
			o.Scan.Noise = noise
		}
		if sites != nil {
			o.Sites = sites
		}
		if label != "" {
			o.Case = label
		}
		return a.makePhantom(c, o, out)
	}
	return c
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
