package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"

	"github.com/spf13/cobra"

	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/practice"
	"ridgerule/measure/quantity"
	"ridgerule/measure/report"
	"ridgerule/measure/study"
)

// readFlags are the flags of read.
type readFlags struct {
	dir, reader, paper string
	ask                []string
	repeats            float64
	seed               uint64
	correct            bool
	given              []string // of the flags that only a beginning takes, those that were given
}

func (a *app) read() *cobra.Command {
	var f readFlags
	c := &cobra.Command{
		Use:   "read LIST --reader CODE -o DIR",
		Short: "Read cases for a study: blinded, in an order of the reader's own",
		Long: `Put the cases of LIST, a manifest as study run takes it, before one reader: a bare section and a question a
sheet, without case, outline, measure or anybody's reading, in a random order of the reader's own, some a second time
unseen. The first call makes the folder DIR with worksheet.html, worksheet.pdf, answers.csv to fill, and key/ with the
order and what each item is of; keep key/ from the reader. Each further call takes what is new in answers.csv, with the
time since the call before where one answer is new, and says what comes next. When all is answered, readings.csv is left.
An answer stays as it was given. read gather puts the sittings of all readers into one table.`,
		Example: `  ridgerule read manifest.csv --reader r07 -o sittings/r07   # again after each item, or after many
  ridgerule read gather sittings/* --reference study/measurements.csv -o gathered`,
		Args: oneArg("LIST"),
	}
	fl := c.Flags()
	fl.StringVarP(&f.dir, "output", "o", "", "the sitting's folder `DIR`")
	fl.StringVar(&f.reader, "reader", "", "a `CODE` for the reader, never a name")
	fl.StringSliceVar(&f.ask, "ask", []string{string(quantity.RidgeHeight), string(quantity.RidgeWidth) + ":3"}, "what is asked at each site: a `QUANTITY`, and after a colon its depth in mm where it has one")
	fl.Float64Var(&f.repeats, "hidden-repeats", 0.25, "share of the items that repeat another one unseen, 0 to 0.5")
	fl.Uint64Var(&f.seed, "seed", 0, "of the order; random when not given, and written in key/ only. One seed gives each reader another order")
	fl.StringVar(&f.paper, "paper", "a4", "of worksheet.pdf, `a4|letter`")
	fl.BoolVar(&f.correct, "correct", false, "let answers.csv change what was answered before; it is marked as corrected")
	c.RunE = func(c *cobra.Command, args []string) error {
		for _, name := range []string{"ask", "hidden-repeats", "seed", "paper"} {
			if fl.Changed(name) {
				f.given = append(f.given, "--"+name)
			}
		}
		return a.readList(c.Context(), args[0], f)
	}
	c.AddCommand(a.readGather())
	return c
}

// readerCode is what a reader may be called.
var readerCode = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9_-]{0,31}$`)

// badCode refuses a reader's code; where says where it stands.
func badCode(where, code string) error {
	return usagef("%s %q: a code has 1 to 32 letters, digits, - and _, as r07", where, code)
}

// sessionFile is where a sitting's folder keeps the session.
const sessionFile = "key/session.json"

func (a *app) readList(ctx context.Context, list string, f readFlags) error {
	switch {
	case f.dir == "":
		return usagef("no folder for the sitting; name one with -o DIR")
	case !readerCode.MatchString(f.reader):
		return badCode("--reader", f.reader)
	}
	m, err := a.openManifest(list)
	if err != nil {
		return err
	}
	sum, err := study.FileHash(list)
	if err != nil {
		return usagef("%s: %w", list, reason(err))
	}
	if _, err := os.Stat(filepath.Join(f.dir, filepath.FromSlash(sessionFile))); err == nil {
		return a.resumeSitting(f, sum)
	}
	if f.correct {
		return usagef("--correct: there is no sitting in %s yet", f.dir)
	}
	return a.beginSitting(ctx, m, list, sum, f)
}

// sittingCase is one case of a list on its way to the sheets.
type sittingCase struct {
	study.Entry
	from, to int // its subjects
}

// beginSitting makes the folder of a sitting.
func (a *app) beginSitting(ctx context.Context, m *study.Manifest, list, sum string, f readFlags) error {
	paper, err := paperNamed(f.paper)
	if err != nil {
		return err
	}
	out, err := newFolder(f.dir, false, list)
	if err != nil {
		return err
	}
	defer out.abandon()
	if err := apartFromSeries(f.dir, m); err != nil {
		return err
	}
	cases, subjects, err := a.subjectsOf(ctx, m, f)
	if err != nil {
		return err
	}
	salt, seed, err := chance()
	if err != nil {
		return err
	}
	if slices.Contains(f.given, "--seed") {
		seed = f.seed
	}
	s, err := practice.Arrange(subjects, practice.SittingOptions{Reader: f.reader, Seed: seed, Salt: salt, Repeats: f.repeats, List: sum})
	if err != nil {
		return err
	}
	items, err := a.sittingPictures(ctx, s, cases)
	if err != nil {
		return err
	}
	if err := a.writeSitting(out, s, items, paper); err != nil {
		return err
	}
	if err := a.settle(out, f.dir); err != nil {
		return err
	}
	a.say("keep %s from the reader: it says which item is of which case", filepath.Join(f.dir, "key"))
	return a.saySitting(f, s, 0)
}

// subjectsOf lists what is read in the cases of a list that are this reader's or nobody's. No pixel is read.
func (a *app) subjectsOf(ctx context.Context, m *study.Manifest, f readFlags) (cases []sittingCase, all []practice.Subject, err error) {
	var questions []practice.Question
	for _, text := range f.ask {
		q, err := practice.ParseQuestion(text)
		if err != nil {
			return nil, nil, err
		}
		questions = append(questions, q)
	}
	for _, e := range m.Entries {
		if e.Reader != "" && e.Reader != f.reader {
			continue
		}
		more, err := a.subjectsIn(ctx, e, questions)
		if err != nil {
			return nil, nil, fmt.Errorf("line %d, case %s: %w", e.Line, e.Case, err)
		}
		cases = append(cases, sittingCase{e, len(all), len(all) + len(more)})
		all = append(all, more...)
	}
	if len(all) == 0 {
		return nil, nil, usagef("no case of the list is for reader %s, and none is for all", f.reader)
	}
	return cases, all, nil
}

// subjectsIn lists what is read in one case: each question at each site of its plan.
func (a *app) subjectsIn(ctx context.Context, e study.Entry, questions []practice.Question) ([]practice.Subject, error) {
	p, err := readPlan(e.Plan)
	if err != nil {
		return nil, err
	}
	s, err := a.open(ctx, e.Series, "")
	if err != nil {
		return nil, err
	}
	defer s.input.Close()
	placed, err := p.place(s.Grid)
	if err != nil {
		return nil, err
	}
	jaw := phantom.Mandible
	if placed.Jaw == plan.Maxilla {
		jaw = phantom.Maxilla
	}
	var out []practice.Subject
	for _, site := range placed.Sites {
		tooth, _ := strconv.Atoi(site.Tooth) // which reading the plan has checked
		for _, q := range questions {
			if q.Quantity == quantity.RidgeHeight {
				q.To = limitOf(site)
			}
			out = append(out, practice.Subject{Case: e.Case, Site: site.ID, Replicate: e.Replicate, Jaw: jaw, Tooth: tooth, Question: q,
				Frame: placed.Curve.Frame(plan.SiteArc(placed.Curve, site))})
		}
	}
	return out, nil
}

// limitOf names what the plan lets a site's height end at; "" where that is found in the picture.
func limitOf(s plan.Site) string {
	if s.HeightTo == plan.ToAuto {
		return ""
	}
	return string(s.HeightTo)
}

// sittingPictures reads each case once and takes the pictures of its items, in the order of the sitting.
func (a *app) sittingPictures(ctx context.Context, s *practice.Session, cases []sittingCase) ([]report.PracticeItem, error) {
	items := make([]report.PracticeItem, len(s.Items))
	for _, c := range cases {
		series, err := a.open(ctx, c.Series, "")
		if err != nil {
			return nil, err
		}
		v, err := a.volume(ctx, series)
		if closed := series.input.Close(); err == nil {
			err = closed
		}
		if err != nil {
			return nil, fmt.Errorf("line %d, case %s: %w", c.Line, c.Case, err)
		}
		for i, it := range s.Items {
			if it.Listed >= c.from && it.Listed < c.to {
				items[i] = report.PracticeItem{Sheet: it.Sheet, Picture: sheetPicture(v, it.Sheet)}
			}
		}
	}
	return items, nil
}

// writeSitting writes what the reader is given, and the session.
func (a *app) writeSitting(out *folder, s *practice.Session, items []report.PracticeItem, paper report.Paper) error {
	made, err := report.Date(a.getenv, a.now)
	if err != nil {
		return usageError{err}
	}
	s.Show(a.now())
	for _, it := range items {
		if err := out.write("key/pictures/"+it.Sheet.Item+".png", func(w io.Writer) error { return report.KeepPicture(w, it.Picture) }); err != nil {
			return err
		}
	}
	for _, file := range []struct {
		name string
		fill func(io.Writer) error
	}{
		{"worksheet.html", func(w io.Writer) error { return report.SittingSheet(w, s.Reader, items) }},
		{"worksheet.pdf", func(w io.Writer) error { return report.SittingPDF(w, s.Reader, items, paper, made) }},
		{answersFile, s.WriteForm},
		{sessionFile, s.Write},
	} {
		if err := out.write(file.name, file.fill); err != nil {
			return err
		}
	}
	return nil
}

const answersFile = "answers.csv"
