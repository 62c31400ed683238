package desk

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"strings"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
	"ridgerule/measure/safety"
)

// What is measured, as the page shows it: the cells of measurements.csv, and lines to draw over the sections.

// numbers are those of one state of the plan.
type numbers struct {
	Tag      string        `json:"tag"`
	Why      string        `json:"why,omitempty"` // there are none
	Summary  string        `json:"summary"`
	Columns  []string      `json:"columns"`
	Sites    []siteNumbers `json:"sites"`
	Arch     [][]string    `json:"arch"` // rows of several sites
	Cautions []string      `json:"cautions"`

	result *measure.Result
}

// siteNumbers are a site's rows and lines; points are in the patient, mm.
type siteNumbers struct {
	ID      string     `json:"id"`
	Name    string     `json:"name"`
	Verdict string     `json:"verdict"`
	Err     string     `json:"error,omitempty"`
	Note    string     `json:"note,omitempty"`
	Rows    [][]string `json:"rows"`
	Outline []point    `json:"outline"`
	Axis    []point    `json:"axis"`   // crest, and where the height ends
	Chords  [][2]point `json:"chords"` // buccal, lingual outer edges
	Implant *bodyView  `json:"implant,omitempty"`
	Sizes   []sizeView `json:"sizes,omitempty"` // those that the plan asks for, tried
}

// sizeView is a size that was tried, in the best pose that was found for it.
type sizeView struct {
	bodyView
	Verdict string `json:"verdict"`
	Limit   string `json:"limit"` // what limits it, or why it is not assessed
}

// bodyView is a virtual implant as it was held against the margins.
type bodyView struct {
	Platform point   `json:"platform"`
	Apex     point   `json:"apex"`
	Axis     point   `json:"axis"`
	Diameter float64 `json:"diameter_mm"`
	End      float64 `json:"apex_diameter_mm"`
	Length   float64 `json:"length_mm"`
}

// measured keeps the last numbers, and what the series told along the arch. It may be used by several goroutines; one
// of them measures at a time.
type measured struct {
	mu    sync.Mutex
	last  *numbers
	cache measure.Cache
}

// numbers measures a state of the plan, or says why not.
func (s *session) numbers(ctx context.Context, d *draft) (*numbers, error) {
	m := &s.measured
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.last != nil && m.last.Tag == d.tag {
		return m.last, nil
	}
	if err := ctx.Err(); err != nil { // the hand moved on while another state was measured
		return nil, err
	}
	if d.placed == nil {
		return &numbers{Tag: d.tag, Why: d.why()}, nil
	}
	r, err := measure.Run(ctx, s.scan.Volume, d.placed, s.scan.Facts, measure.Options{Cache: &m.cache})
	if err != nil {
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		return &numbers{Tag: d.tag, Why: said(err)}, nil
	}
	r.Synthetic = s.scan.Synthetic
	n, err := numbersOf(r)
	if err != nil {
		return nil, err
	}
	n.Tag, m.last = d.tag, n
	return n, nil
}

// why says what a plan lacks before anything of it is measured.
func (d *draft) why() string {
	if len(d.faults) == 0 {
		return d.noArch
	}
	f := d.faults[0]
	return strings.TrimPrefix(f.Where+": "+f.What, ": ")
}

func numbersOf(r *measure.Result) (*numbers, error) {
	var table bytes.Buffer
	if err := report.MeasurementsCSV(&table, r); err != nil {
		return nil, err
	}
	rows, err := csv.NewReader(&table).ReadAll()
	if err != nil {
		return nil, err
	}
	n := &numbers{Columns: rows[0], result: r, Sites: []siteNumbers{}, Cautions: []string{}}
	rest := rows[1:] // site by site, those of several sites after them
	for i := range r.Sites {
		one, own := linesOf(&r.Sites[i]), len(r.Sites[i].Rows)
		if own == 0 && one.Err != "" {
			own = 1
		}
		one.Rows, rest = rest[:own], rest[own:]
		n.Sites = append(n.Sites, one)
	}
	n.Arch = rest
	for _, c := range r.Cautions {
		if c.Severity != measure.SeverityNote {
			n.Cautions = append(n.Cautions, c.Line())
		}
	}
	n.Summary = summary(r)
	return n, nil
}

func linesOf(s *measure.SiteResult) siteNumbers {
	n := siteNumbers{ID: s.ID, Name: s.Name, Verdict: string(s.Verdict), Err: s.Err, Note: s.Note, Rows: [][]string{}}
	patient := func(p reformat.UV) point { return pointOf(s.Frame.Patient(p)) }
	for _, p := range s.Outline {
		n.Outline = append(n.Outline, patient(p))
	}
	for _, c := range s.Chords {
		n.Chords = append(n.Chords, [2]point{patient(c.Buccal), patient(c.Lingual)})
	}
	if len(s.Outline) > 0 && !math.IsNaN(s.HeightEnd.U+s.HeightEnd.V) {
		n.Axis = []point{patient(s.Crest), patient(s.HeightEnd)}
	}
	if im := s.Implant; im != nil {
		n.Implant = bodyOf(*im)
	}
	for _, size := range s.SizesTried {
		limit := size.Limit
		if size.Reason != "" {
			limit = size.Reason
		}
		n.Sizes = append(n.Sizes, sizeView{*bodyOf(size.Implant), string(size.Verdict), limit})
	}
	return n
}

func bodyOf(im safety.Implant) *bodyView {
	b := &bodyView{pointOf(im.Platform), pointOf(im.Apex()), pointOf(im.Axis), im.Diameter, im.ApexDiameter, im.Length}
	if b.End == 0 {
		b.End = b.Diameter
	}
	return b
}

// summary says how a case stands in one sentence: what is measured, and what keeps nobody from looking closer.
func summary(r *measure.Result) string {
	done, counts := 0, map[safety.Verdict]int{}
	for _, s := range r.Sites {
		if s.Err == "" {
			done++
		}
		for _, row := range s.Rows {
			counts[row.Verdict]++
		}
	}
	for _, row := range r.Arch.Rows {
		counts[row.Verdict]++
	}
	text := fmt.Sprintf("%d of %d sites measured", done, len(r.Sites))
	for _, v := range []safety.Verdict{safety.NotHeld, safety.NotAssessed, safety.Uncertain} {
		if n := counts[v]; n > 0 {
			text += fmt.Sprintf(", %d %s %s", n, plural(n, "margin"), v)
		}
	}
	return text
}

func plural(n int, word string) string {
	if n == 1 {
		return word
	}
	return word + "s"
}

// distances returns the cells of the distances of one implant from the plan's structures, exact and at once: what the page
// shows while a hand moves. There is no verdict yet: what the image shows may speak against one.
func distances(d *draft, site plan.Site, im safety.Implant) ([][]string, error) {
	rules, err := safety.Margins().With(d.placed.Margins, d.placed.MarginsSource)
	if err != nil {
		return nil, err
	}
	found, err := safety.Check(im, d.placed.Structures, rules, safety.Options{ScaleHalf: d.placed.ScaleHalfWidth})
	if err != nil {
		return nil, err
	}
	one := measure.SiteResult{ID: site.ID, Tooth: site.Tooth}
	for _, f := range found {
		row := measure.Row{Quantity: quantity.Clearance, To: f.To, Unit: quantity.Clearance.Unit(), Note: f.Reason}
		if !math.IsNaN(f.Distance.Value) {
			row.Value, row.Budget = &f.Distance.Value, f.Distance.Budget
		}
		one.Rows = append(one.Rows, row)
	}
	n, err := numbersOf(&measure.Result{Case: d.placed.Case, Sites: []measure.SiteResult{one}})
	if err != nil {
		return nil, err
	}
	return n.Sites[0].Rows, nil
}

// unit returns a direction of length 1; ok is false for none.
func unit(p point) (v r3.Vec, ok bool) {
	v = vecOf(p)
	n := r3.Norm(v)
	return r3.Scale(1/n, v), n > 1e-9 && !math.IsInf(n, 0) && !math.IsNaN(n)
}
