package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
	"ridgerule/measure/solid"
)

// fullCase is a case with what its optional outputs need.
type fullCase struct {
	report.Case
	source dicomio.Source            // as found, patient included
	bone   map[string]*solid.Surface // by site id; nil: not asked for
}

// measureCase takes one case from files to what outputs are made of: series, volume, result, pictures
// and, as extra asks, the surface of the bone around each site and the patient's pseudonym.
func (a *app) measureCase(ctx context.Context, path, selector string, p planFile, opt measure.Options, extra *extraFlags) (fullCase, error) {
	date, err := report.Date(a.getenv, a.now)
	if err != nil {
		return fullCase{}, usageError{err}
	}
	s, err := a.open(ctx, path, selector)
	if err != nil {
		return fullCase{}, err
	}
	defer s.input.Close()
	placed, err := p.place(s.Grid) // before the pixels: a wrong plan is said at once
	if err != nil {
		return fullCase{}, err
	}
	c := fullCase{source: s.Source()}
	if c.source.Pseudonym, err = extra.key.pseudonym(s.Identity); err != nil {
		return fullCase{}, err
	}
	v, err := a.volume(ctx, s)
	if err != nil {
		return fullCase{}, err
	}
	step, end := a.progress("measuring")
	defer end()
	opt.Progress = step
	result, err := measure.Run(ctx, v, placed, scanOf(s.Series, v), opt)
	if err != nil {
		return fullCase{}, err
	}
	result.Synthetic = s.Synthetic
	c.Result = result
	c.Provenance = report.Provenance{Tool: "ridgerule " + version, Date: date, Source: c.source.Deidentified()}
	if selector != "" {
		c.Provenance.Options = map[string]string{"series": "chosen by the user"} // a UID points to a patient
	}
	if extra.stl {
		c.bone = boneAround(v, result)
	}
	addPictures(&c.Case, v, placed.Curve)
	return c, nil
}

// How far the pictures reach beyond what they show, mm.
const (
	aroundBone   = 5.0
	besideTooth  = 10.0 // of a planned tooth, so far buccal and lingual of the arch
	withoutBone  = 15.0 // half the side of a section in which no bone was found
	sectionPixel = 0.1  // the picture's, finer than any scan: 0 would make small scans coarse
	slabHalf     = 5.0  // half the thickness of the panoramic
)

// addPictures resamples the sections and the panoramic that the report draws.
func addPictures(c *report.Case, v *volume.Volume, curve *reformat.Curve) {
	c.Sections = map[string]report.Picture{}
	low, high := reformat.UV{V: math.Inf(1)}, reformat.UV{V: math.Inf(-1)}
	for _, s := range c.Result.Sites {
		from, to := extent(s)
		low.V, high.V = min(low.V, from.V), max(high.V, to.V)
		p := reformat.Resample(v, s.Frame, from, to, pixel(v))
		c.Sections[s.ID] = report.PictureOf(p).AsKept()
	}
	p := reformat.Unroll(v, curve, low.V, high.V, slabHalf, math.Max(0.2, pixel(v)))
	kept := report.PictureOfPanorama(p).AsKept()
	c.Panoramic = &kept
}

// pixel returns the pixel size of sections of v, in mm: a scan's own detail, within bounds that
// keep a file small.
func pixel(v *volume.Volume) float64 {
	s := v.Spacing()
	return math.Max(sectionPixel, math.Min(0.4, min(s[0], s[1], s[2])))
}

// extent returns the corners of the part of a section worth showing: the bone, the implant, and a planned tooth.
func extent(s measure.SiteResult) (low, high reformat.UV) {
	if len(s.Outline) == 0 {
		return reformat.UV{U: -withoutBone, V: -withoutBone}, reformat.UV{U: withoutBone, V: withoutBone}
	}
	shown := append([]reformat.UV{s.Crest, s.HeightEnd}, s.Outline...)
	if im := s.Implant; im != nil {
		for _, t := range []float64{0, im.Length} {
			p, _ := s.Frame.Section(r3.Add(im.Platform, r3.Scale(t, im.Axis)))
			shown = append(shown, p)
		}
	}
	for _, line := range s.Restoration {
		for _, p := range line {
			if math.Abs(p.U) <= besideTooth {
				shown = append(shown, p)
			}
		}
	}
	shown = slices.DeleteFunc(shown, func(p reformat.UV) bool { return math.IsNaN(p.U + p.V) }) // a height without an end
	low, high = shown[0], shown[0]
	for _, p := range shown {
		low = reformat.UV{U: min(low.U, p.U), V: min(low.V, p.V)}
		high = reformat.UV{U: max(high.U, p.U), V: max(high.V, p.V)}
	}
	return reformat.UV{U: low.U - aroundBone, V: low.V - aroundBone}, reformat.UV{U: high.U + aroundBone, V: high.V + aroundBone}
}

// summary prints the sites of a result, one a line, or the same as JSON.
func (a *app) summary(r *measure.Result, folder string) error {
	if a.json {
		return a.printJSON(summaryOf(r, folder))
	}
	w := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "site\theight mm\tto\twidth at 3 mm\ttilt deg\tverdict")
	for _, s := range r.Sites {
		if s.Err != "" {
			fmt.Fprintf(w, "%s\tnot measured: %s\n", s.ID, s.Err)
			continue
		}
		height, _ := s.Lookup(quantity.RidgeHeight, math.NaN())
		width, _ := s.Lookup(quantity.RidgeWidth, 3)
		tilt, _ := s.Lookup(quantity.RidgeTilt, math.NaN())
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\n", s.ID, heightReading(height, s), dash(string(s.HeightTo)), reading(width), reading(tilt), dash(string(s.Verdict)))
	}
	return w.Flush()
}

// reading returns a row's value with its expanded uncertainty, rounded up so that it never reads as
// none, or a dash.
func reading(r measure.Row) string {
	if r.Value == nil {
		return "–"
	}
	return fmt.Sprintf("%.1f ± %.1f", *r.Value, math.Ceil(10*r.Budget.U())/10)
}

// heightReading is [reading] of a height; one whose limit was not marked has no U to lend it a meaning.
func heightReading(r measure.Row, s measure.SiteResult) string {
	if r.Value == nil || s.HeightOpen == "" {
		return reading(r)
	}
	return fmt.Sprintf("(%.1f: %s)", *r.Value, s.HeightOpen)
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

type siteSummary struct {
	Site    string   `json:"site"`
	Tooth   string   `json:"tooth"`
	Height  *float64 `json:"height_mm"`
	HeightU *float64 `json:"height_U_mm"`
	To      string   `json:"height_to,omitempty"`
	Verdict string   `json:"verdict,omitempty"`
	Err     string   `json:"not_measured,omitempty"`
}

type caseSummary struct {
	Case     string            `json:"case"`
	Folder   string            `json:"folder"`
	Sites    []siteSummary     `json:"sites"`
	Cautions []measure.Caution `json:"cautions"`
}

func summaryOf(r *measure.Result, folder string) caseSummary {
	c := caseSummary{Case: r.Case, Folder: folder, Cautions: append([]measure.Caution{}, r.Cautions...)}
	for _, s := range r.Sites {
		one := siteSummary{Site: s.ID, Tooth: s.Tooth, To: string(s.HeightTo), Verdict: string(s.Verdict), Err: s.Err}
		if h, ok := s.Lookup(quantity.RidgeHeight, math.NaN()); ok && h.Value != nil {
			u := h.Budget.U()
			one.Height, one.HeightU = h.Value, &u
		}
		c.Sites = append(c.Sites, one)
	}
	return c
}

// printJSON prints v on stdout.
func (a *app) printJSON(v any) error { return encode(a.stdout, v) }

func encode(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}
