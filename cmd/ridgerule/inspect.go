package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"github.com/spf13/cobra"

	"ridgerule/dicomio"
)

func (a *app) inspect() *cobra.Command {
	var selector string
	var identity bool
	var out outFlags
	c := &cobra.Command{
		Use:   "inspect PATH",
		Short: "List the series found, their geometry and whether they are fit to measure",
		Long: `List every series behind PATH: its geometry, its encoding, and whether it is fit to measure, with every
caution and every reason. Exit status 3 when none of them (or the one --series picks) is fit.
Nothing that identifies a patient is printed unless --show-identity asks for it.

With --pictures the series (of several, the one --series picks) is drawn in axial pictures every 2 mm, with a grid
and patient coordinates in mm, from which the points of a plan can be read: axial-ZZZ.Zmm.png, Z the height.

` + pathHelp,
		Args: oneArg("PATH"),
	}
	c.Flags().StringVar(&selector, "series", "", "only this series: its number or `UID`")
	c.Flags().BoolVar(&identity, "show-identity", false, "print the patient's name and other identity too")
	c.Flags().StringVar(&out.dir, "pictures", "", "draw axial pictures into the folder `DIR`; it must not exist or be empty")
	c.Flags().BoolVar(&out.replace, "replace", false, "let --pictures replace a folder that holds something")
	c.RunE = func(c *cobra.Command, args []string) error {
		found, err := a.catalogue(c.Context(), args[0], selector)
		if err != nil {
			return err
		}
		var drawn []string
		if out.dir != "" && anyFit(found.Series) == nil {
			if drawn, err = a.drawAxials(c.Context(), args[0], selector, out); err != nil {
				return err
			}
		}
		return errors.Join(a.printFound(found, identity, drawn, out.dir), anyFit(found.Series))
	}
	return c
}

// printFound prints what was found, and the pictures drawn into dir.
func (a *app) printFound(found *dicomio.Catalogue, identity bool, drawn []string, dir string) error {
	list := make([]seriesView, len(found.Series))
	for i, s := range found.Series {
		list[i] = viewOf(s, identity)
	}
	passed := passedOf(found.Passed, identity)
	if a.json {
		answer := map[string]any{"series": list, "passed_over": passed}
		if drawn != nil {
			answer["pictures"] = map[string]any{"folder": dir, "files": drawn}
		}
		return a.printJSON(answer)
	}
	a.printSeries(list, passed)
	if drawn != nil {
		fmt.Fprintf(a.stdout, "pictures: %d in %s\n", len(drawn), dir)
	}
	return nil
}

// catalogue lists what is behind path, cut down to the series that selector names.
func (a *app) catalogue(ctx context.Context, path, selector string) (found *dicomio.Catalogue, err error) {
	input, err := dicomio.Open(path, a.limits)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, input.Close()) }()
	found, err = dicomio.Scan(ctx, input, a.limits)
	if err != nil || selector == "" {
		return found, err
	}
	s, err := found.Pick(selector)
	if err != nil {
		return nil, err
	}
	found.Series = []*dicomio.Series{s}
	return found, nil
}

// anyFit returns an error for exit status 3 when no series may be measured. The reasons are in the
// listing.
func anyFit(all []*dicomio.Series) error {
	if slices.ContainsFunc(all, func(s *dicomio.Series) bool { return s.Err() == nil }) {
		return nil
	}
	if len(all) == 1 {
		return all[0].Err()
	}
	return errSaid{fmt.Errorf("%w: none of %d series is fit", dicomio.ErrSeries, len(all))}
}

// seriesView is a series as inspect shows it.
type seriesView struct {
	Number      int               `json:"number"`
	Verdict     string            `json:"verdict"`
	Modality    string            `json:"modality"`
	Kind        string            `json:"kind"`
	Encoding    string            `json:"encoding"`
	Files       int               `json:"files"`
	Size        [3]*int           `json:"size_voxels"` // null: not known
	Spacing     [3]*float64       `json:"spacing_mm"`  // null: not known
	Origin      *[3]float64       `json:"origin_mm"`   // patient position of the first voxel's centre; null: not known
	Extent      *[2][3]float64    `json:"extent_mm"`   // least and greatest x, y, z of voxel centres; null: not known
	Orientation string            `json:"orientation"`
	Cautions    []reasonView      `json:"cautions"`
	Problems    []reasonView      `json:"problems"`
	Identity    *dicomio.Identity `json:"identity,omitempty"`
	UID         string            `json:"series_uid,omitempty"`

	dimensions, place string
}

type reasonView struct {
	Code string `json:"code"`
	Text string `json:"text"`
	File string `json:"file,omitempty"` // a file's name may be a patient's
}

func viewOf(s *dicomio.Series, identity bool) seriesView {
	v := seriesView{
		Number: s.Number, Verdict: s.Verdict().String(), Modality: s.Facts.Modality, Kind: s.Facts.SOPClass,
		Encoding: s.Facts.Encoding, Files: s.Facts.Files, Orientation: s.Facts.Orientation, dimensions: s.Dimensions(),
		Cautions: []reasonView{}, Problems: []reasonView{},
	}
	if s.Grid.Check() == nil {
		b := s.Grid.Bounds()
		v.Origin, v.Extent = &[3]float64{s.Grid.Origin.X, s.Grid.Origin.Y, s.Grid.Origin.Z}, &[2][3]float64{{b.Min.X, b.Min.Y, b.Min.Z}, {b.Max.X, b.Max.Y, b.Max.Z}}
		v.place = fmt.Sprintf("%s; first voxel at [%.1f, %.1f, %.1f]", s.Grid.Extent(), v.Origin[0], v.Origin[1], v.Origin[2])
	}
	for axis, mm := range s.Spacing() {
		if n := s.Grid.Size[axis]; n > 0 {
			v.Size[axis] = &n
		}
		if !math.IsNaN(mm) {
			v.Spacing[axis] = &mm
		}
	}
	for _, c := range s.Cautions {
		v.Cautions = append(v.Cautions, reasonView{Code: c.Code, Text: c.Text})
	}
	for _, p := range s.Problems {
		r := reasonView{Code: p.Code, Text: plain(p)}
		if identity {
			r.File = p.File
		}
		v.Problems = append(v.Problems, r)
	}
	if identity {
		v.Identity, v.UID = &s.Identity, s.UID
	}
	return v
}

type passedView struct {
	Reason string `json:"reason"`
	Count  int    `json:"count"`
	First  string `json:"first,omitempty"` // a file's name may be a patient's
}

func passedOf(all []dicomio.Passed, identity bool) []passedView {
	out := []passedView{}
	for _, p := range all {
		v := passedView{Reason: p.Reason, Count: p.Count}
		if identity {
			v.First = p.First
		}
		out = append(out, v)
	}
	return out
}

func (a *app) printSeries(all []seriesView, passed []passedView) {
	for _, s := range all {
		fmt.Fprintf(a.stdout, "series %d: %s\n", s.Number, s.Verdict)
		fmt.Fprintf(a.stdout, "  %s, %s, %d files\n", s.Kind, s.Encoding, s.Files)
		fmt.Fprintf(a.stdout, "  %s\n", s.dimensions)
		if s.place != "" {
			fmt.Fprintf(a.stdout, "  %s\n", s.place)
		}
		if s.Orientation != "" {
			fmt.Fprintf(a.stdout, "  %s\n", s.Orientation)
		}
		if s.Identity != nil {
			fmt.Fprintf(a.stdout, "  patient %q, id %q, born %q, %q, study %q of %q, series %q, UID %s\n",
				s.Identity.PatientName, s.Identity.PatientID, s.Identity.PatientBirthDate, s.Identity.PatientSex,
				s.Identity.StudyDescription, s.Identity.StudyDate, s.Identity.SeriesDescription, s.UID)
		}
		for _, c := range s.Cautions {
			fmt.Fprintf(a.stdout, "  caution: %s\n", c.Text)
		}
		for _, p := range s.Problems {
			fmt.Fprintf(a.stdout, "  unfit: %s\n", p.Text)
			if p.File != "" {
				fmt.Fprintf(a.stdout, "    file %q\n", p.File)
			}
		}
	}
	for _, p := range passed {
		fmt.Fprintf(a.stdout, "passed over: %d files, %s\n", p.Count, p.Reason)
	}
}
