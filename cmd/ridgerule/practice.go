package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"ridgerule/measure/practice"
)

func (a *app) practice() *cobra.Command {
	c := &cobra.Command{
		Use:   "practice",
		Short: "Practise measuring on synthetic sections whose truth is known",
		Long: `Practise measuring on synthetic sections whose truth is known: make a set, measure it with your own eye and
hand, mark it; a teacher looks at a class. Synthetic jaws teach measuring, not diagnosis. How to begin:
docs/practice.md.`,
	}
	c.AddCommand(a.practiceMake(), a.practiceMark(), a.practiceClass())
	return c
}

// ruleFlags are what readings are marked by.
type ruleFlags struct{ practice.Rules }

func (r *ruleFlags) add(fl *pflag.FlagSet) {
	r.Rules = practice.Usual()
	fl.Float64Var(&r.Least, "tolerance-mm", r.Least, "tolerance of a length is no less, `mm`")
	fl.Float64Var(&r.Reader, "reader-sd-mm", r.Reader, "SD of a skilled reader of lengths, `mm`")
	fl.Float64Var(&r.LeastTilt, "tolerance-deg", r.LeastTilt, "tolerance of an angle is no less, `deg`")
	fl.Float64Var(&r.TiltSD, "reader-sd-deg", r.TiltSD, "SD of a skilled reader of angles, `deg`")
	fl.Float64Var(&r.Bias, "criterion-bias-mm", r.Bias, "calibration: the interval of the bias within ± so much, `mm`")
	fl.Float64Var(&r.SD, "criterion-sd-mm", r.SD, "calibration: the upper limit of the SD at most so much, `mm`")
}

// readFile reads a file that the user named, of some megabytes at most.
func readFile(path string) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, usagef("%s: %w", path, reason(err))
	case !info.Mode().IsRegular():
		return nil, usagef("%s is not a file; name a CSV", path)
	case info.Size() > 64<<20:
		return nil, usagef("%s is larger than 64 MB; thin a surface out, a table is none so large", path)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return nil, usagef("%s: %w", path, reason(err))
	}
	return data, nil
}

// someArgs accepts one argument or more, called name in the message.
func someArgs(name string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) == 0 {
			return fmt.Errorf("%s needs %s; see ridgerule practice %s --help", c.Name(), name, c.Name())
		}
		return nil
	}
}
