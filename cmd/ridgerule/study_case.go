package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ridgerule/measure"
	"ridgerule/measure/report"
	"ridgerule/measure/study"
)

// A case of a study is measured by a process of its own, for a fault that ends it (memory, a stack, a
// panic in any goroutine) must not end the study, and because its memory goes back when it ends.
//
//	stdin    the study.Job as one line of JSON; then nothing, until the study's process ends however
//	         it ends: so no orphan goes on
//	stdout   nothing, or the study.Failure as JSON
//	the job's folder is inherited open, so that its lock lasts as long as either process
const (
	tillEnd  = 10 * time.Second // from an interrupt to a kill
	mostSaid = 1 << 20          // bytes kept of what such a process prints
)

// caseProcess returns what measures a case in a process that uses so many processors.
func caseProcess(processors int) func(context.Context, study.Job) error {
	return func(ctx context.Context, j study.Job) error {
		self, err := os.Executable()
		if err != nil {
			return err
		}
		c := exec.CommandContext(ctx, self, "study", "case")
		c.Args[0] = os.Args[0]
		c.Cancel = func() error { return c.Process.Signal(os.Interrupt) }
		c.WaitDelay = tillEnd
		c.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", processors))
		if j.Memory > 0 {
			c.Env = append(c.Env, fmt.Sprintf("GOMEMLIMIT=%d", j.Memory))
		}
		if runtime.GOOS != "windows" {
			c.ExtraFiles = []*os.File{j.Hold}
		}
		stdout, stderr := &limited{}, &limited{}
		c.Stdout, c.Stderr = stdout, stderr
		in, err := c.StdinPipe()
		if err != nil {
			return err
		}
		if err := c.Start(); err != nil {
			return err
		}
		_ = json.NewEncoder(in).Encode(j) // the process says so when it got none
		return verdictOf(ctx, c.Wait(), stdout.Bytes(), stderr.Bytes())
	}
}

// verdictOf turns the end of a case's process into its failure.
func verdictOf(ctx context.Context, end error, stdout, stderr []byte) error {
	if ctx.Err() != nil || end == nil {
		return ctx.Err()
	}
	var f study.Failure
	if json.Unmarshal(stdout, &f) == nil && f.Stage != "" {
		if f.Stage == interrupted {
			return context.Canceled
		}
		return &f
	}
	first, _, _ := strings.Cut(strings.TrimSpace(string(stderr)), "\n")
	if r := []rune(first); len(r) > 200 {
		first = string(r[:200])
	}
	return &study.Failure{Stage: study.StageCrash, Reason: strings.Join(strings.Fields(
		fmt.Sprintf("its process ended with %v; if memory ran out, give --memory or fewer --jobs %s", end, first)), " ")}
}

const interrupted = "interrupted" // a stage between the two processes only

// limited keeps the beginning of what is written to it.
type limited struct{ bytes.Buffer }

func (l *limited) Write(p []byte) (int, error) {
	l.Buffer.Write(p[:min(len(p), max(0, mostSaid-l.Len()))])
	return len(p), nil
}

// studyCase is the process of one case.
func (a *app) studyCase() *cobra.Command {
	return &cobra.Command{
		Use:    "case",
		Short:  "Measure one case for study run, which speaks to it over stdin",
		Hidden: true,
		Args:   noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			var j study.Job
			in := json.NewDecoder(os.Stdin)
			if err := in.Decode(&j); err != nil {
				return usagef("study case is started by study run; use ridgerule measure for one case")
			}
			go func() {
				_, _ = io.Copy(io.Discard, in.Buffered())
				_, _ = io.Copy(io.Discard, os.Stdin)
				os.Exit(exitFailure) // the study has ended
			}()
			err := a.fillCase(c.Context(), j)
			if err == nil {
				return nil
			}
			f := study.FailureOf(err, study.StageMeasure)
			if errors.Is(err, context.Canceled) {
				f = &study.Failure{Stage: interrupted}
			}
			return errors.Join(errSaid{f}, a.printJSON(f))
		},
	}
}

// fillCase measures a job's case into its folder.
func (a *app) fillCase(ctx context.Context, j study.Job) error {
	p, err := readPlan(j.Plan)
	if err != nil {
		return err
	}
	var opt measure.Options
	if p.Case != j.Case {
		opt.Cautions = append(opt.Cautions, measure.Cautionf("other_label", measure.SeverityCaution, "the plan calls this case %s, the study %s", p.Case, j.Case))
	}
	a.limits = j.Limits
	c, err := a.measureCase(ctx, j.Series, "", p, opt, &extraFlags{})
	if err != nil {
		return err
	}
	c.Result.Case = j.Case
	if err := report.Write(c.Case, report.Extra{}, (&folder{temp: j.Folder}).create); err != nil {
		return study.FailureOf(err, study.StageWrite)
	}
	return nil
}
