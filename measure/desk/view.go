package desk

import (
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/safety"
)

// What the page is told of the plan and its scan.

// point is a place in the patient: x, y, z; LPS, mm.
type point [3]float64

func pointOf(v r3.Vec) point { return point{v.X, v.Y, v.Z} }

func vecOf(p point) r3.Vec { return r3.Vec{X: p[0], Y: p[1], Z: p[2]} }

func pointsOf(all []r3.Vec) []point {
	out := make([]point, len(all))
	for i, v := range all {
		out[i] = pointOf(v)
	}
	return out
}

// state is everything the page shows but numbers and pictures.
type state struct {
	Tag      string   `json:"tag"`
	ReadOnly string   `json:"read_only,omitempty"` // why nothing can be changed
	Notice   string   `json:"notice,omitempty"`
	Plan     string   `json:"plan"`    // the file's name
	Journal  string   `json:"journal"` // where the acts lie
	Saved    string   `json:"saved"`   // when
	Undo     string   `json:"undo,omitempty"`
	Redo     string   `json:"redo,omitempty"`
	Outputs  bool     `json:"outputs"` // a folder was named for them
	Scan     scanView `json:"scan"`

	Case         string          `json:"case"`
	Jaw          string          `json:"jaw"`
	Note         string          `json:"orientation_note"`
	Occlusal     *point          `json:"occlusal"` // in force; nil: the jaw is not known
	OcclusalFrom string          `json:"occlusal_from"`
	OcclusalSet  bool            `json:"occlusal_set"` // the plan says it
	Plane        []point         `json:"occlusal_plane"`
	Arch         []point         `json:"arch"`
	Curve        []point         `json:"curve"` // every [curveStep] mm; empty: none
	Length       float64         `json:"length_mm"`
	NoArch       string          `json:"no_arch,omitempty"`
	Sites        []siteView      `json:"sites"`
	Structures   []structureView `json:"structures"`
	Asked        []askedView     `json:"asked"`
	Declared     int             `json:"declared"` // how many entries
	Readings     []readingView   `json:"readings"`
	Proposed     []string        `json:"proposed"`
	Review       *reviewView     `json:"review"`
	Faults       []faultView     `json:"faults"`
}

type scanView struct {
	Size        [3]int     `json:"size"`
	Spacing     [3]float64 `json:"spacing_mm"`
	Low         point      `json:"low"` // corners of the field
	High        point      `json:"high"`
	Orientation string     `json:"orientation"`
	Verdict     string     `json:"verdict"`
	Cautions    []string   `json:"cautions"`
	Synthetic   bool       `json:"synthetic"`
	Identity    []string   `json:"identity,omitempty"`
	Quantiles   []float64  `json:"quantiles"` // of the grey values, at every [quantileStep] of a percent
}

type siteView struct {
	ID       string       `json:"id"`
	Tooth    string       `json:"tooth"`
	Name     string       `json:"name"`
	Arc      *float64     `json:"arc_mm"`
	At       *point       `json:"at"` // on the curve
	HeightTo string       `json:"height_to"`
	Proposed bool         `json:"proposed"`
	Implant  *implantView `json:"implant"`
	Sizes    bool         `json:"sizes"` // the plan asks for sizes to be tried
}

type implantView struct {
	Platform *point  `json:"platform"`
	Axis     *point  `json:"axis"`
	Diameter float64 `json:"diameter_mm"`
	Length   float64 `json:"length_mm"`
}

type structureView struct {
	Name       string   `json:"name"`
	Kind       string   `json:"kind"`
	Path       []point  `json:"path"`
	Radius     float64  `json:"radius_mm"` // the largest
	Confidence *float64 `json:"confidence"`
	Proposed   bool     `json:"proposed"`
	Traced     bool     `json:"traced"`
	Side       string   `json:"side"` // that most of it lies on
	sides      []string // that any of it lies on
}

// readingView is a distance that was read off a picture: its ends, and no length, which comes with the numbers.
type readingView struct {
	ID      string `json:"id"`
	Site    string `json:"site"`
	From    point  `json:"from"`
	To      point  `json:"to"`
	Snapped bool   `json:"snapped"`
}

// askedView is a kind of structure that this jaw has, and what the plan says of it.
type askedView struct {
	Kind   string `json:"kind"`
	Side   string `json:"side"`
	Answer string `json:"answer"` // "marked", "absent", "not visible"; empty: none
}

type reviewView struct {
	By    string `json:"by"`
	Role  string `json:"role"`
	At    string `json:"at"`
	Void  string `json:"void"`  // what was changed since; empty: it stands
	Since string `json:"since"` // when that was; empty: it stands, or nobody knows
}

type faultView struct {
	Where  string `json:"where"`
	What   string `json:"what"`
	Remedy string `json:"remedy"`
	Line   int    `json:"line"`

	Missing bool `json:"missing"` // still to come
}

const curveStep = 0.5 // mm

// state tells the page how things stand.
func (s *session) state() *state {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, err := s.look()
	d := s.draft
	out := &state{Tag: d.tag, ReadOnly: s.readOnly, Notice: s.notice, Plan: base(s.path), Saved: s.saved.Format("15:04:05"), Scan: s.scanView(),
		Plane: []point{}, Arch: []point{}, Curve: []point{}, Sites: []siteView{}, Structures: []structureView{}, Asked: []askedView{}, Readings: []readingView{}, Proposed: []string{}, Faults: []faultView{}}
	if err != nil {
		out.Notice = said(err)
	}
	if j := s.journal; j != nil {
		out.Journal = base(journalOf(s.path))
		if n := len(j.done); n > 0 {
			out.Undo = j.done[n-1].Words
		}
		if n := len(j.back); n > 0 {
			out.Redo = j.back[n-1].Words
		}
	}
	for _, f := range d.faults {
		out.Faults = append(out.Faults, faultView{f.Where, f.What, f.Remedy, f.Line, f.Missing})
	}
	if d.plan != nil {
		s.tellPlan(out, d)
	}
	return out
}

func (s *session) tellPlan(out *state, d *draft) {
	p := d.plan
	out.Case, out.Jaw, out.Note, out.Declared = p.Case, string(p.Jaw), p.OrientationNote, len(p.Declared)
	out.Proposed = append(out.Proposed, p.Proposed...)
	out.Plane, out.Arch, out.NoArch = pointsOf(p.OcclusalPlane), pointsOf(p.Arch), d.noArch
	out.OcclusalSet = p.OcclusalGiven != (r3.Vec{}) || p.OcclusalPlane != nil
	if d.laid != nil && d.laid.Occlusal != (r3.Vec{}) && (p.Jaw != "" || out.OcclusalSet) {
		o := pointOf(d.laid.Occlusal)
		out.Occlusal, out.OcclusalFrom = &o, d.laid.OcclusalFrom
	}
	if c := d.curve(); c != nil {
		out.Length = c.Length()
		for arc := 0.0; arc < out.Length; arc += curveStep {
			out.Curve = append(out.Curve, pointOf(c.At(arc)))
		}
	}
	for _, one := range p.Sites {
		out.Sites = append(out.Sites, d.siteView(one))
	}
	for _, one := range p.Structures {
		out.Structures = append(out.Structures, s.structureView(d, one))
	}
	for _, one := range p.Readings {
		out.Readings = append(out.Readings, readingView{one.ID, one.Site, pointOf(one.From), pointOf(one.To), one.Snapped})
	}
	out.Asked = asked(out)
	for _, one := range p.Declared {
		out.answer(one)
	}
	if r := p.Review; r != nil {
		out.Review = &reviewView{By: r.By, Role: r.Role, At: r.At, Void: r.Void(p.Contents, s.scan.Facts.SeriesHash)}
		if since := s.voidSince(); out.Review.Void != "" && !since.IsZero() {
			out.Review.Since = since.Local().Format("2006-01-02 15:04:05")
		}
	}
}

func (d *draft) siteView(s plan.Site) siteView {
	v := siteView{ID: s.ID, Tooth: s.Tooth, Name: s.Tooth, HeightTo: string(s.HeightTo), Proposed: s.Proposed, Sizes: s.Sizes != nil}
	if arc, ok := d.arcOf(s); ok {
		at := pointOf(d.curve().At(arc))
		v.Arc, v.At = &arc, &at
	}
	if t, ok := plan.ToothOf(s.Tooth); ok {
		v.Name = s.Tooth + ", " + t.Words(t.Side())
	}
	if im := s.Implant; im != nil {
		v.Implant = &implantView{Diameter: im.Diameter, Length: im.Length}
		if im.Platform != nil {
			at := pointOf(*im.Platform)
			v.Implant.Platform = &at
		}
		if im.Axis != nil {
			axis := pointOf(*im.Axis)
			v.Implant.Axis = &axis
		}
	}
	return v
}

func (s *session) structureView(d *draft, st safety.Structure) structureView {
	v := structureView{Name: st.Name, Kind: string(st.Kind), Path: pointsOf(st.Path), Confidence: st.Confidence, Proposed: st.Proposed,
		Traced: st.Confidence != nil, Side: string(s.sideOf(d, st.Path))}
	for _, p := range st.Path {
		v.sides = append(v.sides, string(s.sideOf(d, []r3.Vec{p})))
	}
	if len(st.Radii) > 0 {
		v.Radius = slices.Max(st.Radii)
	}
	return v
}

// kindsOf are the kinds of structure that a jaw has on each of its sides, nearest to the usual sites first.
var kindsOf = map[measure.Jaw][]safety.Kind{
	measure.Mandible: {safety.Canal, safety.MentalForamen, safety.AnteriorLoop},
	measure.Maxilla:  {safety.Sinus, safety.NasalFloor},
}

// asked lists what the jaw has on each side, and which of it is marked.
func asked(s *state) []askedView {
	all := []askedView{}
	for _, kind := range kindsOf[measure.Jaw(s.Jaw)] {
		for _, side := range []plan.Side{plan.Right, plan.Left} {
			one := askedView{Kind: string(kind), Side: string(side)}
			if slices.ContainsFunc(s.Structures, func(st structureView) bool { return st.Kind == one.Kind && st.answersFor(one.Side) }) {
				one.Answer = "marked"
			}
			all = append(all, one)
		}
	}
	return all
}

// answersFor reports whether a structure is that of a side: the floor of the nose, one structure, is of both that it lies on.
func (v structureView) answersFor(side string) bool {
	return v.Side == side || v.Kind == string(safety.NasalFloor) && slices.Contains(v.sides, side)
}

// answer notes what the plan declares.
func (s *state) answer(d plan.Declared) {
	for i := range s.Asked {
		a := &s.Asked[i]
		if a.Kind != string(d.Kind) || !slices.Contains(d.Sides, plan.Side(a.Side)) || a.Answer != "" {
			continue
		}
		a.Answer = "not visible"
		if d.Visible {
			a.Answer = "absent"
		}
	}
}

func (s *session) scanView() scanView {
	f, b := s.scan.Facts, s.scan.Volume.Bounds()
	v := scanView{Size: s.scan.Volume.Size, Spacing: s.scan.Volume.Spacing(), Low: pointOf(b.Min), High: pointOf(b.Max),
		Orientation: f.Orientation, Verdict: f.Verdict, Synthetic: s.scan.Synthetic, Identity: s.scan.Identity, Quantiles: s.quantiles}
	for _, c := range f.Cautions {
		v.Cautions = append(v.Cautions, c.Text)
	}
	return v
}

func base(path string) string { return path[strings.LastIndexAny(path, `/\`)+1:] }
