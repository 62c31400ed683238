package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/align"
	"ridgerule/measure/report"
)

// alignFlags say how two things are brought into one frame, and where the alignment goes.
type alignFlags struct {
	file, mask, start, points, series, otherSeries, accept, by string
	replace                                                    bool
}

func (a *app) align() *cobra.Command {
	var k alignFlags
	c := &cobra.Command{
		Use:   "align FIRST SECOND -o ALIGN",
		Short: "Bring two scans, a surface and a scan, or two sets of points into one frame; say how well",
		Long: `Bring FIRST into the frame of SECOND and write the file ALIGN (JSON): the rigid transform with its uncertainty, and beside
it a page (the same name with .html) to be looked at: checkerboards at six places, check landmarks, what the fit says
of itself. Nothing is scaled: a difference in size is found, said, and carried by the uncertainty.

What each is follows from its name: a table (.csv) holds positions, an .stl a surface, anything else is a scan. A surface (of
teeth, or a tooth set-up, as FIRST) needs three or more pairs of points marked on it and in the scan: --start. Only what has kept its shape may
be used: in two scans of one patient that is basal bone of one jaw. Say which by --mask: the plan of FIRST (YAML: bone
below its arch curve, away from its implants), or a closed surface (STL in FIRST's frame: all within it).

Until somebody has accepted it by name, whatever uses an alignment is at best uncertain:
  ridgerule align --accept ALIGN --by NAME

Scans of two different jaws, mirrored ones and such that share too little are refused: exit status 3, no file.`,
		Example: `  ridgerule align before after --mask plan.yaml --points landmarks.csv -o align.json
  ridgerule align teeth.stl scan --start pairs.csv -o setup.json
  ridgerule align --accept align.json --by "reviewer 2"`,
		Args: func(_ *cobra.Command, args []string) error { return k.check(args) },
	}
	fl := c.Flags()
	fl.StringVarP(&k.file, "output", "o", "", "write the alignment into `ALIGN` and its page beside it; neither must exist")
	fl.BoolVar(&k.replace, "replace", false, "let -o replace files")
	fl.StringVar(&k.mask, "mask", "", "what of FIRST may be used: its plan `MASK` (YAML, JSON) or a closed surface (STL)")
	fl.StringVar(&k.start, "start", "", "about where SECOND lies: a table `START` of three or more pairs of points (name,x1,y1,z1,x2,y2,z2), or another alignment (JSON)")
	fl.StringVar(&k.points, "points", "", "a table `POINTS` (as --start) of landmarks marked in both: their distances after the alignment are told")
	fl.StringVar(&k.series, "series", "", "the series of FIRST when there are several: its number or `UID`")
	fl.StringVar(&k.otherSeries, "second-series", "", "the series of SECOND when there are several: its number or `UID`")
	fl.StringVar(&k.accept, "accept", "", "accept the alignment `ALIGN`, after its page was looked at; with --by")
	fl.StringVar(&k.by, "by", "", "`NAME` of who accepts it")
	c.RunE = func(c *cobra.Command, args []string) error {
		if k.accept != "" {
			return a.acceptAlignment(k)
		}
		return a.makeAlignment(c.Context(), args, k)
	}
	return c
}

// check holds arguments and flags against each other, before anything is read.
func (k *alignFlags) check(args []string) error {
	switch {
	case k.accept != "" && (len(args) > 0 || k.file != ""):
		return fmt.Errorf("align --accept takes no other argument and no -o")
	case k.accept != "" && strings.TrimSpace(k.by) == "":
		return fmt.Errorf("align --accept needs --by NAME: who has looked at it")
	case k.accept != "":
		return nil
	case k.by != "":
		return fmt.Errorf("align --by says who accepts; add --accept ALIGN")
	case len(args) != 2:
		return fmt.Errorf("align needs FIRST and SECOND, not %d arguments; see ridgerule align --help", len(args))
	case k.file == "":
		return fmt.Errorf("align needs a file to write: -o ALIGN")
	case !strings.EqualFold(filepath.Ext(k.file), ".json"):
		return fmt.Errorf("align -o %s: name a file that ends in .json; its page stands beside it", k.file)
	}
	return nil
}

// acceptAlignment writes the file again, accepted.
func (a *app) acceptAlignment(k alignFlags) error {
	f, err := readAlignment(k.accept)
	if err != nil {
		return err
	}
	date, err := report.Date(a.getenv, a.now)
	if err != nil {
		return usageError{err}
	}
	if f, err = f.Accept(k.by, date); err != nil {
		return err
	}
	var b strings.Builder
	if err := f.Write(&b); err != nil {
		return err
	}
	if err := writeFile(k.accept, []byte(b.String())); err != nil {
		return err
	}
	a.say("accepted by %s: %s", f.Accepted.By, k.accept)
	return a.acceptPage(pageOf(k.accept), f)
}

// acceptPage says on the alignment's page, where it still lies beside the file, who has accepted it.
func (a *app) acceptPage(page string, f align.File) error {
	data, err := os.ReadFile(page)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("the file is accepted, its page %s cannot be read: %v", page, reason(err))
	}
	text, ok := report.AcceptedPage(data, f)
	if !ok {
		a.say("%s is not the page of this alignment, and is left as it is", page)
		return nil
	}
	return writeFile(page, text)
}

// pageOf returns where the page of an alignment file lies.
func pageOf(file string) string { return strings.TrimSuffix(file, filepath.Ext(file)) + ".html" }

// readAlignment reads an alignment file; its error names the file.
func readAlignment(path string) (align.File, error) {
	r, err := os.Open(path)
	if err != nil {
		return align.File{}, usagef("alignment %s cannot be read: %v", path, reason(err))
	}
	defer r.Close()
	f, err := align.ReadFile(r)
	if err != nil {
		return align.File{}, usagef("%s: %w; name a file as ridgerule align wrote it, or align again", path, err)
	}
	return f, nil
}

// madeAlignment is an alignment with what its page shows.
type madeAlignment struct {
	align.File
	places []r3.Vec
	boards []align.Board
}

// makeAlignment aligns and writes the file and its page, both or none.
func (a *app) makeAlignment(ctx context.Context, args []string, k alignFlags) error {
	page := pageOf(k.file)
	for _, name := range []string{k.file, page} {
		if err := freeFile(name, k.replace); err != nil {
			return err
		}
	}
	made, err := a.alignmentOf(ctx, args, k)
	if err != nil {
		return err
	}
	var text, html strings.Builder
	if err := made.Write(&text); err != nil {
		return err
	}
	if err := report.AlignmentPage(&html, made.File, made.places, made.boards); err != nil {
		return err
	}
	if err := writeFile(page, []byte(html.String())); err != nil {
		return err
	}
	if err := writeFile(k.file, []byte(text.String())); err != nil {
		_ = os.Remove(page)
		return err
	}
	return a.alignmentSummary(made, k.file, page)
}

// alignmentOf aligns what the two arguments are.
func (a *app) alignmentOf(ctx context.Context, args []string, k alignFlags) (*madeAlignment, error) {
	pairs, err := readLandmarks(k.points)
	if err != nil {
		return nil, err
	}
	var made *madeAlignment
	switch kinds := [2]bool{isTable(args[0]), isTable(args[1])}; {
	case isSurface(args[1]):
		return nil, usagef("%s is a surface: name it first, and the scan second", args[1])
	case isSurface(args[0]) && !kinds[1]:
		made, err = a.alignSurface(ctx, args, k)
	case kinds[0] && kinds[1]:
		made, err = alignTables(args)
	case !kinds[0] && !kinds[1]:
		made, err = a.alignScans(ctx, args, k)
	default:
		return nil, usagef("%s and %s: a table of positions aligns with another, a scan with a scan", args[0], args[1])
	}
	if err != nil {
		return nil, err
	}
	made.Program = "ridgerule " + version
	for _, p := range pairs {
		made.Landmarks = append(made.Landmarks, align.NewLandmark(p.Name, p.First, p.Second, made.Transform))
	}
	return made, nil
}

// ofFiles puts what was given before an error of the alignment itself.
func ofFiles(err error, paths ...string) error {
	if !errors.Is(err, align.ErrPoints) && !errors.Is(err, align.ErrRefused) {
		return err
	}
	return fmt.Errorf("%s: %w", strings.Join(paths, ", "), err)
}

func isTable(path string) bool { return strings.EqualFold(filepath.Ext(path), ".csv") }

// alignScans brings one scan onto the other.
func (a *app) alignScans(ctx context.Context, args []string, k alignFlags) (*madeAlignment, error) {
	start, err := readStart(k.start)
	if err != nil {
		return nil, err
	}
	made := &madeAlignment{File: align.File{Kind: align.KindScans}}
	first, firstOf, err := a.readScan(ctx, args[0], k.series)
	if err != nil {
		return nil, err
	}
	keep, err := readMask(k.mask, first.Grid)
	if err != nil {
		return nil, err
	}
	second, secondOf, err := a.readScan(ctx, args[1], k.otherSeries)
	if err != nil {
		return nil, err
	}
	made.First, made.Second = firstOf, secondOf
	_, end := a.progress("aligning")
	fit, err := align.Scans(ctx, first, second, align.ScanOptions{From: frameOf("first", firstOf), To: frameOf("second", secondOf), Keep: keep, Start: start})
	end()
	if err != nil {
		return nil, ofFiles(err, args...)
	}
	made.Transform, made.Fit, made.Cautions = fit.Transform, fit.Facts(), append([]string{}, fit.Cautions...)
	made.ScaleFound = align.NewRatio(1+fit.Size, fit.SizeStd)
	if k.mask == "" {
		made.Cautions = append(made.Cautions, "all bone in the field was used: name by --mask what has kept its shape, where bone, teeth or the other jaw may have changed place")
	}
	made.places = align.Places(first, keep)
	made.boards = align.Boards(first, second, fit.Transform, made.places)
	return made, nil
}

// frameOf names a scan's frame of reference: whose it is, and the hash by which a plan names it.
func frameOf(which string, s align.Subject) string {
	if s.Frame == "" {
		return which + " scan"
	}
	return which + " scan, frame " + s.Frame[:min(16, len(s.Frame))]
}

// readScan reads one scan whole.
func (a *app) readScan(ctx context.Context, path, selector string) (*volume.Volume, align.Subject, error) {
	s, err := a.open(ctx, path, selector)
	if err != nil {
		return nil, align.Subject{}, err
	}
	defer s.input.Close()
	v, err := a.volume(ctx, s)
	if err != nil {
		return nil, align.Subject{}, err
	}
	return v, align.Subject{Series: s.Hash(v), Frame: s.FrameHash(), Voxel: v.Spacing()}, nil
}

// alignTables brings positions onto positions of the same names.
func alignTables(args []string) (*madeAlignment, error) {
	var sets [2]*align.Set
	for i, path := range args {
		r, err := os.Open(path)
		if err != nil {
			return nil, usagef("%s cannot be read: %v", path, reason(err))
		}
		sets[i], err = align.ReadPositions(r)
		_ = r.Close()
		if err != nil {
			return nil, fmt.Errorf("%s: %w", path, err)
		}
	}
	fit, err := align.FitSets(*sets[0], *sets[1])
	if err != nil {
		return nil, ofFiles(err, args...)
	}
	made := &madeAlignment{File: align.File{Kind: align.KindPoints, First: align.Subject{File: filepath.Base(args[0]), SHA256: sets[0].SHA256}, Second: align.Subject{File: filepath.Base(args[1]), SHA256: sets[1].SHA256}}}
	made.Transform, made.Fit, made.ScaleFound = fit.Transform, fit.Facts(), align.NewRatio(fit.ScaleFound, fit.ScaleStd)
	made.Transform.From, made.Transform.To = "first table", "second table"
	made.Cautions = []string{}
	for _, p := range sets[0].Positions {
		made.places = append(made.places, p.At)
	}
	return made, nil
}

// alignmentSummary says on stdout what the transform is, and on stderr what to do next.
func (a *app) alignmentSummary(m *madeAlignment, file, page string) error {
	if a.json {
		if err := a.printJSON(map[string]any{"file": file, "page": page, "alignment": m.File}); err != nil {
			return err
		}
	} else if err := printPlaces(a.stdout, m); err != nil {
		return err
	}
	for _, c := range m.Cautions {
		a.say("caution: %s", c)
	}
	a.say("look at %s, then accept: ridgerule align --accept %s --by NAME", page, file)
	return nil
}

func printPlaces(w io.Writer, m *madeAlignment) error {
	t := m.Transform
	if _, err := fmt.Fprintf(w, "turned by %.2f°; standard uncertainty at\n", t.Angle()); err != nil {
		return err
	}
	for _, p := range m.places {
		u := "not known"
		if s := t.Std3(t.Apply(p)); s == s {
			u = fmt.Sprintf("%.3f mm", s)
		}
		if _, err := fmt.Fprintf(w, "(%.1f, %.1f, %.1f)  %s\n", p.X, p.Y, p.Z, u); err != nil {
			return err
		}
	}
	for _, l := range m.Landmarks {
		if _, err := fmt.Fprintf(w, "landmark %s: %.2f mm apart\n", l.Name, l.Apart); err != nil {
			return err
		}
	}
	return nil
}
