package plan

import (
	"bytes"
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"

	"ridgerule/measure/align"
	"ridgerule/measure/solid"
)

// Restoration is the planned teeth: surfaces of a tooth set-up, and how they came into the scan's frame.
type Restoration struct {
	Surfaces []PlannedSurface
	Mucosa   *solid.Sheet // the planned mucosa, patient LPS, mm; nil: the plan names none
	Align    align.File   // surface → scan
	File     string       // of the alignment, as the plan names it
	Window   *ExitWindow  // where an implant's axis may leave its tooth; nil: not asked
}

// PlannedSurface is one surface of a set-up.
type PlannedSurface struct {
	Tooth string       // ISO 3950; "": several teeth, each a piece of its own
	Sheet *solid.Sheet // patient LPS, mm: where the alignment puts it
}

// ExitWindow is how far from the middle of its planned tooth an implant's axis may leave it, mm; +Inf to a side that the plan
// does not limit.
type ExitWindow struct {
	Buccal, Lingual, Mesial, Distal float64 // mm
	Source                          string  // whose it is; "" where the plan does not say
}

// WidestTooth is how long along the arch a tooth may be, mm: a lower first molar has 11 to 12 (common practice, no source); more are several
// teeth in one piece.
const WidestTooth = 14.0

const (
	maxRestoration = 32        // surfaces: a jaw has 16 teeth
	maxSetUpBytes  = 128 << 20 // of one surface
	maxAlignBytes  = 1 << 20   // of an alignment; a hundred landmarks have a tenth of it
	mostWindow     = 20        // mm: wider than any tooth
)

// restoration reads the planned teeth.
func (r *reader) restoration(top fields, dir fs.FS) *Restoration {
	n, ok := top.get("restoration")
	if !ok {
		return nil
	}
	r.source.at["restoration"] = n.mark
	f := n.mapping("surface", "surfaces", "mucosa", "align", "exit_window_mm", "exit_window_source")
	if !f.isMapping() {
		return nil
	}
	out := &Restoration{}
	known := false
	if v, ok := f.need("align", "bring the set-up into the scan's frame: ridgerule align setup.stl scan --start pairs.csv -o setup.json; then align: setup.json"); ok {
		out.File, _ = v.text(500)
		out.Align, known = v.alignment(dir)
	}
	one, hasOne := f.get("surface")
	many, hasMany := f.get("surfaces")
	switch {
	case hasOne && hasMany:
		f.fail("keep one of them", "surface (line %d) and surfaces (line %d) are both given", f.line("surface"), f.line("surfaces"))
	case hasOne:
		out.Surfaces = append(out.Surfaces, PlannedSurface{Sheet: one.sheet(dir, out.Align)})
	case hasMany:
		out.Surfaces = r.plannedSurfaces(many, dir, out.Align)
	case !f.has("surface") && !f.has("surfaces"):
		f.fail("name the set-up: surface: setup.stl, or surfaces: [{file: 36.stl, tooth: \"36\"}]", "restoration has no surface")
	}
	if v, ok := f.get("mucosa"); ok {
		out.Mucosa = v.sheet(dir, out.Align)
	}
	r.window(f, out)
	if known {
		out.Place()
	}
	return out
}

// Place moves the surfaces from their own frame to where the alignment has them.
func (r *Restoration) Place() {
	for i := range r.Surfaces {
		if s := r.Surfaces[i].Sheet; s != nil {
			r.Surfaces[i].Sheet = s.Moved(r.Align.Transform.Apply)
		}
	}
	if r.Mucosa != nil {
		r.Mucosa = r.Mucosa.Moved(r.Align.Transform.Apply)
	}
}

// leastPiece is how many facets a tooth has at least; what is smaller is a splinter.
const leastPiece = 20

// Teeth returns the planned teeth: a named surface is one, an unnamed one is a tooth a connected piece.
func (r *Restoration) Teeth() []PlannedSurface {
	if r == nil {
		return nil
	}
	var out []PlannedSurface
	for _, s := range r.Surfaces {
		if s.Tooth != "" {
			out = append(out, s)
			continue
		}
		for _, part := range s.Sheet.Parts() {
			if len(part) < leastPiece {
				continue
			}
			facets := make([][3]int, len(part))
			for i, k := range part {
				facets[i] = s.Sheet.Triangles[k]
			}
			if piece, err := solid.NewSheet(s.Sheet.Points, facets); err == nil {
				out = append(out, PlannedSurface{Sheet: piece})
			}
		}
	}
	return out
}

// plannedSurfaces reads a list of surfaces, each with its tooth.
func (r *reader) plannedSurfaces(n node, dir fs.FS, a align.File) []PlannedSurface {
	var out []PlannedSurface
	seen := map[string]int{} // line by tooth
	list := n.list(maxRestoration)
	if isList(n) && len(list) == 0 {
		n.fail("name at least one", "surfaces is an empty list")
	}
	for _, e := range list {
		f := e.mapping("file", "tooth")
		var s PlannedSurface
		if v, ok := f.need("file", "name its file: file: 36.stl"); ok {
			s.Sheet = v.sheet(dir, a)
		}
		if v, ok := f.get("tooth"); ok {
			text, _ := v.text(10)
			if _, is := ToothOf(text); !is {
				v.fail("write the two-digit designation of ISO 3950: tooth: \"36\"", "tooth %s is none", quoted(text))
			} else if first, twice := seen[text]; twice {
				v.fail("give each tooth one surface", "the surface at line %d is of this tooth too", first)
			}
			s.Tooth, seen[text] = text, v.mark.Line
		}
		out = append(out, s)
	}
	return out
}

// sheet reads the surface that the plan names; it may be open. One of the name that was aligned must be the very file: another
// one stands elsewhere, and what somebody accepted was not that.
func (n node) sheet(dir fs.FS, a align.File) *solid.Sheet {
	s, ok := stl(n, dir, maxSetUpBytes, solid.ReadSheet, "export it as an STL surface in mm")
	if !ok {
		return nil
	}
	name, _ := n.text(500)
	if a.First.Exchanged(name, n.r.files[name]) {
		n.fail("align this one, look at it and accept it: ridgerule align "+path.Base(name)+" scan --start pairs.csv -o setup.json, or put the aligned one back",
			"surface %s is not the file of that name that was aligned: it was changed or exchanged since", quoted(name))
		return nil
	}
	return s
}

// alignment reads the alignment that the plan names.
func (n node) alignment(dir fs.FS) (align.File, bool) {
	name, ok := n.text(500)
	if !ok {
		return align.File{}, false
	}
	data, ok := n.open(name, dir, maxAlignBytes)
	if !ok {
		return align.File{}, false
	}
	f, err := align.ReadFile(bytes.NewReader(data))
	if err != nil {
		n.fail("make it again: ridgerule align setup.stl scan --start pairs.csv -o setup.json", "align %s: %v", quoted(name), err)
		return f, false
	}
	if f.Kind != align.KindSurface {
		n.fail("name the alignment of the set-up with this scan: ridgerule align setup.stl scan --start pairs.csv -o setup.json", "align %s brings %s together, not a surface and a scan", quoted(name), f.Kind)
		return f, false
	}
	return f, true
}

// window reads where an axis may leave its tooth.
func (r *reader) window(f fields, out *Restoration) {
	if n, ok := f.get("exit_window_mm"); ok {
		keys := []string{"buccal", "lingual", "mesial", "distal"}
		m := n.mapping(keys...)
		w := &ExitWindow{math.Inf(1), math.Inf(1), math.Inf(1), math.Inf(1), ""}
		given := false
		for i, to := range []*float64{&w.Buccal, &w.Lingual, &w.Mesial, &w.Distal} {
			if v, ok := m.get(keys[i]); ok {
				if x, ok := v.between(0, mostWindow, " mm"); ok {
					*to, given = x, true
				}
			}
		}
		switch {
		case given:
			out.Window = w
		case m.isMapping() && !slices.ContainsFunc(keys, m.has):
			n.fail("write buccal, lingual, mesial, distal, those that are limited", "exit_window_mm limits no side")
		}
	}
	if n, ok := f.get("exit_window_source"); ok {
		text, _ := n.text(500)
		if out.Window == nil {
			n.fail("leave it out", "exit_window_source without exit_window_mm")
			return
		}
		out.Window.Source = text
	}
}

// restorationDoubts are what must be known of the planned teeth: nobody accepted the alignment, or it was made on another
// scan than the plan.
func (p *Placed) restorationDoubts() []Doubt {
	if p.Restoration == nil {
		return nil
	}
	var out []Doubt
	say := func(code, format string, args ...any) {
		out = append(out, Doubt{Caution: Cautionf(code, SeverityCaution, format, args...), path: "restoration"})
	}
	a := p.Restoration.Align
	if a.Accepted == nil {
		say("restoration_unaccepted", "the alignment of the planned teeth was accepted by nobody: where an axis leaves its tooth is at best uncertain; look at it and accept it with ridgerule align --accept")
	}
	if p.For.Series != "" && a.Second.Series != "" && p.For.Series != a.Second.Series {
		say("restoration_other_scan", "the planned teeth were aligned with another scan than the plan was made on")
	}
	if a.First.File != "" && a.First.SHA256 == "" {
		say("restoration_unhashed", "the alignment of the planned teeth does not say of which surface it is but for its name (%s): make sure that the file was not exchanged since, or align it again", a.First.File)
	}
	if a.Transform.Spread == nil {
		say("restoration_unknown", "how uncertain the alignment of the planned teeth is, is not known: its numbers have no U and no verdict")
	}
	return out
}

// Of returns the surface of a tooth: the one that bears its name, else those without a name; nil where there is none.
func (r *Restoration) Of(tooth string) []PlannedSurface {
	var unnamed []PlannedSurface
	for _, s := range r.Surfaces {
		if s.Tooth == tooth && tooth != "" {
			return []PlannedSurface{s}
		}
		if s.Tooth == "" {
			unnamed = append(unnamed, s)
		}
	}
	return unnamed
}

// String says the window in words: "buccal 1, lingual 2 mm".
func (w *ExitWindow) String() string {
	text := ""
	for i, x := range []float64{w.Buccal, w.Lingual, w.Mesial, w.Distal} {
		if math.IsInf(x, 1) {
			continue
		}
		if text != "" {
			text += ", "
		}
		text += fmt.Sprintf("%s %g", []string{"buccal", "lingual", "mesial", "distal"}[i], x)
	}
	if w.Source == "" {
		return text + " mm"
	}
	return text + " mm (" + w.Source + ")"
}
