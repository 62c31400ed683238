package report

import (
	"html/template"

	"ridgerule/measure"
	"ridgerule/measure/uncertainty"
)

// The page's data: what page.tmpl lays out. Every text in it is plain text; only the drawings are
// markup, and they are made and escaped by the SVG pen.

type pageView struct {
	Style      template.CSS
	Policy     string
	Case, Jaw  string
	Tool       string
	Date       string
	Series     string // short hash
	Synthetic  bool
	Caution    string
	Answer     string
	InnerPlate string
	Depths     []string
	Columns    int // of the sites' table
	Sites      []siteView
	Arch       template.HTML
	Panoramic  template.HTML
	ArchRows   []rowView
	Pairs      matrix
	Margins    []marginView
	Scan       []fact
	Convent    []fact
	Cautions   []cautionView
	Words      words
}

// words are sentences that the template needs and the code owns.
type words struct{ Short, Pass, Grey, Side, Share, Thin, Synthetic string }

type fact struct{ Name, Value string }

type marginView struct {
	Name, Margin, Source string
	Changed              bool
}

type siteView struct {
	said       string // the last fact's note
	Number     int    // from 1, for links
	ID, Place  string // id; tooth and place in words
	Name, Side string // both in one; the patient's side
	Err, Note  string
	Verdicts   []verdictView // all that apply, gravest first
	Lines      []siteLine    // what limits it
	Cautions   []cautionView // about this site
	Height     heightView
	Widths     []string // one a depth of the page, with U
	Arc, Axis  string
	Section    template.HTML
	Profile    template.HTML
	Table      []depthView
	DepthNotes []string // why a number of the table is missing
	Facts      []rowView
	Findings   []rowView
	Far        []string // held and far: named, not listed
	Sizes      []sizeView
	SizesNote  string // what every size lacks
	Budgets    []budgetRow
	Implant    string
}

type verdictView struct{ Word, Class string }

// depthView is one depth of a site: width and plates.
type depthView struct{ Depth, Width, Buccal, Lingual string }

// rowView is one number with what stands beside it.
type rowView struct {
	Sites, Name, At, Reading, Margin, Note string
	Verdict                                verdictView
	Chart                                  template.HTML
	scale                                  func(wide float64) *sheet // of the same, for the PDF; nil: none
}

// sizeView is one implant size tried.
type sizeView struct {
	Size, Reserve, Limit string
	Verdict              verdictView
}

// budgetRow is one number's budget: its terms with their shares of u, largest first.
type budgetRow struct {
	Name, Shares, U string
	terms           []uncertainty.Term // largest share first
}

func viewOf(c Case) (pageView, error) {
	r := c.Result
	w := windowOf(c.pictures())
	v := pageView{
		Case: printable(r.Case), Jaw: string(r.Jaw), Tool: c.Provenance.Tool, Synthetic: r.Synthetic,
		Answer: answer(r), InnerPlate: quantity("lingual_plate", r.Jaw),
		Series: short(r.Scan.SeriesHash), Caution: shortCaution, Cautions: cautionsOf(r),
		Date: dateWords(c.Provenance.Date), Words: words{shortCaution, passCaution, greyCaution, sideCaution, shareCaution, thinCaution, syntheticCaution},
	}
	depths := Depths(r)
	for _, d := range depths {
		v.Depths = append(v.Depths, plain(d))
	}
	v.Columns = 3 + len(depths)
	for i := range r.Sites {
		s, err := viewOfSite(c, &r.Sites[i], w, depths)
		if err != nil {
			return v, err
		}
		s.Number = i + 1
		v.Sites = append(v.Sites, s)
	}
	if err := v.addArch(c, w); err != nil {
		return v, err
	}
	for _, m := range r.Margins {
		v.Margins = append(v.Margins, marginView{plainName(m.Name), rounded(m.Margin, 1), marked(m.Rule), m.Changed})
	}
	v.Scan, v.Convent = scanFacts(c), conventionFacts(r)
	return v, nil
}

// marked returns a margin's source with how far it was checked.
func marked(r measure.Rule) string {
	if r.Mark == "" {
		return r.Source
	}
	return r.Source + " (" + r.Mark + ")"
}

// pictures returns the case's pictures in an order that does not depend on the map's.
func (c Case) pictures() []Picture {
	var out []Picture
	for _, s := range c.Result.Sites {
		if p, known := c.Sections[s.ID]; known {
			out = append(out, p)
		}
	}
	if c.Panoramic != nil {
		out = append(out, *c.Panoramic)
	}
	return out
}

func (v *pageView) addArch(c Case, w window) error {
	var err error
	if s := archSheet(c.Result, archRoom, tiny); s != nil {
		if v.Arch, err = markup(s); err != nil {
			return err
		}
	}
	if c.Panoramic != nil {
		if v.Panoramic, err = markup(panoramicSheet(c.Result, *c.Panoramic, w, panoramicRoom)); err != nil {
			return err
		}
	}
	v.Pairs = matrixOf(c.Result)
	for _, row := range c.Result.Arch.Rows {
		if v.Pairs.holds(row) {
			continue
		}
		view := viewOfRow(row.Row, c.Result.Jaw)
		view.Sites = row.Sites
		v.ArchRows = append(v.ArchRows, view)
	}
	return nil
}

// markup draws a sheet as SVG for the page. The pen escapes every text.
func markup(s *sheet) (template.HTML, error) {
	svg, err := s.SVG()
	return template.HTML(svg), err
}
