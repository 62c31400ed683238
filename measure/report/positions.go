package report

import (
	"cmp"
	"fmt"
	"html/template"
	"io"
	"slices"
	"sync"

	_ "embed"

	"ridgerule/measure/align"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

//go:embed positions.tmpl
var positionsText string

var positionsPage = sync.OnceValue(func() *template.Template {
	return template.Must(template.Must(template.New("positions").Parse(practiceText)).Parse(positionsText))
})

// PositionsWords is what stands with every comparison of positions.
const PositionsWords = "Information, no judgement: there is no accepted threshold; check with the one-screw test, a radiograph, a verification jig."

// gapView is an implant's line of a table.
type gapView struct{ Name, Note, Distance, Height, Lateral, Mesial, Buccal, Angle, Rest string }

type fitView struct {
	Title, How, Caption, Reason, After string
	Gaps                               []gapView
}

type pairView struct{ Name, First, Second, Change, Angle string }

type limitView struct{ Name, What, Fit, Value, Limit, Verdict string }

type positionsView struct {
	practicePage
	Heading, Answer, First, Second, DropWords, DrawingWords, Closing string
	Cautions, Hide, Literature, LimitSources                         []string
	Drawing                                                          template.HTML
	Fits                                                             []fitView
	Drops                                                            []gapView
	Pairs                                                            []pairView
	Limits                                                           []limitView
	Facts, Repeats                                                   []fact
}

// PositionsPage writes two sets of positions held against each other as one self-contained page.
func PositionsPage(w io.Writer, c *align.Comparison) error {
	head, err := newPracticePage("Implant positions")
	if err != nil {
		return err
	}
	p := positionsView{practicePage: head, Heading: fmt.Sprintf("%d implants, two sets", len(c.Names)), Cautions: c.Cautions,
		First: setWords(c.First, "First set"), Second: setWords(c.Second, "Second set"), Literature: positionsLiterature, Hide: hideWords(c),
		Answer: PositionsWords, DropWords: dropWords(c), Facts: positionFacts(c), Closing: shortCaution + " What each number means: docs/positions.md."}
	for i := range c.Fits {
		f := &c.Fits[i]
		if f.Left < 0 {
			p.Fits = append(p.Fits, viewOfFit(c, f))
			continue
		}
		p.Drops = append(p.Drops, viewOfDrop(c, f))
	}
	for _, x := range c.Pairs {
		p.Pairs = append(p.Pairs, pairView{x.A + " – " + x.B, lengthWords(x.First), lengthWords(x.Second), signedLength(x.Change), withSpread(x.Lean.Value, x.Lean.Budget, "°", true)})
	}
	p.limits(c)
	if r := c.Repeats; r != nil {
		p.Repeats = append(p.Repeats, fact{"Spread of one coordinate (SD)", fmt.Sprintf("%.3f mm, of %d recordings, %d degrees of freedom; what all have wrong alike is not in it", r.SD, r.Recordings, r.Freedom)})
		for _, x := range c.Second.Positions {
			p.Repeats = append(p.Repeats, fact{x.Name, fmt.Sprintf("%.3f mm from its mean place, root mean square", r.Implants[x.Name])})
		}
	}
	if d := gapSheet(c); d != nil {
		text, err := d.SVG()
		if err != nil {
			return err
		}
		p.Drawing, p.DrawingWords = template.HTML(text), gapSheetWords
	}
	return positionsPage().ExecuteTemplate(w, "positions", p)
}

func setWords(s align.Set, name string) string {
	if s.Planned {
		return name + " (planned)"
	}
	return name + " (recorded)"
}

func viewOfFit(c *align.Comparison, f *align.PositionFit) fitView {
	v := fitView{Title: "Best fit", How: "The first set brought onto the second so that the squared distances of all platforms are least. One implant that is off is spread over all.", Reason: f.Reason,
		Caption: "Second set less first, in the second's frame; ± is U, k = 2."}
	if f.Name == align.FitOneEnd {
		v.Title = "One end, as one screw does it"
		if f.Reason == "" {
			v.How = fmt.Sprintf("Platform and axis of %s brought together, the turn about that axis by the direction to %s: the gaps that one screw at %s would leave. The axis of %s decides the far end: an error of 0.5° is 0.4 mm at 50 mm.", c.Names[f.End], c.Names[f.Next], c.Names[f.End], c.Names[f.End])
		}
	}
	for i := range f.Gaps {
		g := viewOfGap(&f.Gaps[i])
		switch i {
		case f.End:
			g.Note = "brought together"
		case f.Next:
			g.Note = "fixes the turn"
		}
		v.Gaps = append(v.Gaps, g)
	}
	switch {
	case f.Reason != "":
	case f.Name == align.FitBest:
		v.After = fmt.Sprintf("Root mean square %.3f mm: it is not the error of the fit, nor of the positions. Lengths of the second set are %.4f of the first's (a check; nothing was scaled).", f.RMS, f.ScaleFound)
	default:
		v.After = fmt.Sprintf("Root mean square of the others %.3f mm.", f.RMS)
	}
	return v
}

func viewOfDrop(c *align.Comparison, f *align.PositionFit) gapView {
	if f.Reason != "" {
		return gapView{Name: c.Names[f.Left], Note: "no fit without it: " + f.Reason}
	}
	g := viewOfGap(&f.Gaps[f.Left])
	g.Rest = fmt.Sprintf("%.3f mm", f.RMS)
	return g
}

func viewOfGap(g *align.Gap) gapView {
	v := gapView{Name: g.Implant, Distance: lengthWords(g.Distance()), Height: signedLength(g.Height()), Lateral: lengthWords(g.Lateral()), Angle: angleWords(g.Angle())}
	if d := g.Directions; d != nil {
		v.Mesial, v.Buccal = signedLength(g.Part(d.Mesial)), signedLength(g.Part(d.Buccal))
	}
	return v
}

func lengthWords(l uncertainty.Length) string { return withSpread(l.Value, l.Budget, " mm", false) }
func signedLength(l uncertainty.Length) string {
	return withSpread(l.Value, l.Budget, " mm", true)
}
func angleWords(a uncertainty.Angle) string { return withSpread(a.Value, a.Budget, "°", false) }

// withSpread writes a number with three decimals, and its U where that is known.
func withSpread(x float64, b uncertainty.Budget, unit string, sign bool) string {
	n := 3
	if unit == "°" {
		n = 2
	}
	text := rounded(x, n)
	if sign {
		text = signed(x, n)
	}
	if b == nil || b.U() < 1e-9 { // not known, or exact by definition: the caution and the notes say which
		return text + unit
	}
	return text + " ± " + roundUp(b.U(), n) + unit
}

// dropWords say which implant, left out, leaves least, what the next leaves, and how often the first is the one that is off.
func dropWords(c *align.Comparison) string {
	var all []*align.PositionFit
	for i := range c.Fits {
		if f := &c.Fits[i]; f.Left >= 0 && f.Reason == "" {
			all = append(all, f)
		}
	}
	switch {
	case len(c.Names) < 4:
		return fmt.Sprintf("Of %d implants none can be left out: which of them is off cannot be told.", len(c.Names))
	case len(all) < len(c.Names):
		return "Not every implant can be left out: the others then stand nearly on one line."
	}
	slices.SortStableFunc(all, func(a, b *align.PositionFit) int { return cmp.Compare(a.RMS, b.RMS) })
	return fmt.Sprintf("Least is left without %s (%.3f mm), next least without %s (%.3f mm); where the two are close, neither is named. Simulated, one implant off by 0.15 mm "+
		"and the others by 0.02 mm a coordinate, the least is left without that one in 89 of 100 draws (4 implants) to 98 of 100 (6).", c.Names[all[0].Left], all[0].RMS, c.Names[all[1].Left], all[1].RMS)
}

// hideWords say what residuals do not show.
func hideWords(c *align.Comparison) []string {
	n := len(c.Names)
	var out []string
	if n >= 3 {
		out = append(out, fmt.Sprintf("A best fit of %d implants shows %.0f %% of the true error of the positions on average (√(1 − 2/n): 58 %% of three, 82 %% of six); the fewer implants, the less.", n, 100*align.Hidden(n)))
	}
	return append(out,
		"It spreads one implant that is off over all: of four implants with one off by 0.150 mm, that one reads 0.083 mm, of six 0.105 mm.",
		"Its size says nothing about the error elsewhere in this case: residuals and errors at other places do not correlate.",
		"A screw feels heights and angles more than lateral parts; best fit, one end and pairs are different questions.")
}

// positionsLiterature are published values, for comparison.
var positionsLiterature = []string{
	"Frameworks in use, no harm seen: 0.111 ± 0.059 mm of misfit of the centre points after 1 year, 0.091 ± 0.051 mm after 5, up to 0.275 mm, none passive; 2 × 7 patients (Jemt & Book, Int J Oral Maxillofac Implants 1996;11:620–625; abstract read).",
	"Review of thresholds, 13 studies: up to 1 mm vertical and 0.345 mm horizontal without harm, data inadequate for a threshold (J Prosthet Dent 2022, doi 10.1016/j.prosdent.2022.09.010; abstract read).",
	"How well positions are recorded, full arch, in vitro: extra-oral photogrammetry 0.037 mm RMS and 0.16°, intra-oral photogrammetry 0.057 mm and 0.40°, intra-oral scans 0.099 mm and 0.78°, more with more implants (university study; abstract read).",
	"Measured in CBCT: 0.1 to 0.5 mm. Never fit data.",
}

func positionFacts(c *align.Comparison) []fact {
	var out []fact
	for _, s := range []struct {
		name string
		set  align.Set
	}{{"First set", c.First}, {"Second set", c.Second}} {
		text := "recorded"
		if s.set.Planned {
			text = "planned, exact by definition"
		}
		if s.set.Source != "" {
			text += ": " + s.set.Source
		} else if !s.set.Planned {
			text += "; how is not stated"
		}
		text += "; " + s.set.Frame
		if s.set.SHA256 != "" {
			text += "; SHA-256 " + s.set.SHA256
		}
		out = append(out, fact{s.name, text})
	}
	return append(out, fact{"export/", "both sets in the second set's frame, planned positions brought there by the fit: CSV, STL, and frames.json that names the frames"})
}

// limits fills in what is held against the laboratory's limits.
func (p *positionsView) limits(c *align.Comparison) {
	for _, r := range c.Rows() {
		if r.Limit == nil {
			continue
		}
		unit := " mm"
		if r.Unit() == "deg" {
			unit = "°"
		}
		fit := map[string]string{align.FitBest: "best", align.FitOneEnd: "one end", "": "none"}[r.Fit]
		p.Limits = append(p.Limits, limitView{r.Implant, quantity.InWords(r.Measure), fit, withSpread(*r.Value, r.Budget, unit, false), plain(*r.Limit) + unit, r.Verdict})
	}
	for _, l := range c.Limits {
		p.LimitSources = append(p.LimitSources, fmt.Sprintf("Limit of %s: %s. It is the laboratory's own, not this program's.", quantity.InWords(l.Of), l.Source))
	}
}
