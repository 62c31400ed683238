package main

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ridgerule/measure/align"
	"ridgerule/measure/report"
	"ridgerule/measure/solid"
)

// positionFlags are the flags of positions.
type positionFlags struct {
	out              outFlags
	read             positionReader
	end, limitSource string
	limits, repeats  []string
	diameter, length float64
}

func (a *app) positions() *cobra.Command {
	var f positionFlags
	c := &cobra.Command{
		Use:   "positions PLANNED RECORDED -o DIR",
		Short: "Hold recorded implant positions against the planned ones, or against another recording",
		Long: `Hold two sets of implant positions against each other: best fit and one-end fit, each implant left out in turn, and
the distances of all pairs, which rest on no fit; heights along the axis, lateral parts and angles. Information, no
judgement: nobody has shown an accepted threshold. A laboratory's own limit, with its source, gives three verdicts.

PLANNED is a table (CSV: implant,x,y,z,ax,ay,az and, where known, u_mm,u_deg,source), the result.json of ridgerule measure,
or another recording. RECORDED is a table, or a surface scan (STL) with scan bodies, to which cylinders are fitted: say
--body-height-mm, and mark the tops in a table (implant,x,y,z) with --marks where they are not pieces of their own.

Positions that were measured in a CT are refused as data for a fit (exit 3): their error is ten times too large. So are
mirrored sets, and sets of another case. What is written into export/ is in the recording's frame. docs/positions.md
says what each number means, and what residuals hide.`,
		Example: `  ridgerule positions planned.csv recorded.csv --source "intra-oral scan" -o positions
  ridgerule positions result/result.json bodies.stl --body-height-mm 9 --source "desktop scan" -o positions
  ridgerule positions planned.csv recorded.csv --limit distance=0.1 --limit-source "our own, 2026" -o positions`,
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 2 {
				return fmt.Errorf("positions needs PLANNED and RECORDED, not %d arguments; see ridgerule positions --help", len(args))
			}
			return nil
		},
	}
	fl := c.Flags()
	f.out.add(fl)
	fl.StringVar(&f.read.source, "source", "", "how RECORDED was recorded, in `WORDS`: intra-oral scan, photogrammetry …")
	fl.Float64Var(&f.read.u, "u-mm", 0, "standard uncertainty of each coordinate of RECORDED where its table gives none, `mm`")
	fl.Float64Var(&f.read.uAxis, "u-deg", 0, "standard uncertainty of each axis of RECORDED where its table gives none, `deg`")
	fl.StringVar(&f.read.marks, "marks", "", "a table `MARKS` (implant,x,y,z) of points on the tops of the scan bodies")
	fl.Float64Var(&f.read.body, "body-height-mm", 0, "from the top of a scan body to the implant's platform, `mm`, as its maker says")
	fl.StringVar(&f.end, "end", "", "the `IMPLANT` that the one-end fit brings together; the first along the arch when not given")
	fl.StringArrayVar(&f.limits, "limit", nil, "a laboratory's own limit, `QUANTITY=VALUE`: distance, height, lateral, axis_angle, pair_distance_change, pair_angle_change (may be repeated)")
	fl.StringVar(&f.limitSource, "limit-source", "", "whose limits they are and where they stand, in `WORDS`")
	fl.StringArrayVar(&f.repeats, "repeat", nil, "another recording of the same implants as `RECORDED` (two or more: how well they repeat)")
	fl.Float64Var(&f.diameter, "diameter-mm", 4, "of the cylinders drawn in export/, `mm`; not an implant's form")
	fl.Float64Var(&f.length, "length-mm", 10, "of the same, `mm`")
	c.RunE = func(c *cobra.Command, args []string) error {
		for name, x := range map[string]*float64{"u-mm": &f.read.u, "u-deg": &f.read.uAxis, "body-height-mm": &f.read.body} {
			if !c.Flags().Changed(name) {
				*x = math.NaN() // not known, which is not 0
			}
		}
		return a.runPositions(args, f)
	}
	return c
}

func (a *app) runPositions(args []string, f positionFlags) error {
	limits, err := f.parseLimits()
	if err != nil {
		return err
	}
	if !(f.diameter > 0 && f.length > 0 && f.diameter <= 20 && f.length <= 60) {
		return usagef("--diameter-mm %g and --length-mm %g: give more than 0, at most 20 and 60", f.diameter, f.length)
	}
	out, err := newFolder(f.out.dir, f.out.replace, append(append([]string{}, args...), f.repeats...)...)
	if err != nil {
		return err
	}
	defer out.abandon()
	c, err := a.comparePositions(args, f, limits)
	if err != nil {
		return err
	}
	names, err := writePositions(out, c, f)
	if err != nil {
		return err
	}
	if err := a.settle(out, f.out.dir); err != nil {
		return err
	}
	if a.json {
		return a.list(f.out.dir, names)
	}
	return a.positionSummary(c, f.out.dir)
}

// parseLimits reads --limit.
func (f *positionFlags) parseLimits() ([]align.Limit, error) {
	var out []align.Limit
	for _, text := range f.limits {
		name, value, ok := strings.Cut(text, "=")
		most, err := strconv.ParseFloat(value, 64)
		if !ok || err != nil {
			return nil, usagef("--limit %q is no limit; write QUANTITY=VALUE, as distance=0.1", text)
		}
		l, err := align.NewLimit(name, most, f.limitSource)
		if err != nil {
			return nil, usagef("--limit: %s; --limit-source says whose it is", strings.TrimPrefix(err.Error(), "align: "))
		}
		out = append(out, l)
	}
	return out, nil
}

func (a *app) comparePositions(args []string, f positionFlags, limits []align.Limit) (*align.Comparison, error) {
	first, err := a.readPlanned(args[0])
	if err != nil {
		return nil, err
	}
	second, err := a.readRecorded(args[1], f.read, first)
	if err != nil {
		return nil, err
	}
	o := align.CompareOptions{End: f.end, Limits: limits}
	for _, path := range f.repeats {
		s, err := a.readRecorded(path, f.read, first)
		if err != nil {
			return nil, err
		}
		o.Repeats = append(o.Repeats, *s)
	}
	c, err := align.Compare(*first, *second, o)
	if err != nil {
		return nil, ofFiles(err, args...)
	}
	return c, nil
}

// writePositions writes everything and returns the names.
func writePositions(f *folder, c *align.Comparison, flags positionFlags) ([]string, error) {
	var names []string
	var err error
	put := func(name string, fill func(io.Writer) error) {
		if err == nil {
			names, err = append(names, name), f.write(name, fill)
		}
	}
	put("positions.csv", c.WriteCSV)
	put("positions.json", func(w io.Writer) error { return c.WriteJSON(w, "ridgerule "+version) })
	put("report.html", func(w io.Writer) error { return report.PositionsPage(w, c) })
	e := c.Export()
	files := map[string]string{}
	for name, set := range map[string]align.Set{"recorded": e.Recorded, "planned": e.Planned} {
		if len(set.Positions) == 0 {
			continue
		}
		files[name+".csv"], files[name+".stl"] = set.Frame, set.Frame
	}
	for _, part := range []struct {
		name string
		set  align.Set
	}{{"planned", e.Planned}, {"recorded", e.Recorded}} {
		if len(part.set.Positions) == 0 {
			continue
		}
		put("export/"+part.name+".csv", part.set.WriteCSV)
		put("export/"+part.name+".stl", func(w io.Writer) error {
			s, err := part.set.Cylinders(flags.diameter/2, flags.length)
			if err != nil {
				return err
			}
			return solid.WriteSheet(w, s, part.name+" implants, frame "+part.set.Frame)
		})
	}
	put("export/frames.json", func(w io.Writer) error { return e.WriteFrames(w, files) })
	return names, err
}

// positionSummary prints the gaps of both fits, one implant a line, and the cautions.
func (a *app) positionSummary(c *align.Comparison, dir string) error {
	w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "implant\tfit\tdistance mm\theight mm\tlateral mm\tangle deg")
	for _, f := range c.Fits {
		if f.Left >= 0 {
			continue
		}
		if f.Reason != "" {
			fmt.Fprintf(w, "–\t%s\tno fit: %s\n", f.Name, f.Reason)
		}
		for i := range f.Gaps {
			g := &f.Gaps[i]
			d, h, l, x := g.Distance(), g.Height(), g.Lateral(), g.Angle()
			fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", g.Implant, f.Name, withU(d.Value, d.U(), d.Budget != nil), withU(h.Value, h.U(), h.Budget != nil), withU(l.Value, l.U(), l.Budget != nil), withU(x.Value, x.U(), x.Budget != nil))
		}
	}
	if err := w.Flush(); err != nil {
		return err
	}
	for _, text := range c.Cautions {
		a.say("caution: %s", text)
	}
	a.say("%s", report.PositionsWords)
	_, err := fmt.Fprintln(a.stdout, "report: "+filepath.Join(dir, "report.html"))
	return err
}

// withU is a number with its expanded uncertainty, where that is known.
func withU(x, u float64, known bool) string {
	if math.Abs(x) < 5e-4 {
		x = 0 // no −0.000
	}
	if !known {
		return fmt.Sprintf("%.3f", x)
	}
	return fmt.Sprintf("%.3f ± %.3f", x, u)
}
