package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"ridgerule/measure/report"
)

// remake is the verb report.
func (a *app) remake() *cobra.Command {
	var out outFlags
	var extra extraFlags
	var words []string
	var edited bool
	c := &cobra.Command{
		Use:   "report RESULT.json -o DIR",
		Short: "Make a case's outputs again, without the scan",
		Long: `Make the outputs of ridgerule measure again from its result.json and the pictures/ beside it, and any of
those that were not asked for then. The scan is not needed. The new result.json is the old one, and so
is the date on every page: when it was measured.

A result.json, picture or surface that was changed since is refused (exit 3), unless --edited: every page says so then.
This finds accidents and hand edits; it is no signature.

--with-identity needs the identity.json that measure --dicom --with-identity left beside the result, and so does
--pseudonym-key; a result that was measured with --pseudonym-key keeps its pseudonym without the flag.
--stl copies the bone's surfaces that measure --stl left there; implants it draws anew.`,
		Example: `  ridgerule report result/result.json -o letter --pdf letter --day-sheet
  ridgerule report result/result.json -o record --dicom`,
		Args: oneArg("RESULT.json"),
	}
	out.add(c.Flags())
	extra.add(c.Flags())
	c.Flags().BoolVar(&extra.stl, "stl", false, "write surfaces/: planned implants, and the bone kept beside the result, as STL in patient LPS mm")
	c.Flags().BoolVar(&edited, "edited", false, "take a result that was changed by hand; every page says so")
	c.Flags().StringSliceVar(&words, "fail-on", nil, failOnHelp)
	c.RunE = func(c *cobra.Command, args []string) error {
		if err := errors.Join(checkFailOn(words), a.checked(&extra)); err != nil {
			return err
		}
		result, err := readCase(args[0], extra, edited)
		if err != nil {
			return err
		}
		f, err := newFolder(out.dir, out.replace, extra.key.inputs(args[0])...)
		if err != nil {
			return err
		}
		defer f.abandon()
		if result.Surfaces, err = extra.surfaces(result); err != nil {
			return err
		}
		if err := extra.write(f, result); err != nil {
			return err
		}
		return a.finish(f, result.Result, out.dir, words)
	}
	return c
}

// asWritten refuses a result of which anything was changed since it was written, unless edited: then every page says so.
func asWritten(c fullCase, beside fs.FS, changed, edited bool) error {
	names, err := c.Provenance.Changed(beside)
	if err != nil {
		return err
	}
	if changed {
		names = append([]string{"result.json"}, names...)
	}
	switch {
	case len(names) == 0:
		return nil
	case edited:
		report.MarkEdited(c.Result)
		return nil
	}
	return fmt.Errorf("%w: %s; measure again, or take it as it is with --edited, which every page then says", report.ErrChanged, strings.Join(names, ", "))
}

// readCase reads a result with what is kept beside it.
func readCase(path string, extra extraFlags, edited bool) (c fullCase, err error) {
	f, err := os.Open(path)
	if err != nil {
		return c, usagef("the result cannot be read: %v; give the result.json of ridgerule measure", reason(err))
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return c, usagef("the result is a folder; give the result.json in it")
	}
	c.Result, c.Provenance, err = report.ReadJSON(f)
	if err != nil && !errors.Is(err, report.ErrChanged) {
		return c, err
	}
	var beside fs.FS = os.DirFS(filepath.Dir(path))
	if err := asWritten(c, beside, err != nil, edited); err != nil {
		return c, err
	}
	if err := report.ReadReview(beside, c.Result, c.Provenance.Content); err != nil {
		return c, err
	}
	if c.Sections, c.Panoramic, err = report.ReadPictures(beside, c.Result); err != nil {
		return c, err
	}
	if extra.stl {
		if c.bone, err = surfacesIn(beside, c.Result); err != nil {
			return c, err
		}
	}
	if extra.identity || extra.key.key != nil {
		if c.source, err = identityIn(beside, c.Result.Scan.SeriesHash); err != nil {
			return c, err
		}
	}
	if extra.key.key != nil {
		c.Provenance.Source.Pseudonym, err = extra.key.pseudonym(*c.source.Identity)
	}
	return c, err
}
