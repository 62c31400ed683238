package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"sync"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"ridgerule/dicomio"
	"ridgerule/dicomio/temporary"
	"ridgerule/measure"
	"ridgerule/measure/fault"
	"ridgerule/measure/study"
)

// app is what every verb is given: where to write and what the common flags say.
type app struct {
	stdout, stderr io.Writer
	getenv         func(string) string
	now            func() time.Time

	json, quiet, noProgress bool
	limits                  dicomio.Limits
	reported                sync.Once
	parsed                  bool // flags and arguments were right: an error from here on is no usage error
}

// run runs one command line and returns the exit status.
func run(args []string, stdout, stderr io.Writer) int {
	fault.Version = version
	a := &app{stdout: stdout, stderr: stderr, getenv: os.Getenv, now: time.Now}
	moment := 100 * time.Millisecond
	if len(args) > 1 && args[0] == "study" && args[1] == "case" {
		moment = 50 * time.Millisecond // the study waits for it
	}
	if len(args) > 0 && args[0] == "desk" {
		moment = 6 * time.Second // it finishes what it is saving
	}
	return a.interruptible(moment, func(ctx context.Context) int { return a.run(ctx, args) })
}

// interruptible runs a command. When it is interrupted it has a moment to end by itself; then it is ended, whatever it does,
// and what it was making is removed.
func (a *app) interruptible(moment time.Duration, do func(context.Context) int) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	ended := make(chan int, 1)
	go func() { ended <- guard(a.stderr, func() int { return do(ctx) }) }()
	select {
	case status := <-ended:
		return status
	case <-ctx.Done():
	}
	select {
	case status := <-ended:
		return status
	case <-time.After(moment):
	}
	temporary.RemoveAll()
	return a.report(context.Canceled)
}

// guard turns a panic into exit status 1 with a short message: no user reads a stack.
func guard(stderr io.Writer, do func() int) (status int) {
	defer func() {
		if r := recover(); r != nil {
			fmt.Fprintf(stderr, "ridgerule: %s\n", fault.Sentence(r))
			status = exitFailure
		}
	}()
	return do()
}

func (a *app) run(ctx context.Context, args []string) int {
	root := a.root()
	root.SetArgs(args)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	err := root.ExecuteContext(ctx)
	if err != nil && !a.parsed {
		err = usageError{err}
	}
	return a.report(err)
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "ridgerule",
		Short: "Measure jaw bone in cone-beam CT for dental implants",
		Long: `Measure jaw bone in cone-beam CT for dental implants: ridge height, width and tilt at
planned sites, and the distance of a planned implant from what it must keep away from.

Try it without a patient:  ridgerule demo`,
		Version:                    version,
		SilenceErrors:              true,
		SilenceUsage:               true,
		SuggestionsMinimumDistance: 2,
		PersistentPreRunE:          func(c *cobra.Command, _ []string) error { a.parsed = true; return a.checkFlags(c) },
	}
	root.SetVersionTemplate("ridgerule {{.Version}}\n")
	root.SetFlagErrorFunc(suggestFlag)
	flags := root.PersistentFlags()
	flags.BoolVar(&a.json, "json", false, "print the answer on stdout as JSON")
	flags.BoolVar(&a.quiet, "quiet", false, "print no messages but errors")
	flags.BoolVar(&a.noProgress, "no-progress", false, "show no progress on the terminal")
	flags.IntVar(&a.limits.Files, "max-files", 0, "look at so many files of a path at most; 0: 100000")
	flags.Var(amount{&a.limits.Volume}, "max-volume", "read volumes of so much memory at most, as `6000M` or 12G; 16G when not given")
	flags.Var(amount{&a.limits.Inflated}, "max-inflated", "let a compressed file grow by so much more than 50 times, as `500M`; 128M when not given")
	root.AddCommand(a.demo(), a.inspect(), a.measure(), a.remake(), a.check(), a.section(), a.phantom(), a.trace(), a.propose(), a.desk(), a.study(), a.agree(), a.practice(), a.read(), a.accuracy(), a.positions(), a.align(), a.compare())
	root.SetHelpTemplate(helpTemplate + exitHelp)
	return root
}

const helpTemplate = `{{with (or .Long .Short)}}{{. | trimTrailingWhitespaces}}

{{end}}{{if or .Runnable .HasSubCommands}}{{.UsageString}}{{end}}`

// suggestFlag adds the nearest flag to the error of an unknown one. The command's own machinery
// for verbs does the comparing.
func suggestFlag(c *cobra.Command, err error) error {
	name, ok := unknownFlag(err)
	if !ok {
		return err
	}
	known := &cobra.Command{SuggestionsMinimumDistance: 2}
	c.Flags().VisitAll(func(f *pflag.Flag) {
		known.AddCommand(&cobra.Command{Use: f.Name, Run: func(*cobra.Command, []string) {}})
	})
	if near := known.SuggestionsFor(name); len(near) > 0 {
		return fmt.Errorf("%w; did you mean --%s?", err, near[0])
	}
	return fmt.Errorf("%w; see ridgerule %s --help", err, c.Name())
}

// checkFlags refuses a flag given with nothing, as by a script whose variable is not set: left out it means something else.
func (a *app) checkFlags(c *cobra.Command) error {
	if a.limits.Files < 0 {
		return usagef("--max-files counts from 1; 0 stands for 100000")
	}
	var err error
	c.Flags().Visit(func(f *pflag.Flag) {
		if f.Value.Type() == "string" && strings.TrimSpace(f.Value.String()) == "" && err == nil {
			err = usagef("--%s is empty; give it a value, or leave it out", f.Name)
		}
	})
	return err
}

// amount is a flag that takes an amount of memory, bytes.
type amount struct{ bytes *int64 }

func (m amount) Set(s string) (err error) { *m.bytes, err = study.ParseMemory(s); return err }
func (m amount) Type() string             { return "memory" }

func (m amount) String() string {
	if m.bytes == nil || *m.bytes == 0 {
		return ""
	}
	return fmt.Sprint(*m.bytes)
}

// say prints a message on stderr unless --quiet.
func (a *app) say(format string, args ...any) {
	if !a.quiet {
		fmt.Fprintf(a.stderr, format+"\n", args...)
	}
}

// terminal reports whether w is a terminal that may show progress.
func terminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// cautions prints what a reader of the numbers must know on stderr.
func (a *app) cautions(all []measure.Caution) {
	for _, c := range all {
		if c.Severity == measure.SeverityNote {
			a.say("note: %s", c.Line())
			continue
		}
		a.say("caution: %s", c.Line())
	}
}
