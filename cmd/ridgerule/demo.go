package main

import (
	"context"
	"errors"
	"fmt"
	"os"

	"github.com/spf13/cobra"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/report"
)

// demoFolder is where the demo goes when nobody says: there, or there with a number, so that the
// command works every time.
const demoFolder = "ridgerule-demo"

// demoSites are teeth of the demo's jaw, behind and before the mental foramina.
var demoSites = []int{36, 35, 32, 42, 45, 46}

func (a *app) demo() *cobra.Command {
	var out outFlags
	c := &cobra.Command{
		Use:   "demo [-o DIR]",
		Short: "Make a synthetic case, measure it and write its report",
		Long: `Make a synthetic lower jaw, write it as a DICOM series, read it back, measure six sites and leave
the folder DIR with everything: scan/, plan.yaml, truth.json and the outputs of ridgerule measure.
No patient is involved. Without -o the folder is ` + demoFolder + `.`,
		Args: noArgs,
	}
	out.add(c.Flags())
	c.RunE = func(c *cobra.Command, _ []string) error {
		if out.dir == "" {
			free, err := freeName(demoFolder)
			if err != nil {
				return err
			}
			out.dir = free
		}
		f, err := newFolder(out.dir, out.replace)
		if err != nil {
			return err
		}
		defer f.abandon()
		result, err := a.demoCase(c.Context(), f)
		if err != nil {
			return err
		}
		return a.finish(f, result, out.dir, nil)
	}
	return c
}

// demoCase fills the folder: the synthetic scan first, then what is measured in it.
func (a *app) demoCase(ctx context.Context, f *folder) (*measure.Result, error) {
	o := phantom.Demo(phantom.Mandible)
	o.Case, o.Sites = "demo", demoSites
	o.Scan.Voxel, o.Scan.Blur = [3]float64{0.25, 0.25, 0.25}, 0.25 // a quarter of the time that 0.2 mm would take
	if err := a.writePhantom(ctx, f, o); err != nil {
		return nil, err
	}
	if err := a.nameScan(ctx, f.path("plan.yaml"), f.path("scan")); err != nil {
		return nil, err
	}
	p, err := readPlan(f.path("plan.yaml"))
	if err != nil {
		return nil, err
	}
	c, err := a.measureCase(ctx, f.path("scan"), "", p, measure.Options{}, &extraFlags{})
	if err != nil {
		return nil, err
	}
	return c.Result, report.Write(c.Case, report.Extra{}, f.create)
}

// nameScan adds to a plan the scan that it is made for.
func (a *app) nameScan(ctx context.Context, plan, path string) error {
	s, err := a.open(ctx, path, "")
	if err != nil {
		return err
	}
	defer s.input.Close()
	v, err := a.volume(ctx, s)
	if err != nil {
		return err
	}
	file, err := os.OpenFile(plan, os.O_APPEND|os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(file, "for:\n  series: %s\n  frame: %s\n", s.Hash(v), s.FrameHash())
	return errors.Join(err, file.Close())
}

// writePhantom makes the jaw that o describes: scan/, plan.yaml and truth.json.
func (a *app) writePhantom(ctx context.Context, f *folder, o phantom.Options) error {
	jaw, err := phantom.New(o)
	if err != nil {
		return err
	}
	step, end := a.progress("making the jaw")
	v, err := jaw.Volume(ctx, func(done float64) { step(int(1000*done), 1000) })
	end()
	if err != nil {
		return err
	}
	if err := dicomio.WriteCT(f.path("scan"), v, dicomio.WriteOptions{Seed: jaw.Options().Seed}); err != nil {
		return err
	}
	if err := private(f.path("scan")); err != nil {
		return err
	}
	if err := f.write("plan.yaml", jaw.Plan().Write); err != nil {
		return err
	}
	truth, err := jaw.Truth()
	if err != nil {
		return err
	}
	return f.write("truth.json", truth.Write)
}
