package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ridgerule/dicomio"
	"ridgerule/measure/align"
	"ridgerule/measure/change"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/practice"
	"ridgerule/measure/propose"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
	"ridgerule/measure/solid"
	"ridgerule/measure/study"
)

// The exit statuses, a contract.
const (
	exitDone    = 0 // findings are results, not failures
	exitFailure = 1
	exitUsage   = 2
	exitSeries  = 3
	exitFound   = 4
)

const exitHelp = `
Exit status:
  0  done (findings are results, not failures)
  1  unexpected failure
  2  the command line or the plan is wrong
  3  the series cannot be read or is unfit to measure
  4  done, and --fail-on found a verdict that it names
`

// usageError is a fault of the command line.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// errFound ends a command that is done and found what --fail-on names; errSaid one whose error
// stands on stdout already.
type errFound struct{ error }

type errSaid struct{ error }

func (e errSaid) Unwrap() error { return e.error }

// report prints err on stderr and returns the exit status that belongs to it. Only the first error is printed: a command
// that is being ended may notice it too.
func (a *app) report(err error) int {
	if err == nil {
		return exitDone
	}
	a.reported.Do(func() { a.print(err) })
	return statusOf(err)
}

func (a *app) print(err error) {
	var said errSaid
	var faults plan.Errors
	switch {
	case errors.As(err, &said):
	case errors.As(err, &faults):
		fmt.Fprintln(a.stderr, faults)
	case errors.Is(err, context.Canceled):
		fmt.Fprintln(a.stderr, "ridgerule: interrupted; nothing half-made was left behind")
	default:
		fmt.Fprintln(a.stderr, "ridgerule: "+plain(err))
	}
}

// plain returns an error's message without the rooms' names, and on one line. A limit has the name of its flag.
func plain(err error) string {
	s := strings.TrimPrefix(strings.TrimPrefix(strings.TrimPrefix(err.Error(), "dicomio: "), "report: "), "practice: ")
	for _, room := range []string{"align: ", "change: "} {
		s = strings.TrimPrefix(strings.ReplaceAll(s, ": "+room, ": "), room)
	}
	s = strings.ReplaceAll(strings.ReplaceAll(s, ": dicomio: ", ": "), "the limit max-", "--max-")
	return strings.Join(strings.Fields(s), " ")
}

func statusOf(err error) int {
	var usage usageError
	var faults plan.Errors
	var found errFound
	switch {
	case errors.As(err, &found):
		return exitFound
	case errors.As(err, &usage), errors.As(err, &faults):
		return exitUsage
	case errors.Is(err, propose.ErrJaw), errors.Is(err, dicomio.ErrPath), errors.Is(err, dicomio.ErrSelector), errors.Is(err, dicomio.ErrValue), errors.Is(err, phantom.ErrOptions), errors.Is(err, report.ErrResult), errors.Is(err, report.ErrReview), errors.Is(err, report.ErrPicture), errors.Is(err, practice.ErrOptions), errors.Is(err, practice.ErrSession),
		errors.Is(err, reformat.ErrCurve), errors.Is(err, solid.ErrBody):
		return exitUsage
	case errors.Is(err, dicomio.ErrSeries), errors.Is(err, study.ErrDamaged), errors.Is(err, errUnfit), errors.Is(err, report.ErrChanged), errors.Is(err, practice.ErrKey), errors.Is(err, propose.ErrArch):
		return exitSeries
	case errors.Is(err, align.ErrTable), errors.Is(err, align.ErrLandmarks), errors.Is(err, align.ErrFile), errors.Is(err, change.ErrAlignment), errors.Is(err, align.ErrBody):
		return exitUsage
	case errors.Is(err, align.ErrPoints), errors.Is(err, align.ErrRefused), errors.Is(err, align.ErrSource):
		return exitSeries
	}
	return exitFailure
}

// unknownFlag returns the name of the flag that err says does not exist.
func unknownFlag(err error) (string, bool) {
	var e *pflag.NotExistError
	if !errors.As(err, &e) {
		return "", false
	}
	return e.GetSpecifiedName(), true
}

// oneArg accepts exactly one argument, called name in the message.
func oneArg(name string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return fmt.Errorf("%s needs %s; see ridgerule %s --help", c.Name(), name, c.Name())
		case len(args) > 1:
			return fmt.Errorf("%s takes one %s, not %d; put one that holds spaces in quotes", c.Name(), name, len(args))
		case strings.TrimSpace(args[0]) == "":
			return fmt.Errorf("%s: %s is empty; give a path (. is the folder you are in)", c.Name(), name)
		}
		return nil
	}
}

// noArgs accepts none.
func noArgs(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return fmt.Errorf("%s takes no argument; see ridgerule %s --help", c.Name(), c.Name())
	}
	return nil
}
