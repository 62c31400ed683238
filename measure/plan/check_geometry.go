package plan

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// A plan's points held against each other: slips that no pixel is needed to see.

// Bounds of our own choice. Every one is far outside what a right plan holds.
const (
	oddOffset     = 5.0   // of a site beside the arch, seen along the occlusal direction, mm
	wrongOffset   = 15.0  // likewise: another place was meant
	oddLean       = 50.0  // of an axis from the occlusal direction, degrees: distal implants of a full arch lean by up to 45
	wrongLean     = 80.0  // likewise: the vector was meant otherwise
	turningBack   = 120.0 // of a path at one point, degrees
	longStep      = 10.0  // between two points of a canal's path, mm: a canal bends within it
	chordStep     = 20.0  // likewise: past it a chord of the bend (R about 50 mm) lies a millimetre beside the canal, half its margin
	outOfSection  = 8.0   // of a platform from its site's section, mm
	longestInBone = 20.0  // of an implant in the ridge, mm
)

// checkGeometry holds sites, implants and structures against the arch and themselves.
func (p *Placed) checkGeometry(l Landmarks) []Doubt {
	var out []Doubt
	if p.upsideDown() {
		out = append(out, Doubt{Caution: Cautionf("occlusal_sign", SeverityUncertain, "%s: the plan's orientation note must explain it", p.upsideDownText())})
	}
	if p.Midline != nil {
		if _, off, _ := l.beside(*p.Midline); off > wrongOffset {
			out = append(out, Doubt{Caution: Cautionf("midline_off_arch", SeverityCaution, "midline lies %.1f mm off the arch curve", off),
				refuse: true, path: "arch.midline", remedy: "give a point of the midline at the arch"})
		}
	}
	for i := range p.Sites {
		out = append(out, p.checkOffset(i, l)...)
		out = append(out, p.checkLeans(i)...)
		out = append(out, p.checkImplant(i, l.curve)...)
	}
	for i := range p.Structures {
		out = append(out, p.checkPath(i)...)
		out = append(out, p.checkRadius(i)...)
		out = append(out, p.checkPlaceOnArch(i, l)...)
	}
	return out
}

func (p *Placed) checkOffset(i int, l Landmarks) []Doubt {
	at := p.Sites[i].At
	if at == nil || !p.Sites[i].placed() {
		return nil
	}
	_, off, _ := l.beside(*at)
	if off <= oddOffset {
		return nil
	}
	d := p.SiteDoubt(i, ".at", "at_off_arch", SeverityUncertain, "at lies %.1f mm beside the arch: it was projected to the nearest point of the curve", off)
	d.refuse, d.remedy = off > wrongOffset, "give a point near the arch, or check the plan's coordinates and signs"
	return []Doubt{d}
}

// lean returns the angle of an axis from the direction crest to base, degrees.
func (p *Placed) lean(axis r3.Vec) float64 { return safety.Angle(axis, r3.Scale(-1, p.Occlusal)) }

func (p *Placed) checkLeans(i int) []Doubt {
	s := p.Sites[i]
	var out []Doubt
	try := func(key string, axis r3.Vec) {
		lean := p.lean(axis)
		if lean <= oddLean || lean > 90 { // beyond it another error says that the axis points the wrong way
			return
		}
		d := p.SiteDoubt(i, key, "lean", SeverityCaution, "%s leans %.0f° from the occlusal direction", strings.TrimPrefix(key, "."), lean)
		d.Confirm, d.refuse, d.remedy = confirmAxis, lean > wrongLean, "correct the vector: from crest to base"
		if d.refuse {
			d.Confirm = ""
		}
		out = append(out, d)
	}
	if s.Axis == AxisGiven {
		try(".axis", s.AxisVec)
	}
	if s.Implant != nil && s.Implant.Axis != nil {
		try(".implant.axis", *s.Implant.Axis)
	}
	return out
}

func (p *Placed) checkImplant(i int, curve *reformat.Curve) []Doubt {
	s := p.Sites[i]
	im := s.Implant
	if im == nil {
		return nil
	}
	var out []Doubt
	if im.BeyondRidge || im.Length > longestInBone {
		why := fmt.Sprintf("the implant is %.4g mm long", im.Length)
		if im.BeyondRidge {
			why = "the plan calls it beyond the ridge"
		}
		out = append(out, p.SiteDoubt(i, ".implant.length_mm", "beyond_ridge", SeverityNotAssessed, "%s: this tool does not judge implants anchored outside the ridge", why))
	}
	if im.Platform != nil && s.placed() {
		if _, off := curve.Frame(SiteArc(curve, s)).Section(*im.Platform); math.Abs(off) > outOfSection {
			d := p.SiteDoubt(i, ".implant.platform", "platform_off_section", SeverityCaution, "the platform lies %.1f mm out of the site's section along the arch", math.Abs(off))
			d.Confirm = ConfirmPlatform
			out = append(out, d)
		}
	}
	return out
}

// InJaw are the kinds that lie within the jaw, so that the arch runs by them.
var InJaw = map[safety.Kind]bool{safety.Canal: true, safety.MentalForamen: true, safety.AnteriorLoop: true, safety.IncisiveCanal: true, safety.Root: true, safety.ImplantBody: true}

// StandsInJaw reports whether a kind is a tooth's root or an implant: denser than the bone around it.
func StandsInJaw(k safety.Kind) bool { return k == safety.Root || k == safety.ImplantBody }

// foramenFrom and foramenTo bound the mental foramen's place along the arch from the midline, mm, the midline's
// error included. Source: 80 to 92 % lie from between the premolars to under the second (Oliveira et al., Int J
// Dent 2018:4571895, and others, abstracts read), the rest from the first premolar to the first molar's mesial root.
const (
	foramenFrom = 15.0
	foramenTo   = 40.0
)

// checkPlaceOnArch holds the place of a structure's path along and beside the arch against its kind and its
// name: one of the jaw that lies nowhere near the arch was written in another unit, frame or sign, and one
// whose name says the other side than its place is perhaps the other one, or was mirrored. What lies past
// the arch's ends is not asked.
func (p *Placed) checkPlaceOnArch(i int, l Landmarks) []Doubt {
	s := p.Structures[i]
	says := p.sideSaid(s)
	if len(s.Path) == 0 || says == "" && !InJaw[s.Kind] {
		return nil
	}
	out := p.checkForamen(i, l)
	least, contrary := math.Inf(1), says != ""
	for _, x := range s.Path {
		arc, off, past := l.beside(x)
		if !past {
			least = math.Min(least, off)
		}
		lies := l.Side(arc)
		contrary = contrary && lies != "" && lies != says
	}
	if InJaw[s.Kind] && least > wrongOffset && !math.IsInf(least, 1) {
		out = append(out, p.StructureDoubt(i, ".path[0]", "structure_off_arch", SeverityNotAssessed,
			"%s lies %.0f mm beside the arch, where no %s is: check its unit, frame and signs", s.Name, least, quantity.InWords(s.Kind)))
	}
	if contrary {
		out = append(out, p.StructureDoubt(i, ".name", "name_side", SeverityUncertain,
			"structure %s lies on the patient's %s side: correct its name, or the signs of x (+x is the patient's left)", quoted(s.Name), other(says)))
	}
	return out
}

// checkForamen holds a mental foramen's place along the arch against the usual ones.
func (p *Placed) checkForamen(i int, l Landmarks) []Doubt {
	s := p.Structures[i]
	if s.Kind != safety.MentalForamen || !l.Known() {
		return nil
	}
	arc, _, _ := l.beside(s.Path[0])
	from := math.Abs(l.FromMidline(arc))
	if from >= foramenFrom && from <= foramenTo {
		return nil
	}
	d := p.StructureDoubt(i, ".path[0]", "foramen_place", SeverityUncertain, "%s lies %.0f mm from the midline along the arch, where %g to %g mm are usual: look whether it is the foramen", s.Name, from, foramenFrom, foramenTo)
	d.Also = p.SameNerve(i)
	return []Doubt{d}
}

// longPaths are the kinds whose path must follow a bend.
var longPaths = map[safety.Kind]bool{safety.Canal: true, safety.AnteriorLoop: true, safety.IncisiveCanal: true}

// checkPath finds a path that turns back on itself, and one with too few points for its length.
func (p *Placed) checkPath(i int) []Doubt {
	s := p.Structures[i]
	var out []Doubt
	for j := 1; j < len(s.Path); j++ {
		step := r3.Sub(s.Path[j], s.Path[j-1])
		if long := r3.Norm(step); longPaths[s.Kind] && long > longStep {
			severity := SeverityCaution
			if long > chordStep {
				severity = SeverityUncertain
			}
			out = append(out, p.StructureDoubt(i, fmt.Sprintf(".path[%d]", j), "path_step", severity,
				"structure %s: points %d and %d of its path are %.1f mm apart, and a %s bends between them: mark more points", quoted(s.Name), j, j+1, long, quantity.InWords(s.Kind)))
			break
		}
	}
	for j := 1; j+1 < len(s.Path); j++ {
		a, b := r3.Sub(s.Path[j], s.Path[j-1]), r3.Sub(s.Path[j+1], s.Path[j])
		if turn := safety.Angle(a, b); turn > turningBack && r3.Norm(a) > leastStep && r3.Norm(b) > leastStep {
			out = append(out, p.StructureDoubt(i, fmt.Sprintf(".path[%d]", j), "path_turns_back", SeverityUncertain,
				"structure %s: its path turns back by %.0f° at point %d: list the points in order from one end to the other", quoted(s.Name), turn, j+1))
			break
		}
	}
	return out
}

// leastRadius is the radius below which no canal, foramen, root or implant is thick anywhere, mm. Source: half
// of 1.0 mm, the least of the canal's diameters (2.51 ± 0.79 mm − 2 SD: Do et al., J Orthod Sci 2024;13:45) and
// of the foramen's heights (1.0 to 4.2 mm, n = 160), abstracts read.
const leastRadius = 0.5

// checkRadius finds a path so thin that its clearance is that of a line: a radius left at some least value,
// or in cm.
func (p *Placed) checkRadius(i int) []Doubt {
	s := p.Structures[i]
	if !InJaw[s.Kind] || len(s.Radii) == 0 {
		return nil
	}
	r := slices.Max(s.Radii)
	if r >= leastRadius {
		return nil
	}
	return []Doubt{p.StructureDoubt(i, ".radius_mm", "radius_small", SeverityUncertain,
		"structure %s: its radius is nowhere more than %.2g mm, and a %s is at least %g mm wide: give its outer radius, wall included", quoted(s.Name), r, quantity.InWords(s.Kind), 2*leastRadius)}
}

// sideSaid returns the side that a structure's name says: in words, or of a root or an implant by the number
// of a tooth of this jaw; nothing where it says none, or both.
func (p *Placed) sideSaid(s safety.Structure) Side {
	said := sideIn(s.Name)
	if !StandsInJaw(s.Kind) {
		return said
	}
	for _, t := range p.teethIn(s.Name) {
		if said != "" && said != t.Side() {
			return ""
		}
		said = t.Side()
	}
	return said
}

// teethIn returns the teeth of this jaw whose numbers a name bears.
func (p *Placed) teethIn(name string) (all []Tooth) {
	for _, word := range strings.FieldsFunc(name, func(r rune) bool { return r < '0' || r > '9' }) {
		if t, ok := ToothOf(word); ok && t.Jaw() == p.Jaw {
			all = append(all, t)
		}
	}
	return all
}

// sideIn returns the side that a name says as a word of its own; nothing where it says none, or both.
func sideIn(name string) Side {
	var said Side
	for _, word := range strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return r < 'a' || r > 'z' }) {
		if side := Side(word); side == Left || side == Right {
			if said != "" && said != side {
				return ""
			}
			said = side
		}
	}
	return said
}

// other returns the other side.
func other(s Side) Side {
	if s == Left {
		return Right
	}
	return Left
}

// oneNerve is how near to each other marks of the lower jaw's nerve lie that belong together, mm. Our choice.
const oneNerve = 8.0

// SameNerve returns the names of the canals, foramina and loops marked as one nerve with the i-th structure:
// where one of them is marked in the wrong place, so are, most likely, the others.
func (p *Placed) SameNerve(i int) []string {
	nerve := map[safety.Kind]bool{safety.Canal: true, safety.MentalForamen: true, safety.AnteriorLoop: true}
	var out []string
	for k, st := range p.Structures {
		if k == i || !nerve[st.Kind] || !nerve[p.Structures[i].Kind] {
			continue
		}
		if g, err := solid.Distance(p.Structures[i], st); err == nil && g.Distance <= oneNerve {
			out = append(out, st.Name)
		}
	}
	return out
}
