package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ridgerule/measure/report"
	"ridgerule/measure/study"
)

func (a *app) studyMerge() *cobra.Command {
	return &cobra.Command{
		Use:   "merge DIR",
		Short: "Write the tables of all cases of a study",
		Long: `Write, in the study's folder DIR, measurements.csv and sites.csv of all its cases, in the manifest's
order and with its columns first, cases.csv (by which version and from which plan and series each was
measured), failures.csv and datapackage.json. Files of a case that were changed since they were made are
named, all at once, and nothing is merged. A case that is neither measured
nor failed is in failures.csv too. The bytes do not depend on how, where or in which order the cases
were measured.`,
		Args: oneArg("DIR"),
		RunE: func(c *cobra.Command, args []string) error { return a.mergeStudy(args[0]) },
	}
}

func (a *app) mergeStudy(dir string) error {
	var made time.Time // left out unless asked for: a date of now would be all that differs between two merges
	if a.getenv("SOURCE_DATE_EPOCH") != "" {
		var err error
		if made, err = report.Date(a.getenv, a.now); err != nil {
			return usageError{err}
		}
	}
	step, end := a.studyProgress("merged")
	out, err := study.Merge(dir, study.MergeOptions{Made: made, Progress: step})
	end()
	if errors.Is(err, study.ErrNoStudy) {
		return usagef("%s: %w", dir, err)
	}
	if errors.Is(err, study.ErrDamaged) {
		fmt.Fprintln(a.stderr, strings.TrimPrefix(err.Error(), "study: "))
		return errSaid{err}
	}
	if err != nil {
		return err
	}
	if len(out.Tools) > 1 {
		a.say("caution: the cases were measured by different versions: %s; run the study again to measure all by this one", strings.Join(out.Tools, ", "))
	}
	if out.Waiting > 0 {
		a.say("caution: %d of %d cases are neither measured nor failed yet; run the study again", out.Waiting, out.Entries)
	}
	files := []string{"measurements.csv", "sites.csv", "cases.csv", "failures.csv", "datapackage.json"}
	if a.json {
		return a.printJSON(map[string]any{"folder": dir, "files": files, "cases": out.Entries, "measured": out.Measured,
			"failed": out.Failed, "waiting": out.Waiting, "tools": out.Tools})
	}
	_, err = fmt.Fprintf(a.stdout, "%d cases: %d measured, %d failed, %d waiting\n%s\n", out.Entries, out.Measured, out.Failed, out.Waiting,
		filepath.Join(dir, files[0]))
	return err
}
