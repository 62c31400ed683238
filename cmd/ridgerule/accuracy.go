package main

import (
	"bytes"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"ridgerule/measure/accuracy"
	"ridgerule/measure/phantom"
)

// scanFlags hold every drawn scan to one voxel size, blur and noise; −1 leaves it as drawn.
type scanFlags struct {
	voxel, blur, noise float64
	exact              bool
}

func (a *app) accuracy() *cobra.Command {
	var o accuracy.Options
	var f scanFlags
	var list string
	c := &cobra.Command{
		Use:   "accuracy [--cases N] [--seed N]",
		Short: "Measure random synthetic jaws and table the errors",
		Long: `Draw synthetic jaws at random, one site each, measure them and print, as Markdown, the bias, spread,
stated uncertainty and coverage of every quantity against the truth of the shape. About three seconds
of one processor a jaw. The seed decides all; docs/accuracy.md was made with it.`,
		Example: `  ridgerule accuracy --cases 400 --seed 1000 >all.md
  ridgerule accuracy --cases 100 --voxel 0.2 --blur 0.2 --noise 50 --exact >fine.md`,
		Args: noArgs,
	}
	fl := c.Flags()
	fl.IntVar(&o.Cases, "cases", 100, "`jaws` to draw")
	fl.Uint64Var(&o.Seed, "seed", 1, "of the first jaw")
	fl.Float64Var(&f.voxel, "voxel", -1, "voxel size of every scan, `mm`; as drawn when not given")
	fl.Float64Var(&f.blur, "blur", -1, "sigma of the blur of every scan, `mm`; as drawn when not given")
	fl.Float64Var(&f.noise, "noise", -1, "`SD` of the noise of every scan; as drawn when not given")
	fl.StringVar(&list, "list", "", "also write every error to this CSV `FILE`")
	fl.BoolVar(&f.exact, "exact", false, "arch points without the hand's scatter")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if o.Cases < 1 {
			return usagef("--cases %d: draw at least one jaw", o.Cases)
		}
		if _, err := os.Lstat(list); err == nil {
			return usagef("--list %s: it is there already; name a file that is not there yet", list)
		}
		o.Fix = f.fix
		step, end := a.progress("measuring jaws")
		o.Progress = step
		errs, err := accuracy.Run(c.Context(), o)
		end()
		if err != nil {
			return err
		}
		return a.printErrors(o, errs, list)
	}
	return c
}

// printErrors prints the tables of errors, and with list writes every one of them to that file.
func (a *app) printErrors(o accuracy.Options, errs []accuracy.Error, list string) error {
	if list != "" {
		var table bytes.Buffer
		if err := accuracy.CSV(&table, errs); err != nil {
			return err
		}
		if err := writeFile(list, table.Bytes()); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.stdout, "%d jaws from seed %d; lengths in mm, tilt in degrees; U is k = 2.\n", o.Cases, o.Seed)
	for _, g := range accuracy.Groups {
		if err := accuracy.Markdown(a.stdout, g.Name, accuracy.Summarise(errs, g.Of)); err != nil {
			return err
		}
	}
	return nil
}

// fix changes a drawn jaw's scan to what the flags hold fast.
func (f scanFlags) fix(o phantom.Options) phantom.Options {
	if f.voxel > 0 {
		o.Scan.Voxel = [3]float64{f.voxel, f.voxel, f.voxel}
	}
	if f.blur > 0 {
		o.Scan.Blur = f.blur
	}
	if f.noise >= 0 {
		o.Scan.Noise = f.noise
	}
	if f.exact {
		o.Hand = 0
	}
	return o
}
