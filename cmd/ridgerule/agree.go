package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ridgerule/measure/quantity"
	"ridgerule/measure/repeat"
)

// agreeFlags are the flags of agree.
type agreeFlags struct {
	out     outFlags
	columns repeat.Columns
	options repeat.Options
	where   []string
}

func (a *app) agree() *cobra.Command {
	var f agreeFlags
	c := &cobra.Command{
		Use:   "agree TABLE --subject COLUMN --rater COLUMN --value COLUMN -o DIR",
		Short: "How well repeated measurements agree",
		Long: `Say how well repeated measurements agree: bias, limits of agreement, repeatability, Dahlberg's error,
reproducibility, the ICCs and concordance, each with its interval. TABLE is any CSV with one reading a row, the
measurements.csv of study merge included. The folder DIR gets agreement.csv, agreement.json,
methods.md and, in plots/, two plots a pair of raters. What the figures mean: docs/agreement.md.`,
		Example: `  ridgerule agree study/measurements.csv --subject case,site --rater reader --replicate replicate \
    --value value --where quantity=` + string(quantity.RidgeHeight) + ` -o agreement`,
		Args: oneArg("TABLE"),
	}
	f.add(c.Flags())
	c.RunE = func(c *cobra.Command, args []string) error { return a.runAgree(args[0], f) }
	return c
}

func (f *agreeFlags) add(fl *pflag.FlagSet) {
	f.out.add(fl)
	fl.StringSliceVar(&f.columns.Subject, "subject", nil, "the `COLUMN` of what was measured; several are joined: case,site")
	fl.StringVar(&f.columns.Cluster, "cluster", "", "the `COLUMN` of what holds several subjects, as a case its sites; of several subject columns the one called case, else the first")
	fl.StringVar(&f.columns.Rater, "rater", "", "the `COLUMN` of who measured")
	fl.StringVar(&f.columns.Reference, "reference", "", "the `COLUMN` of what each subject truly is: hold the raters against it, not against each other")
	fl.StringVar(&f.columns.Value, "value", "", "the `COLUMN` of the readings")
	fl.StringVar(&f.columns.Replicate, "replicate", "", "the `COLUMN` of repeats of one subject by one rater")
	fl.StringArrayVar(&f.where, "where", nil, "keep the rows of `COLUMN=VALUE` only (may be repeated)")
	fl.StringVar(&f.options.Unit, "unit", "", "of the readings, where the table does not say")
	fl.StringSliceVar(&f.options.Raters, "raters", nil, "which `RATERS` to compare, in the order of the differences")
	fl.Float64Var(&f.options.Confidence, "confidence", 0.95, "level of all intervals")
	fl.BoolVar(&f.options.SkipMissing, "skip-missing", false, "leave out rows without a number, and count them")
	fl.BoolVar(&f.options.RequireBalanced, "balanced", false, "refuse a table in which not every subject was read equally often")
}

func (a *app) runAgree(path string, f agreeFlags) error {
	result, err := f.analyse(path)
	if err != nil {
		return a.agreeFault(path, err)
	}
	out, err := newFolder(f.out.dir, f.out.replace, path)
	if err != nil {
		return err
	}
	defer out.abandon()
	names, err := writeAgreement(out, result)
	if err != nil {
		return err
	}
	if kept, err := out.commit(); err != nil {
		return err
	} else if kept != "" {
		a.say("kept what stood in %s, which is not this program's: %s", f.out.dir, kept)
	}
	for _, n := range result.Notes {
		a.say("note: %s", n)
	}
	if a.json {
		return a.list(f.out.dir, names)
	}
	return agreementSummary(a.stdout, result)
}

// analyse reads and analyses the table.
func (f *agreeFlags) analyse(path string) (*repeat.Result, error) {
	for _, need := range []struct{ flag, value string }{
		{"subject", strings.Join(f.columns.Subject, "")}, {"value", f.columns.Value}, {"rater", f.columns.Rater + f.columns.Replicate},
	} {
		if need.value == "" {
			return nil, usagef("which column? say --%s", need.flag)
		}
	}
	if f.columns.Reference != "" && f.options.RequireBalanced {
		return nil, usagef("--balanced asks of the raters what --reference does not need; leave one out")
	}
	if f.options.Confidence == 0 { // which the library takes for its default
		return nil, usagef("--confidence 0: give a level from 0.5 to 0.999, as 0.95")
	}
	f.options.Tool = "ridgerule " + version
	for _, w := range f.where {
		column, value, ok := strings.Cut(w, "=")
		if !ok {
			return nil, usagef("--where %q is no condition; write COLUMN=VALUE", w)
		}
		f.options.Where = append(f.options.Where, repeat.Condition{Column: column, Value: value})
	}
	file, err := os.Open(path)
	if err != nil {
		return nil, usagef("%s: %w", path, reason(err))
	}
	defer file.Close()
	if info, err := file.Stat(); err == nil && !info.Mode().IsRegular() {
		return nil, usagef("%s is not a file; name a CSV", path)
	}
	return repeat.Agree(file, f.columns, f.options)
}

// agreeFault prints the faults of a table, one a line. Whatever is wrong with it is the user's to
// mend, so the status is that of a wrong command line.
func (a *app) agreeFault(path string, err error) error {
	var usage usageError
	var broken *fs.PathError
	if errors.As(err, &usage) || errors.As(err, &broken) {
		return err
	}
	for line := range strings.Lines(err.Error()) {
		fmt.Fprintf(a.stderr, "%s: %s\n", path, strings.TrimPrefix(strings.TrimSpace(line), "repeat: "))
	}
	return errSaid{usageError{err}}
}

// writeAgreement writes the files of a result and returns their names.
func writeAgreement(f *folder, r *repeat.Result) ([]string, error) {
	var names []string
	var err error
	put := func(name string, fill func(io.Writer) error) {
		if err == nil {
			names, err = append(names, name), f.write(name, fill)
		}
	}
	put("agreement.csv", r.WriteCSV)
	put("agreement.json", r.WriteJSON)
	put("methods.md", r.WriteMethods)
	for i, p := range r.Pairs {
		if p.Reason != "" {
			continue // not compared
		}
		for _, kind := range []string{"svg", "png"} {
			put(fmt.Sprintf("plots/bland-altman-%d.%s", i+1, kind), func(w io.Writer) error { return r.WriteBlandAltman(w, i, kind) })
			put(fmt.Sprintf("plots/identity-%d.%s", i+1, kind), func(w io.Writer) error { return r.WriteIdentity(w, i, kind) })
		}
	}
	return names, err
}

// agreementSummary prints the pairs, one a line.
func agreementSummary(w io.Writer, r *repeat.Result) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintf(t, "plot\tpair\tsubjects\tbias %s\tlimits of agreement\tDahlberg\n", r.Unit)
	for i, p := range r.Pairs {
		name := p.First + " − " + p.Second
		if p.Reason != "" {
			fmt.Fprintf(t, "–\t%s\tnot compared: %s\n", name, p.Reason)
			continue
		}
		fmt.Fprintf(t, "%d\t%s\t%d\t%s\t%s to %s\t%s\n", i+1, name, p.Subjects,
			short(p.Bias.Value), short(p.LowerLimit.Value), short(p.UpperLimit.Value), short(p.Dahlberg.Value))
	}
	return t.Flush()
}

// short is a number to three digits; a dash where there is none.
func short(x repeat.Number) string {
	if !x.Known() {
		return "–"
	}
	return fmt.Sprintf("%.3g", float64(x))
}
