package main

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/trace"
)

// traceFlags say which canal is followed and where the answer goes.
type traceFlags struct {
	from, to, plan, series   string
	through                  []string
	name, kind, file         string
	voxel, replace, unlikely bool
}

func (a *app) trace() *cobra.Command {
	var k traceFlags
	c := &cobra.Command{
		Use:   "trace PATH --from x,y,z --to x,y,z --name NAME",
		Short: "Follow a canal between marked points",
		Long: `Follow a canal between two or more marked points and write it as a structure for a plan, to be put under
structures: there. It is a proposal, marked 'traced, to be confirmed': marrow can look like a canal. What
stderr says of low confidence is where to look first. A path that is unlike a canal (longer than 1.6 times
the marks' distance, turning back by more than 2 mm between two marks, or not shown by the image over
3 mm) is refused; --allow-odd writes it, with what is unlikely about it.

Marks are patient coordinates (LPS, mm) inside the canal, or with --voxel indices i,j,k of the series as
read. With --plan they are the points of the plan's structure NAME.

` + pathHelp,
		Example: `  ridgerule trace scan --from 25,20,-8 --to 20,-2,-9 --name "left canal" -o canal.yaml
  ridgerule trace scan --plan plan.yaml --name "left canal"`,
		Args: oneArg("PATH"),
	}
	fl := c.Flags()
	fl.StringVar(&k.from, "from", "", "the first mark `x,y,z`")
	fl.StringVar(&k.to, "to", "", "the last mark `x,y,z`")
	fl.StringArrayVar(&k.through, "through", nil, "a mark `x,y,z` between them, in their order (may be repeated)")
	fl.BoolVar(&k.voxel, "voxel", false, "the marks are voxel indices i,j,k, not mm")
	fl.StringVar(&k.plan, "plan", "", "take the marks from the structure NAME of the site plan `PLAN`")
	fl.StringVar(&k.name, "name", "", "the structure's `NAME`")
	fl.StringVar(&k.kind, "kind", "", "`canal`, incisive_canal, anterior_loop or other; canal when neither this nor a plan says")
	fl.StringVarP(&k.file, "output", "o", "", "write the structure into `FILE`, not to stdout; it must not exist")
	fl.BoolVar(&k.replace, "replace", false, "let -o replace a file")
	fl.BoolVar(&k.unlikely, "allow-odd", false, "write a path that is unlike a canal, too")
	fl.StringVar(&k.series, "series", "", "the series to read when there are several: its number or `UID`")
	c.RunE = func(c *cobra.Command, args []string) error {
		marks, err := k.marks()
		if err != nil {
			return err
		}
		path, err := a.follow(c.Context(), args[0], k, marks)
		if err != nil {
			return err
		}
		return a.traced(path, k)
	}
	return c
}

// follow reads the series and traces the canal. Marks outside the field are said before the pixels
// are read.
func (a *app) follow(ctx context.Context, path string, k traceFlags, place func(volume.Grid) ([]r3.Vec, error)) (*trace.Path, error) {
	s, err := a.open(ctx, path, k.series)
	if err != nil {
		return nil, err
	}
	defer s.input.Close()
	marks, err := place(s.Grid)
	if err != nil {
		return nil, err
	}
	for i, m := range marks {
		if !s.Grid.Contains(s.Grid.Index(m)) {
			return nil, wrongMarks(&trace.MarkError{Mark: i, At: m, Err: trace.ErrOutside, Remedy: "move it inside the scanned field"})
		}
	}
	v, err := a.volume(ctx, s)
	if err != nil {
		return nil, err
	}
	found, err := trace.Follow(ctx, v, marks, trace.Options{AllowUnlikely: k.unlikely})
	return found, wrongMarks(err)
}

// wrongMarks makes a fault of the marks a fault of the command line.
func wrongMarks(err error) error {
	if errors.Is(err, trace.ErrUnlikely) {
		return usagef("%s; or write it all the same with --allow-odd", strings.TrimPrefix(err.Error(), "trace: "))
	}
	for _, fault := range []error{trace.ErrMarks, trace.ErrOutside, trace.ErrBlank, trace.ErrNoPath} {
		if errors.Is(err, fault) {
			return usagef("%s", strings.TrimPrefix(err.Error(), "trace: "))
		}
	}
	return err
}

// traced gives the structure to whoever asked and says on stderr how far it can be trusted.
func (a *app) traced(p *trace.Path, k traceFlags) error {
	if k.kind == "" {
		k.kind = "canal"
	}
	var block bytes.Buffer
	if err := p.WriteYAML(&block, k.name, k.kind); err != nil {
		return err
	}
	if k.file != "" {
		if err := writeFile(k.file, block.Bytes()); err != nil {
			return err
		}
	}
	switch {
	case a.json:
		if err := a.printJSON(tracedOf(p, k)); err != nil {
			return err
		}
	case k.file == "":
		if _, err := a.stdout.Write(block.Bytes()); err != nil {
			return err
		}
	}
	a.say("traced, to be confirmed: %.1f mm of %s, sd %.2f mm; confidence %.2f in the mean, %.2f at least",
		p.Length, k.kind, p.MarkingSD(), p.MeanConfidence(), slices.Min(p.Confidence))
	for _, why := range p.Unlikely {
		a.say("unlikely: %s", why)
	}
	for _, s := range p.Low {
		a.say("low confidence (down to %.2f) from %.1f to %.1f mm along the path: look there first", s.Confidence, s.From, s.To)
	}
	return nil
}

// lowStretch is a stretch of low confidence as --json prints it.
type lowStretch struct {
	From       float64 `json:"from_mm"`
	To         float64 `json:"to_mm"`
	Confidence float64 `json:"confidence"`
}

type tracedPath struct {
	Name       string       `json:"name"`
	Kind       string       `json:"kind"`
	Status     string       `json:"status"`
	Length     float64      `json:"length_mm"`
	Path       [][3]float64 `json:"path_mm"`
	Radii      []float64    `json:"radii_mm"`
	SD         float64      `json:"sd_mm"`
	PointSD    []float64    `json:"centre_sd_mm"`
	RadiusSD   []float64    `json:"radius_sd_mm"`
	Confidence []float64    `json:"confidence"`
	Low        []lowStretch `json:"low_confidence"`
	EndSD      float64      `json:"end_sd_mm"` // of the ends along the canal
	Unlikely   []string     `json:"unlikely"`
	Traced     tracedBy     `json:"traced"`
}

// tracedBy is the same word for a traced structure as in a plan.
type tracedBy struct {
	Confirmed  bool    `json:"confirmed"`
	Confidence float64 `json:"confidence"` // mean along the path
}

func tracedOf(p *trace.Path, k traceFlags) tracedPath {
	out := tracedPath{Name: k.name, Kind: k.kind, Status: "traced, to be confirmed", Length: p.Length, Radii: p.Radii,
		SD: p.MarkingSD(), PointSD: p.SD, RadiusSD: p.RadiusSD, Confidence: p.Confidence, Low: []lowStretch{},
		EndSD: p.EndSD, Unlikely: append([]string{}, p.Unlikely...), Traced: tracedBy{Confidence: p.MeanConfidence()}}
	for _, q := range p.Points {
		out.Path = append(out.Path, [3]float64{q.X, q.Y, q.Z})
	}
	for _, s := range p.Low {
		out.Low = append(out.Low, lowStretch{s.From, s.To, s.Confidence})
	}
	return out
}
