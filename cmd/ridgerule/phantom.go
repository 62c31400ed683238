package main

import (
	"context"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure/phantom"
)

// jawFlags say which synthetic jaw is made.
type jawFlags struct {
	jaw, label         string
	seed               uint64
	voxel, blur, noise float64
	noisy              bool // noise is given
	random, upright    bool
	sites, teeth       []int
	surfaces           bool
	second             secondFlags
}

// secondFlags say whether the jaw is scanned again, and what has become of it.
type secondFlags struct {
	again, placed, before bool
	lost, size            float64
}

func (s *secondFlags) add(fl *pflag.FlagSet) {
	fl.BoolVar(&s.again, "second", false, "scan the jaw a second time, turned and moved, in other voxels: scan2/ and second.json")
	fl.BoolVar(&s.placed, "second-placed", false, "with implants placed meanwhile, off the plan as a hand is, that bloom and cast streaks")
	fl.BoolVar(&s.before, "placed", false, "with implants in the first scan already, and in the second: a follow-up of implants that stand")
	fl.Float64Var(&s.lost, "second-lost", 0, "with the crest lower by so many `mm` at every other site")
	fl.Float64Var(&s.size, "second-size", 0, "with lengths written too long by this `SHARE`: 0.004 is 0.4 %")
}

// visit returns the second visit of jaw j.
func (s *secondFlags) visit(j *phantom.Jaw) phantom.Visit {
	o := j.Options()
	v := phantom.Visit{Turn: r3.Vec{X: 5, Y: -3, Z: 4}, Shift: r3.Vec{X: 3, Y: -2, Z: 2.5}, Size: s.size,
		Scan: phantom.Scan{Blur: o.Scan.Blur + 0.05, Noise: o.Scan.Noise, Seed: o.Seed + 1}}
	for i, x := range o.Scan.Voxel {
		v.Scan.Voxel[i] = 1.1 * x
	}
	if s.placed {
		v.Implants = j.Places(o.Seed)
	}
	if s.placed || s.before {
		v.Artefacts = metalArtefacts
	}
	for i, site := range j.Plan().Sites {
		if s.lost != 0 && i%2 == 0 {
			v.Changes = append(v.Changes, phantom.Change{Tooth: site.Tooth, Crest: s.lost})
		}
	}
	return v
}

// metalArtefacts are what implants do to a scan.
var metalArtefacts = phantom.Artefacts{Streaks: 100, Bloom: 0.2, Top: 4000}

// withStanding returns the options of a jaw in which the planned implants stand already.
func withStanding(o phantom.Options) (phantom.Options, error) {
	bare, err := phantom.New(o)
	if err != nil {
		return o, err
	}
	o.Implants, o.Artefacts = bare.Places(bare.Options().Seed), metalArtefacts
	return o, nil
}

func (a *app) phantom() *cobra.Command {
	var out outFlags
	var j jawFlags
	c := &cobra.Command{
		Use:   "phantom -o DIR",
		Short: "Make a synthetic jaw as a DICOM series, with its truth",
		Long: `Make a synthetic jaw in the folder DIR: the series scan/, the site plan plan.yaml and truth.json, what
a perfect measurement of that plan finds, computed from the shape and never from voxels. The same
flags give the same bytes. With --second the same jaw is scanned again, as after surgery or at follow-up: scan2/, and
second.json with the true motion, the placed implants and the sites as they have become. With --surfaces there are the
teeth that stand and a tooth set-up as surfaces in a frame of their own, pairs of points marked on them and in the scan,
planned and recorded implant positions, and surfaces.json with what is true of them.`,
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
		if s := j.second; !s.again && (s.placed || s.lost != 0 || s.size != 0) {
			return usagef("--second-placed, --second-lost and --second-size say what a second scan shows; add --second")
		}
		if j.second.before && j.second.placed {
			return usagef("--placed and --second-placed exclude each other: the implants stand in both scans, or in the second alone")
		}
		if j.second.before {
			if o, err = withStanding(o); err != nil {
				return err
			}
		}
		return a.makePhantom(c, o, out, j)
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
	fl.IntSliceVar(&j.teeth, "teeth", nil, "the `teeth` that stand: 33,34,43; the canines when not given")
	fl.BoolVar(&j.surfaces, "surfaces", false, "also the teeth as a scanner of surfaces sees them and a tooth set-up (surfaces/), and recorded implant positions (positions/)")
	fl.StringVar(&j.label, "case", "", "the case's `label` in the plan")
	j.second.add(fl)
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
	if j.teeth != nil {
		o.Teeth = j.teeth
	}
	if j.label != "" {
		o.Case = j.label
	}
	return o, nil
}

func (a *app) makePhantom(c *cobra.Command, o phantom.Options, out outFlags, j jawFlags) error {
	f, err := newFolder(out.dir, out.replace)
	if err != nil {
		return err
	}
	defer f.abandon()
	if err := a.writePhantom(c.Context(), f, o); err != nil {
		return err
	}
	names := []string{"scan", "plan.yaml", "truth.json"}
	if j.second.again {
		names = append(names, "scan2", "second.json")
		if err := a.writeSecond(c.Context(), f, o, &j.second); err != nil {
			return err
		}
	}
	if j.surfaces {
		names = append(names, "surfaces", "positions", "surfaces.json")
		if err := writeSurfaces(f, o, j.second.before || j.second.again && j.second.placed); err != nil {
			return err
		}
	}
	if err := a.settle(f, out.dir); err != nil {
		return err
	}
	return a.list(out.dir, names)
}

// writeSecond scans the jaw again.
func (a *app) writeSecond(ctx context.Context, f *folder, o phantom.Options, flags *secondFlags) error {
	jaw, err := phantom.New(o)
	if err != nil {
		return err
	}
	second, err := jaw.Again(flags.visit(jaw))
	if err != nil {
		return err
	}
	step, end := a.progress("scanning the jaw again")
	v, err := second.Volume(ctx, func(done float64) { step(int(1000*done), 1000) })
	end()
	if err != nil {
		return err
	}
	if err := dicomio.WriteCT(f.path("scan2"), v, dicomio.WriteOptions{Seed: o.Seed + 1}); err != nil {
		return err
	}
	if err := private(f.path("scan2")); err != nil {
		return err
	}
	truth, err := second.SecondTruth()
	if err != nil {
		return err
	}
	return f.write("second.json", truth.Write)
}
