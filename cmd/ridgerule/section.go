package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"ridgerule/measure/plan"
	"ridgerule/measure/report"
)

func (a *app) section() *cobra.Command {
	var flags caseFlags
	var only []string
	c := &cobra.Command{
		Use:   "section PATH --plan PLAN -o DIR",
		Short: "Draw the sections at the sites and the panoramic view",
		Long: `Draw the cross-section at each site of a plan, with its outline, axis and widths, and the panoramic
view along the arch, as PNG pictures in the folder DIR: sections/SITE.png and panoramic.png. What
was drawn goes to stdout, a file a line.

` + pathHelp,
		Args: oneArg("PATH"),
	}
	flags.add(c.Flags())
	c.Flags().StringSliceVar(&only, "site", nil, "draw only the site `ID` (may be repeated), and no panoramic")
	c.RunE = func(c *cobra.Command, args []string) error {
		p, err := openPlan(flags.plan)
		if err != nil {
			return err
		}
		for _, id := range only {
			if !slices.ContainsFunc(p.Sites, func(s plan.Site) bool { return s.ID == id }) {
				return usagef("--site %q is no site of %s", id, p.Path)
			}
		}
		result, f, err := flags.result(c, a, args[0], p, &extraFlags{})
		if err != nil {
			return err
		}
		defer f.abandon()
		names, err := writePictures(f, result.Case, only)
		if err != nil {
			return err
		}
		if err := a.settle(f, flags.dir); err != nil {
			return err
		}
		return a.list(flags.dir, names)
	}
	return c
}

// writePictures writes the drawings of the case, or of some of its sites, and returns their names.
func writePictures(f *folder, c report.Case, only []string) ([]string, error) {
	v, err := report.NewView(c)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, d := range v.Drawings() {
		id, isSection := strings.CutPrefix(d.Name, "sections/")
		if !isSection && d.Name != "panoramic" || len(only) > 0 && !(isSection && slices.Contains(only, id)) {
			continue
		}
		names = append(names, d.Name+".png")
		if err := f.write(d.Name+".png", d.PNG); err != nil {
			return nil, err
		}
	}
	return names, nil
}

// give returns what writes data.
func give(data []byte) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := w.Write(data)
		return err
	}
}

// list prints the files of a folder, one a line, or as JSON.
func (a *app) list(dir string, names []string) error {
	paths := make([]string, len(names))
	for i, n := range names {
		paths[i] = filepath.Join(dir, n)
	}
	if a.json {
		return a.printJSON(map[string]any{"folder": dir, "files": names})
	}
	_, err := fmt.Fprintln(a.stdout, strings.Join(paths, "\n"))
	return err
}
