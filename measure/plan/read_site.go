package plan

import (
	"fmt"
	"strings"
	"unicode"

	"github.com/goccy/go-yaml/ast"
)

// defaultDepths are the depths of the widths below the crest when a site names none, mm.
var defaultDepths = []float64{1, 3, 5, 7, 10}

// Longest lengths that a plan may hold, mm. They catch a slip of the decimal point; they are no
// judgement of a treatment.
const (
	maxDepth    = 60
	maxDiameter = 20
	maxLength   = 80
	maxWidth    = 60
)

func (r *reader) sites(n node, jaw Jaw) []Site {
	elements := n.list(maxSites)
	if len(elements) == 0 && isList(n) {
		n.fail("list at least one site: tooth, and at or arc_mm", "sites is an empty list")
	}
	all := make([]Site, 0, len(elements))
	seen := map[string]int{} // line by lower-case id: some systems' file names know no case
	for i, e := range elements {
		s := r.site(e, i, jaw)
		key := strings.ToLower(s.ID)
		if first, twice := seen[key]; twice && s.ID != "" {
			e.where = siteName(s.ID)
			e.fail("give each site an id of its own", "the site at line %d has this id too", first)
		}
		seen[key] = e.mark.Line
		all = append(all, s)
	}
	return all
}

func isList(n node) bool { _, ok := n.tree.(*ast.SequenceNode); return ok }

func siteName(id string) string { return "site " + quoted(id) }

func (r *reader) site(n node, i int, jaw Jaw) Site {
	s := Site{Axis: AxisRidge, HeightTo: ToAuto}
	r.source.at[n.path] = n.mark
	n.where = fmt.Sprintf("site %d", i+1)
	n.where = peekName(n, "site", "id", "tooth")
	f := n.mapping("tooth", "id", "at", "arc_mm", "axis", "height_to", "crest", "depths_mm",
		"wanted_width_mm", "implant", "sizes", "level", "confirmed", "proposed")
	r.identify(f, &s, jaw)
	r.station(f, &s)
	r.axis(f, &s)
	if v, ok := f.get("height_to"); ok {
		r.limit(v, &s, jaw)
	}
	if v, ok := f.get("crest"); ok {
		if p, ok := v.vec(); ok {
			s.Crest = &p
		}
	}
	s.Depths = append([]float64(nil), defaultDepths...)
	if v, ok := f.get("depths_mm"); ok {
		s.Depths = v.sizes(maxDepth)
	}
	if v, ok := f.get("wanted_width_mm"); ok {
		s.WantedWidth, _ = v.size(maxWidth)
	}
	r.siteLevel(f, &s)
	s.Confirmed = r.confirmed(f)
	if v, ok := f.get("proposed"); ok {
		s.Proposed = v.flag()
	}
	if v, ok := f.get("implant"); ok {
		s.Implant = r.implant(v)
	}
	if v, ok := f.get("sizes"); ok {
		s.Sizes = r.tryList(v)
	}
	return s
}

// identify reads tooth and id.
func (r *reader) identify(f fields, s *Site, jaw Jaw) {
	if n, ok := f.need("tooth", `name the tooth's place by its ISO 3950 number: tooth: "36"`); ok {
		r.source.at[n.path] = n.mark
		if t, ok := n.text(40); ok {
			s.Tooth = checkTooth(n, t, jaw)
		}
	}
	s.ID = s.Tooth
	n, ok := f.get("id")
	if !ok {
		return
	}
	id, ok := n.text(64)
	if !ok {
		return
	}
	if why := badID(id); why != "" {
		n.fail("use letters, digits, -, _ and .", "id %s %s", quoted(id), why)
		return
	}
	if _, number := ToothOf(id); number && s.Tooth != "" && id != s.Tooth {
		n.fail("leave the id out or name it otherwise: "+s.Tooth+"b", "id %s names another tooth than tooth %s (line %d)", quoted(id), s.Tooth, f.line("tooth"))
		return
	}
	s.ID = id
}

// badID says why a site's id cannot name files and table rows; "" when it can.
func badID(id string) string {
	for _, c := range id {
		if !unicode.IsLetter(c) && !unicode.IsDigit(c) && !strings.ContainsRune("-_.", c) {
			return fmt.Sprintf("holds %q", c)
		}
	}
	if strings.EqualFold(id, "arch") {
		return "is the table's name for the whole arch"
	}
	return badFileName(id)
}

// checkTooth returns the tooth when it is a permanent tooth of the jaw.
//
// Source: ISO 3950:2016, two-digit designation: quadrants 1 and 2 are the upper jaw, 3 and 4 the
// lower; teeth 1 to 8 from the midline.
func checkTooth(n node, t string, jaw Jaw) string {
	it, permanent := ToothOf(t)
	if !permanent {
		remedy := "use 11–18, 21–28, 31–38 or 41–48"
		if says := inOtherNotation(t); says != "" {
			remedy += "; " + says
		}
		n.fail(remedy, "tooth %s is not a permanent tooth of ISO 3950", quoted(t))
		return ""
	}
	if of := it.Jaw(); jaw != "" && of != jaw {
		n.fail("correct the tooth or the plan's jaw"+other1to32(it), "tooth %s is in the %s, the plan's jaw is the %s", t, of, jaw)
	}
	return t
}

// station reads where the site is: a point or an arc length.
func (r *reader) station(f fields, s *Site) {
	at, hasAt := f.get("at")
	arc, hasArc := f.get("arc_mm")
	switch {
	case f.has("at") && f.has("arc_mm"):
		f.fail("keep one of them", "at (line %d) and arc_mm (line %d) are both given", f.line("at"), f.line("arc_mm"))
	case !f.has("at") && !f.has("arc_mm") && f.isMapping():
		f.fail("give a point near the arch (at: [x, y, z]) or an arc length (arc_mm: 23.5)", "neither at nor arc_mm says where it is")
	}
	if hasAt {
		if p, ok := at.vec(); ok {
			s.At = &p
		}
	}
	if hasArc {
		r.source.at[arc.path] = arc.mark
		if x, ok := arc.between(0, 1000, " mm"); ok {
			s.ArcMM = &x
		}
	}
}

// axis reads the site's axis: a word or a vector.
func (r *reader) axis(f fields, s *Site) {
	n, ok := f.get("axis")
	if !ok {
		return
	}
	if isList(n) {
		s.Axis = AxisGiven
		s.AxisVec, _ = n.direction()
		return
	}
	switch word, ok := n.text(40); {
	case !ok:
	case word == string(AxisRidge), word == string(AxisOcclusal):
		s.Axis = AxisRule(word)
	default:
		n.fail("write ridge, occlusal or a vector [x, y, z] from crest to base", "axis is %s", quoted(word))
	}
}

func (r *reader) limit(n node, s *Site, jaw Jaw) {
	s.HeightTo = Limit(n.oneOf(string(ToAuto), string(ToCanal), string(ToSinus), string(ToNasalFloor), string(ToBorder)))
	if jaw == Mandible && (s.HeightTo == ToSinus || s.HeightTo == ToNasalFloor) {
		n.fail("use auto, canal or border", "height_to is %s, which the mandible does not have", s.HeightTo)
	}
}

func (r *reader) implant(n node) *PlannedImplant {
	f := n.mapping("platform", "axis", "diameter_mm", "apex_diameter_mm", "length_mm", "beyond_ridge")
	var im PlannedImplant
	if v, ok := f.get("platform"); ok {
		if p, ok := v.vec(); ok {
			im.Platform = &p
		}
	}
	if v, ok := f.get("axis"); ok {
		if d, ok := v.direction(); ok {
			im.Axis = &d
		}
	}
	if v, ok := f.need("diameter_mm", "give the implant's diameter at its platform: diameter_mm: 4.0"); ok {
		im.Diameter, _ = v.size(maxDiameter)
	}
	if v, ok := f.get("apex_diameter_mm"); ok {
		im.ApexDiameter, _ = v.size(maxDiameter)
	}
	if v, ok := f.need("length_mm", "give the implant's length: length_mm: 10"); ok {
		r.source.at[v.path] = v.mark
		im.Length, _ = v.size(maxLength)
	}
	if v, ok := f.get("beyond_ridge"); ok {
		im.BeyondRidge = v.flag()
	}
	return &im
}

func (r *reader) tryList(n node) *Sizes {
	f := n.mapping("diameters_mm", "lengths_mm", "lateral_mm", "depth_mm", "lean_deg", "along_deg")
	var s Sizes
	if v, ok := f.need("diameters_mm", "list the diameters to try: diameters_mm: [3.5, 4.0]"); ok {
		s.Diameters = v.sizes(maxDiameter)
	}
	if v, ok := f.need("lengths_mm", "list the lengths to try: lengths_mm: [8, 10]"); ok {
		s.Lengths = v.sizes(maxLength)
	}
	for _, l := range []struct {
		key, unit string
		most      float64
		to        **[2]float64
	}{
		{"lateral_mm", " mm", mostShift, &s.Lateral}, {"depth_mm", " mm", mostShift, &s.Depth},
		{"lean_deg", " degrees", mostTilt, &s.Lean}, {"along_deg", " degrees", mostTilt, &s.Along},
	} {
		if v, ok := f.get(l.key); ok {
			*l.to = v.limits(l.most, l.unit)
		}
	}
	return &s
}
