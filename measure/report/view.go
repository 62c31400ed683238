package report

import (
	"cmp"
	"html/template"
	"slices"
	"sync"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

// View is a case made ready to be read: the words, readings, verdicts and order that every medium shows, derived from the
// result once by [NewView]. Each medium is a method that lays them out and derives nothing again. A View is not changed
// once it is made: its methods may run at the same time.
type View struct {
	c      Case
	page   pageView
	window window
	names  []string // what the files of each site are called
	drawn  func() []Drawing
}

// NewView returns the case made ready to be read. It returns an error when a picture's numbers do not fit together.
func NewView(c Case) (*View, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	v := &View{c: c, page: viewOf(c), window: windowOf(c.pictures()), names: fileNames(c.Result.Sites)}
	v.drawn = sync.OnceValue(v.draw)
	return v, nil
}

// The page's data: what page.tmpl lays out. Every text in it is plain text; only the drawings are
// markup, and they are made and escaped by the SVG pen.

type pageView struct {
	Style      template.CSS
	Policy     string
	Case, Jaw  string
	Tool       string
	Date       string
	Series     string // short hash
	Mark       string // on every page; empty: none
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
type words struct {
	Short, Pass, Grey, Side, Share string
	Review                         []string // what the reviewer fills in
}

type fact struct{ Name, Value string }

type marginView struct {
	Name, Margin, Source string
	Changed              bool
}

type siteView struct {
	result     *measure.SiteResult
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

// NameAt returns what the number is about, with its depth where it has one.
func (r rowView) NameAt() string {
	if r.At == "" {
		return r.Name
	}
	return r.Name + " at " + r.At + " mm"
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

// viewOf returns the page's data without its drawings.
func viewOf(c Case) pageView {
	r := c.Result
	v := pageView{
		Case: printable(r.Case), Jaw: string(r.Jaw), Tool: c.Provenance.Tool, Mark: markOf(r),
		Answer: answer(r), InnerPlate: wordsOf(quantity.LingualPlate, r.Jaw),
		Series: short(r.Scan.SeriesHash), Caution: shortCaution, Cautions: cautionsOf(r),
		Date: dateWords(c.Provenance.Date), Words: words{shortCaution, passCaution, greyCaution, sideCaution, shareCaution, reviewLines},
	}
	depths := Depths(r)
	for _, d := range depths {
		v.Depths = append(v.Depths, plain(d))
	}
	v.Columns = 3 + len(depths)
	for i := range r.Sites {
		s := viewOfSite(r, &r.Sites[i], depths)
		s.Number = i + 1
		v.Sites = append(v.Sites, s)
	}
	v.addArch(r)
	for _, m := range r.Margins {
		v.Margins = append(v.Margins, marginView{quantity.InWords(m.Name), rounded(m.Margin, 1), marked(m.Rule), m.Changed})
	}
	v.Scan, v.Convent = scanFacts(c), conventionFacts(r)
	return v
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

// addArch adds what was measured between sites.
func (v *pageView) addArch(r *measure.Result) {
	v.Pairs = matrixOf(r)
	for _, row := range r.Arch.Rows {
		if v.Pairs.holds(row) {
			continue
		}
		view := viewOfRow(row.Row, r.Jaw)
		view.Sites = row.Sites
		v.ArchRows = append(v.ArchRows, view)
	}
}

// drawnPage returns the page's data with the case's drawings and the small scales in it.
func (v *View) drawnPage() (pageView, error) {
	var fail error
	svg := func(s *sheet) template.HTML {
		text, err := markup(s)
		fail = cmp.Or(fail, err)
		return text
	}
	page := v.page
	page.Sites = slices.Clone(page.Sites)
	all := v.drawn()
	for i := range page.Sites {
		s, picture := &page.Sites[i], v.c.section(page.Sites[i].ID)
		if s.Err == "" || picture != nil {
			s.Section = svg(all[i].sheet)
		}
		if profile := profileSheet(s.result); profile != nil {
			s.Profile = svg(profile)
		}
		s.Findings = each(s.Findings, func(f rowView) rowView {
			if f.scale != nil {
				f.Chart = svg(f.scale(46))
			}
			return f
		})
	}
	for _, d := range all[len(page.Sites):] {
		switch d.Name {
		case "panoramic":
			page.Panoramic = svg(d.sheet)
		case "arch":
			page.Arch = svg(d.sheet)
		}
	}
	return page, fail
}

// markup draws a sheet as SVG for the page. The pen escapes every text.
func markup(s *sheet) (template.HTML, error) {
	svg, err := s.SVG()
	return template.HTML(svg), err
}
