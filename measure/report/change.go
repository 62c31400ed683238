package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"math"
	"strings"
	"sync"

	_ "embed"

	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/change"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

//go:embed change.tmpl
var changeText string

var changePages = sync.OnceValue(func() *template.Template {
	return template.Must(template.Must(template.New("change").Parse(practiceText)).Parse(changeText))
})

// ChangeCase is a comparison with what its page needs: the same sections of both scans, by site.
type ChangeCase struct {
	Result        *change.Result
	Before, After map[string]Picture // in the section's frame of the first scan; the second's are carried over
	Tool, Date    string
}

type changeRow struct{ Name, Before, After, Change, Shown, Note string }

type changeSite struct {
	Name, Err, Note, NotPlaced string
	Before, After, Figure      template.HTML
	Rows                       []changeRow
	Levels                     bool // some rows are of bone at an implant
	Placed                     []fact
}

type changeView struct {
	practicePage
	Heading, Mark, Answer, Closing string
	Cautions                       []string
	Sites                          []changeSite
	Facts                          []fact
}

// ChangePage writes the comparison as one self-contained page: at each site both sections in one range of greys, and the changes
// with their U.
func ChangePage(w io.Writer, c ChangeCase) error {
	head, err := newPracticePage("Change between two scans", alignmentStyle)
	if err != nil {
		return err
	}
	v := changeView{practicePage: head, Heading: fmt.Sprintf("%d sites, before and after", len(c.Result.Sites)), Mark: markOf(c.Result.Before), Answer: changeAnswer(c.Result), Cautions: c.Result.Cautions,
		Closing: shortCaution + " A second scan is never justified by the wish to grade what was placed. What the numbers mean: docs/alignment.md."}
	for i := range c.Result.Sites {
		site, err := c.site(i)
		if err != nil {
			return err
		}
		v.Sites = append(v.Sites, site)
	}
	f := c.Result.Alignment
	v.Facts = append(subjectFacts("Before", f.First), subjectFacts("After", f.Second)...)
	v.Facts = append(v.Facts, fact{"Alignment", acceptance(f, "its page")}, fact{"Made by", c.Tool + " on " + c.Date})
	return changePages().ExecuteTemplate(w, "change", v)
}

// changeAnswer counts what is shown.
func changeAnswer(r *change.Result) string {
	n := map[change.Shown]int{}
	for _, s := range r.Sites {
		for _, row := range s.Rows {
			n[row.Shown]++
		}
	}
	end := ""
	if k := n[change.NotAssessed]; k > 0 {
		end = fmt.Sprintf(" %d more at implants are not assessed: their lines say why.", k)
	}
	if r.Alignment.Accepted == nil {
		return fmt.Sprintf("%d changes measured, all at best uncertain: the alignment was accepted by nobody.", n[change.Unsure]) + end
	}
	return fmt.Sprintf("A change is shown in %d of %d numbers; %d are uncertain. Where none is shown, none larger than its U is likely; it is not proof that none took place.",
		n[change.Change], n[change.Change]+n[change.NoChange]+n[change.Unsure], n[change.Unsure]) + end
}

// site puts the i-th site into words and pictures.
func (c ChangeCase) site(i int) (changeSite, error) {
	s := c.Result.Sites[i]
	before, after := &c.Result.Before.Sites[i], &c.Result.After.Sites[i]
	out := changeSite{Name: s.ID, Err: s.Err}
	if before.Name != "" {
		out.Name = before.Name
	}
	for _, r := range s.Rows {
		out.Rows = append(out.Rows, rowOfChange(r))
		out.Levels = out.Levels || strings.HasPrefix(string(r.Quantity), "bone_level_")
	}
	if s.Placed != nil {
		out.Placed = deviationFacts(s.Placed)
		out.Note = placedNotes(s.Placed)
		text, err := deviationSheet(s.ID, s.Placed).SVG()
		if err != nil {
			return out, err
		}
		out.Figure = template.HTML(text)
	}
	out.NotPlaced = s.NotPlaced
	one, two := c.Before[s.ID], c.After[s.ID]
	if one.Width == 0 || two.Width == 0 {
		return out, nil
	}
	w := windowOf([]Picture{one, two})
	for _, x := range []struct {
		to   *template.HTML
		p    Picture
		s    *measure.SiteResult
		what string
	}{{&out.Before, one, before, "before"}, {&out.After, two, after, "after"}} {
		text, err := changeSection(x.s, x.p, w, x.what).SVG()
		if err != nil {
			return out, err
		}
		*x.to = template.HTML(text)
	}
	return out, nil
}

// changeSection draws a section with the outline of its bone, to scale.
func changeSection(s *measure.SiteResult, p Picture, w window, what string) *sheet {
	const room = 82.0 // mm of paper
	width, height := float64(p.Width)*p.Step, float64(p.Height)*p.Step
	scale := paperScale(width, height, room, 1.6*room)
	flip := s.Frame.V.Z < 0
	d := &sheet{Title: "Section at " + s.ID + " " + what, About: "Grey values with the outline of the bone.", Scale: scale, Width: width * scale, Height: height*scale + 5}
	d.grey(picture{Width: d.Width, Height: height * scale, Image: w.grey(p, flip)})
	spotOf := func(q reformat.UV) spot {
		y := p.First.V + p.Step/2 - q.V
		if flip {
			y = height - y
		}
		return spot{(q.U - p.First.U + p.Step/2) * scale, y * scale}
	}
	var line []spot
	for _, q := range s.Outline {
		if !math.IsNaN(q.U + q.V) {
			line = append(line, spotOf(q))
		}
	}
	for _, piece := range clip(closed(line), spot{}, spot{d.Width, height * scale}) {
		d.onPicture(piece, false, 0.25)
	}
	if s.Err == "" {
		d.line(stroke{Points: disc(spotOf(s.Crest), 0.7), Closed: true, Width: 0.3, Ink: paper, Casing: 0.2})
	}
	d.write(label{At: spot{0, d.Height - 1}, Text: what + ", " + plain(scale) + " : 1, buccal right", Size: small, Ink: soft})
	return d
}

func closed(points []spot) []spot {
	if len(points) == 0 {
		return nil
	}
	return append(append([]spot{}, points...), points[0])
}

func rowOfChange(r change.Row) changeRow {
	out := changeRow{Name: changeName(r), Before: number2(r.Before), After: number2(r.After), Shown: string(r.Shown), Note: r.Note}
	if r.Quantity == change.CrestLevel {
		out.Before, out.After = "", ""
	}
	if r.Shown.Number() {
		out.Change = signed(r.Change.Value, 2) + " ± " + roundUp(r.Change.U(), 2) + " mm"
	}
	return out
}

func number2(v *float64) string {
	if v == nil {
		return "–"
	}
	return rounded(*v, 2)
}

// changeName names a row in words.
func changeName(r change.Row) string {
	if r.Quantity == change.CrestLevel {
		return "Crest, + lower than before"
	}
	if side, ok := strings.CutPrefix(string(r.Quantity), "bone_level_"); ok {
		return "Bone at the implant, " + side + ", below its platform"
	}
	name := quantity.InWords(r.Quantity)
	if r.Quantity == quantity.RidgeHeight && r.To != "" {
		name += " to " + r.To
	}
	if r.At != nil {
		name += fmt.Sprintf(" %s mm below the first scan's crest", plain(*r.At))
	}
	return name
}

// deviationLengths are the deviations that are lengths in the order in which they are told.
func deviationLengths(d *align.Deviation) []struct {
	Name, Words string
	Length      uncertainty.Length
} {
	return []struct {
		Name, Words string
		Length      uncertainty.Length
	}{
		{"coronal_deviation", "coronal, in space", d.Coronal}, {"apical_deviation", fmt.Sprintf("apical, in space, %.1f mm below the platform", d.ApexAt), d.Apical},
		{"depth_deviation", "depth, + deeper", d.Depth}, {"lateral_coronal", "lateral, coronal", d.LateralCoronal}, {"lateral_apical", "lateral, apical", d.LateralApical},
		{"mesial_coronal", "mesial, coronal", d.Mesial}, {"buccal_coronal", "buccal, coronal", d.Buccal}, {"mesial_apical", "mesial, apical", d.MesialApical}, {"buccal_apical", "buccal, apical", d.BuccalApical},
		{"entry_deviation", "where the axis pierces the planned platform's plane", d.Entry},
	}
}

func deviationFacts(p *change.Placed) []fact {
	var out []fact
	for _, x := range deviationLengths(&p.Deviation) {
		if !math.IsNaN(x.Length.Value) {
			out = append(out, fact{x.Words, rounded(x.Length.Value, 2) + " ± " + roundUp(x.Length.U(), 2) + " mm"})
		}
	}
	a := p.Deviation.Angle
	return append(out, fact{"angle", rounded(a.Value, 1) + " ± " + roundUp(a.U(), 1) + "°"})
}

func placedNotes(p *change.Placed) string {
	text := fmt.Sprintf("Its sides look %.2f mm too far out, its ends %.2f mm: blooming.", p.Found.Bloom, p.Found.Ends)
	for _, c := range p.Found.Cautions {
		text += " " + initial(c, strings.ToUpper) + "."
	}
	if p.Unsure {
		text += " Uncertain: the alignment was accepted by nobody."
	}
	return text
}

// changeFile is changes.json.
type changeFile struct {
	Format    int           `json:"format"`
	Program   string        `json:"program"`
	Date      string        `json:"date"`
	Case      string        `json:"case"`
	Plan      string        `json:"plan_sha256"`
	Alignment align.File    `json:"alignment"`
	Cautions  []string      `json:"cautions"`
	Sites     []change.Site `json:"sites"`
}

// ChangesJSON writes everything with its budgets.
func ChangesJSON(w io.Writer, c ChangeCase) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(changeFile{1, c.Tool, c.Date, c.Result.Before.Case, c.Result.Before.Plan.SHA256, c.Result.Alignment, c.Result.Cautions, c.Result.Sites})
}
