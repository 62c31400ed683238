package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ridgerule/measure/study"
)

// runFlags are the flags of study run.
type runFlags struct {
	dir, shard, memory string
	shards, jobs       int
	failOnFailure      bool
}

func (a *app) studyRun() *cobra.Command {
	var f runFlags
	c := &cobra.Command{
		Use:   "run MANIFEST -o DIR",
		Short: "Measure the cases of a manifest that are missing or whose inputs changed",
		Long: `Measure the cases that MANIFEST lists (CSV or YAML with case, series, plan, and optionally reader,
replicate and any further columns; paths from its own folder) into DIR/cases/CASE[.READER[.REPLICATE]]. A
case's folder appears whole or not at all. A case that fails stops no other: its reason is in
DIR/failures.csv. Run again to go on: only what is missing, or whose plan or series changed, is done.

Inside a Slurm array or a Kubernetes Indexed Job the part is taken from the environment.`,
		Example: `  ridgerule study run manifest.csv -o study
  ridgerule study run manifest.csv -o study --shard 3/20
  ridgerule study merge study`,
		Args: oneArg("MANIFEST"),
	}
	f.add(c.Flags())
	c.RunE = func(c *cobra.Command, args []string) error { return a.runStudy(c.Context(), args[0], f) }
	return c
}

func (f *runFlags) add(fl *pflag.FlagSet) {
	fl.StringVarP(&f.dir, "output", "o", "", "the study's folder `DIR`; made when missing, gone on with when not")
	fl.StringVar(&f.shard, "shard", "", "measure part `I/N` only: every N-th case from the I-th, I from 0")
	fl.IntVar(&f.shards, "shards", 0, "into how many parts `N` the study is split, where a cluster numbers this one")
	fl.IntVar(&f.jobs, "jobs", 0, "cases at once; 0: as many as there are processors")
	fl.StringVar(&f.memory, "memory", "", "memory for all of them, as `6000M` or 12G; what is available when not given")
	fl.BoolVar(&f.failOnFailure, "fail-on-failure", false, "exit with 4 when a case was not measured")
}

func (a *app) runStudy(ctx context.Context, path string, f runFlags) error {
	o, err := a.studyOptions(f)
	if err != nil {
		return err
	}
	m, err := a.openManifest(path)
	if err != nil {
		return err
	}
	if err := apartFromSeries(f.dir, m); err != nil {
		return err
	}
	step, end := a.studyProgress("measured")
	o.Progress = step
	out, err := study.Run(ctx, m, f.dir, o)
	end()
	return a.reportStudy(f, out, err)
}

// studyOptions turns flags and environment into options.
func (a *app) studyOptions(f runFlags) (study.Options, error) {
	o := study.Options{Tool: "ridgerule " + version, Jobs: f.jobs, Memory: study.FreeMemory(), Limits: a.limits}
	if f.dir == "" {
		return o, usagef("no study folder; name one with -o DIR")
	}
	if f.jobs < 0 || f.shards < 0 {
		return o, usagef("--jobs and --shards count from 1; 0 stands for the default")
	}
	var err error
	if f.memory != "" {
		if o.Memory, err = study.ParseMemory(f.memory); err != nil {
			return o, usagef("--memory %w", err)
		}
	}
	if o.Shard, err = a.shard(f); err != nil {
		return o, usageError{err}
	}
	cores := runtime.GOMAXPROCS(0)
	if o.Jobs == 0 {
		o.Jobs = cores
	}
	o.Do = caseProcess(max(1, cores/o.Jobs))
	return o, nil
}

func (a *app) shard(f runFlags) (study.Shard, error) {
	if f.shard != "" {
		s, err := study.ParseShard(f.shard)
		if err == nil && f.shards != 0 && f.shards != s.Count {
			err = fmt.Errorf("--shard %s and --shards %d contradict each other", f.shard, f.shards)
		}
		return s, err
	}
	s, from, err := study.ShardOf(a.getenv, f.shards)
	switch {
	case err != nil:
		return s, err
	case from == "" && f.shards > 1:
		return s, errors.New("--shards needs a cluster that numbers this part; without one give --shard I/N")
	case from != "":
		a.say("part %s, from %s", s, from)
	}
	return s, nil
}

// openManifest reads a manifest; its faults are printed one a line.
func (a *app) openManifest(path string) (*study.Manifest, error) {
	m, err := study.OpenManifest(path)
	var faults study.ManifestErrors
	if errors.As(err, &faults) {
		fmt.Fprintln(a.stderr, faults)
		return nil, errSaid{usageError{err}}
	}
	return m, err
}

// apartFromSeries refuses a study's folder inside a series: what it writes would be read as a part
// of that.
func apartFromSeries(dir string, m *study.Manifest) error {
	final, err := resolve(dir)
	if err != nil {
		return err
	}
	if info, err := os.Stat(final); err == nil && !info.IsDir() {
		return usagef("study folder %s is a file; choose another place", dir)
	}
	seen := map[string]bool{}
	for _, e := range m.Entries {
		if seen[e.Series] {
			continue
		}
		seen[e.Series] = true
		in, err := resolve(e.Series)
		if err != nil {
			continue
		}
		if info, err := os.Stat(in); err == nil && info.IsDir() && within(final, in) {
			return usagef("study folder %s lies inside the series of line %d; choose another place", dir, e.Line)
		}
	}
	return nil
}

// reportStudy prints what a run did and returns the error that belongs to it.
func (a *app) reportStudy(f runFlags, out study.Outcome, err error) error {
	table := filepath.Join(f.dir, "failures.csv")
	if printErr := a.studySummary(f.dir, out); printErr != nil && err == nil {
		err = printErr
	}
	for _, d := range out.Damaged {
		a.say("caution: %s; it is measured again", d)
	}
	const most = 10
	for i, fail := range out.Failures {
		if i == most {
			a.say("… and %d more", len(out.Failures)-most)
			break
		}
		a.say("line %d, %s: %s: %s", fail.Line, nameOf(fail), fail.Stage, fail.Reason)
	}
	if len(out.Failures) > 0 {
		a.say("reasons: %s", table)
	}
	if out.Unchecked > 0 {
		a.say("%d are measured already; their plan or series cannot be read any more to see whether it changed", out.Unchecked)
	}
	switch {
	case errors.Is(err, context.Canceled):
		a.say("ridgerule: interrupted; what is measured stays, run the same again to go on")
		return errSaid{err}
	case err != nil:
		return err
	case len(out.Failures) > 0 && f.failOnFailure:
		return errFound{fmt.Errorf("--fail-on-failure: %d of %d cases", len(out.Failures), out.Entries)}
	}
	return nil
}

func nameOf(f study.Failure) string {
	return strings.TrimRight(strings.Join([]string{f.Case, f.Reader, f.Replicate}, "."), ".")
}

func (a *app) studySummary(dir string, out study.Outcome) error {
	left := out.Entries - out.Done - out.Before - out.Unchecked - out.Elsewhere - len(out.Failures)
	if a.json {
		return a.printJSON(map[string]any{"folder": dir, "cases": out.Entries, "measured": out.Done, "before": out.Before,
			"unchecked": out.Unchecked, "elsewhere": out.Elsewhere, "failed": len(out.Failures), "left": left})
	}
	line := fmt.Sprintf("%d cases: %d measured, %d before, %d failed", out.Entries, out.Done, out.Before+out.Unchecked, len(out.Failures))
	if out.Elsewhere > 0 {
		line += fmt.Sprintf(", %d being measured by another process", out.Elsewhere)
	}
	if left > 0 {
		line += fmt.Sprintf(", %d left", left)
	}
	_, err := fmt.Fprintln(a.stdout, line)
	return err
}
