package main

import (
	"bytes"
	"fmt"
	"io"
	"path/filepath"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"ridgerule/measure/practice"
	"ridgerule/measure/report"
)

// classFlags are the flags of practice class.
type classFlags struct {
	out   outFlags
	look  practice.ClassOptions
	rules ruleFlags
}

func (a *app) practiceClass() *cobra.Command {
	var f classFlags
	c := &cobra.Command{
		Use:   "class MARKS... -o DIR",
		Short: "Look at the marks of many readers together",
		Long: `Put the marks.csv of many readers together: readers by code with bias, spread and the criterion of a calibration,
items by difficulty, and what most get wrong and why. Nobody is ranked unless --rank asks. With --reference the
others are held against one reader's values instead of the truth. The folder DIR gets class.csv and report.html.`,
		Example: `  ridgerule practice class marks/*/marks.csv -o class
  ridgerule practice class marks/*/marks.csv --reference r01 -o calibration`,
		Args: someArgs("MARKS"),
	}
	fl := c.Flags()
	f.out.add(fl)
	fl.StringVar(&f.look.Reference, "reference", "", "hold the others against the reader of this `CODE`")
	fl.BoolVar(&f.look.Rank, "rank", false, "order the readers by their share within")
	f.rules.add(fl)
	c.RunE = func(c *cobra.Command, args []string) error { return a.classPractice(args, f) }
	return c
}

func (a *app) classPractice(args []string, f classFlags) error {
	out, err := newFolder(f.out.dir, f.out.replace, args...)
	if err != nil {
		return err
	}
	defer out.abandon()
	if err := f.rules.Check(); err != nil {
		return err
	}
	var all []*practice.Marks
	for _, path := range args {
		data, err := readFile(path)
		if err != nil {
			return err
		}
		marks, err := practice.ReadMarks(bytes.NewReader(data), f.rules.Rules)
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		all = append(all, marks...)
	}
	class, err := practice.Classify(all, f.rules.Rules, f.look)
	if err != nil {
		return err
	}
	if err := out.write("class.csv", class.WriteCSV); err != nil {
		return err
	}
	if err := out.write("report.html", func(w io.Writer) error { return report.ClassPage(w, class) }); err != nil {
		return err
	}
	if err := a.settle(out, f.out.dir); err != nil {
		return err
	}
	if a.json {
		return a.list(f.out.dir, []string{"class.csv", "report.html"})
	}
	return a.classSummary(class, f.out.dir)
}

// classSummary prints the readers, one a line.
func (a *app) classSummary(c *practice.Class, dir string) error {
	w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "reader\tat most T\tbias mm\tSD mm\tblunders\tunsafe\tcalibration")
	for _, s := range c.Readers {
		bias, sd := "–", "–"
		if p := s.Lengths.Pair; p != nil {
			bias, sd = fmt.Sprintf("%+.2f", float64(p.Bias.Value)), fmt.Sprintf("%.2f", float64(p.SD.Value))
		}
		fmt.Fprintf(w, "%s\t%d of %d\t%s\t%s\t%d\t%d\t%s\n", s.Reader, s.Share.Hits, s.Share.Of, bias, sd, len(s.Blunders), len(s.Unsafe), s.Criterion)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(a.stdout, "report: "+filepath.Join(dir, "report.html"))
	return err
}
