package safety

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/quantity"
	"ridgerule/measure/solid"
	"ridgerule/measure/uncertainty"
)

// Place is a site as the rules about missing structures see it.
type Place struct {
	Tooth    string  // ISO 3950; decides which structures concern the site
	At       r3.Vec  // the site on the arch, patient LPS, mm
	Tangent  r3.Vec  // unit tangent of the arch at the site, either way
	Occlusal r3.Vec  // unit vector from the base of the jaw toward the biting surface
	Mesial   r3.Vec  // Tangent turned toward the midline; zero: turned by the tooth's number, for heads turned by less than 45°
	Radius   float64 // largest radius of the implant, mm; 0: [usualRadius]
	Seen     []Kind  // kinds found in the image at this site, whose distances the caller reports

	Along          []Spot // places along the implant's body, platform to apex and the margin beyond
	CanalElsewhere bool   // no marked canal crosses the site's section
	Absent         []Kind // declared absent on this side: they count as marked
	NotVisible     []Kind // declared not visible in this scan on this side: nothing is known of them
}

// Spot is a place along an implant's body: what must be marked follows from each of them, the strictest.
type Spot struct {
	At, Mesial r3.Vec // on the arch, mm; unit tangent toward the midline
	Number     int    // of the tooth that usually stands there, 1 to 8; 0: not known
}

const (
	usualRadius = 2.5 // mm; implants in use are 3 to 5 mm wide (common practice, no source)

	// sideReach is how far from a site, seen along the occlusal direction, a structure may lie
	// and still be on its side, mm. A canal runs within 10 mm of the arch; the other side's lies
	// 30 mm off and more. Common practice, no source.
	sideReach = 20.0

	// foramenReach is how near a canal must end to a marked mental foramen for the end to be
	// the canal's own, surface to surface, mm. Our choice: the canal turns outward through
	// the plate for some millimetres before it opens.
	foramenReach = 5.0
)

// Missing returns a finding, [NotAssessed], for every structure that concerns the site and was
// neither marked where it matters nor seen in the image:
//
//	posterior mandible (34–38, 44–48)  the canal, marked on this side and past the implant both
//	                                   ways by the margin, unless it ends at a marked mental foramen
//	mandible (31–35, 41–45)            the anterior loop: for 33, 34 (43, 44), and for every site
//	                                   mesial to a marked mental foramen on its side. No fixed
//	                                   distance is safe, so no site is too far; a loop that is
//	                                   not there is declared absent
//	posterior maxilla (14–18, 24–28)   the sinus
//	anterior maxilla (11–13, 21–23)    the nasal floor; at 11 and 21 also the incisive canal
//
// The same is asked at every place along the implant's body, of the tooth that usually stands there. A
// posterior lower site whose section no marked canal crosses is not assessed unless its canal ends at a
// marked mental foramen distal of the whole body by the margin, and the loop is marked or declared absent.
//
// A site without a tooth number is not assessed as a whole.
//
// Source: regions: docs/method.md 5 and Magat 2020, Zhang et al. 2015 (abstracts read); loop:
// J Oral Implantol 2015;41:632 (abstract read). Which sites the loop concerns is our choice.
func Missing(p Place, structures []Structure, rules Rules) []Finding {
	quadrant, tooth, ok := fdi(p.Tooth)
	if !ok {
		return []Finding{notMarked(Other, rules, fmt.Sprintf("tooth %q is no ISO 3950 number: which structures concern the site is not known", p.Tooth))}
	}
	m := missing{p, structures, rules, mesial(p, quadrant), nil}
	m.needs(quadrant >= 3, tooth)
	for _, spot := range p.Along {
		there := missing{p, structures, rules, spot.Mesial, nil}
		there.At, there.CanalElsewhere = spot.At, false
		number := spot.Number
		if number == 0 {
			number = tooth
		}
		there.needs(quadrant >= 3, number)
		for _, f := range there.out {
			if !slices.ContainsFunc(m.out, func(o Finding) bool { return o.Kind == f.Kind }) {
				m.out = append(m.out, f)
			}
		}
	}
	return m.out
}

type missing struct {
	Place
	structures []Structure
	rules      Rules
	mesial     r3.Vec // unit tangent of the arch toward the midline
	out        []Finding
}

// needs reports what a tooth of this number must have marked and has not.
func (m *missing) needs(lower bool, tooth int) {
	switch {
	case lower && tooth >= 4:
		m.canal(tooth)
	case !lower && tooth >= 4:
		m.need(Sinus, sideReach, "not marked on this side and not found in the image")
	case !lower:
		m.need(NasalFloor, sideReach, "not marked at this site and not found in the image")
	}
	if lower && tooth <= 5 {
		m.loop(tooth)
	}
	if !lower && tooth == 1 {
		m.need(IncisiveCanal, sideReach, "not marked near this site")
	}
}

// known says whether a kind needs no marking: seen in the image, or declared absent. What is declared not
// visible, and not marked, is reported here.
func (m *missing) known(kind Kind) bool {
	if slices.Contains(m.Seen, kind) || slices.Contains(m.Absent, kind) {
		return true
	}
	if slices.Contains(m.NotVisible, kind) && len(m.marked(kind)) == 0 {
		m.report(kind, "%s declared not visible in this scan: nothing is known of it", quantity.InWords(kind))
		return true
	}
	return false
}

// mesial turns the tangent toward the midline: forward at the sides, toward the other side in
// front. It holds for heads turned by less than 45°.
func mesial(p Place, quadrant int) r3.Vec {
	if p.Mesial != (r3.Vec{}) {
		return p.Mesial
	}
	toward := r3.Vec{X: 1, Y: -1} // the patient's right: left and forward is mesial
	if quadrant == 2 || quadrant == 3 {
		toward.X = -1
	}
	if r3.Dot(p.Tangent, toward) < 0 {
		return r3.Scale(-1, p.Tangent)
	}
	return p.Tangent
}

func notMarked(kind Kind, rules Rules, reason string) Finding {
	rule := rules[string(kind)]
	nan := math.NaN()
	return Finding{To: quantity.InWords(kind), Kind: kind, Distance: uncertainty.Length{Value: nan},
		Near: [2]r3.Vec{{X: nan, Y: nan, Z: nan}, {X: nan, Y: nan, Z: nan}}, Margin: rule.Margin, Source: rule.Source,
		Verdict: NotAssessed, Reason: reason}
}

func (m *missing) report(kind Kind, format string, args ...any) {
	m.out = append(m.out, notMarked(kind, m.rules, fmt.Sprintf(format, args...)))
}

// need reports a kind that was neither seen in the image nor marked within reach (mm).
func (m *missing) need(kind Kind, reach float64, reason string) {
	if m.known(kind) {
		return
	}
	for _, s := range m.marked(kind) {
		if d, _ := m.beside(s); d <= reach {
			return
		}
	}
	m.report(kind, "%s %s", quantity.InWords(kind), reason)
}

func (m *missing) marked(kind Kind) []*Structure {
	var out []*Structure
	for i := range m.structures {
		if m.structures[i].Kind == kind {
			out = append(out, &m.structures[i])
		}
	}
	return out
}

// canal reports a canal that does not run past the site.
func (m *missing) canal(tooth int) {
	if m.known(Canal) {
		return
	}
	need := m.radius() + m.rules[string(Canal)].Margin
	why, nearest := "canal not marked on this side", math.Inf(1)
	for _, s := range m.marked(Canal) {
		off, reason := m.runsPast(s, need)
		if reason == "" && m.CanalElsewhere {
			reason = m.notBefore(s, need, tooth)
		}
		if reason == "" {
			return
		}
		if off < nearest {
			nearest, why = off, reason
		}
	}
	m.report(Canal, "%s", why)
}

// notBefore says why a site in whose section the canal does not appear cannot be known to stand before its
// end, or nothing.
func (m *missing) notBefore(s *Structure, need float64, tooth int) string {
	foramen := m.ownSide(MentalForamen, tooth)
	switch {
	case !m.endsAtForamen(s) || foramen == nil:
		return fmt.Sprintf("canal %q does not appear in the site's section, nor a mental foramen that it ends at", s.Name)
	case !m.distal(foramen, need):
		return fmt.Sprintf("canal %q does not appear in the site's section, and %q does not lie distal of the whole implant by the margin", s.Name, foramen.Name)
	case m.ownSide(AnteriorLoop, tooth) == nil && !slices.Contains(m.Absent, AnteriorLoop):
		return fmt.Sprintf("canal %q does not appear in the site's section, and its anterior loop is neither marked nor declared absent", s.Name)
	}
	return ""
}

// distal reports whether a structure lies distal of the site, and of every place along the implant's
// body, by need mm.
func (m *missing) distal(s *Structure, need float64) bool {
	if _, to := m.reach(s); to > -need {
		return false
	}
	for _, spot := range m.Along {
		there := missing{Place: m.Place, mesial: spot.Mesial}
		there.At = spot.At
		if _, to := there.reach(s); to > -need {
			return false
		}
	}
	return true
}

func (m *missing) radius() float64 {
	if m.Radius > 0 {
		return m.Radius
	}
	return usualRadius
}

// runsPast says why a canal does not run past the site by need mm on both sides, or nothing;
// off is how far beside the site it lies, mm.
func (m *missing) runsPast(s *Structure, need float64) (off float64, why string) {
	off, along := m.beside(s)
	from, to := m.reach(s)
	switch {
	case off > sideReach && along:
		return off, fmt.Sprintf("canal %q does not reach the site: it ends %.0f mm away", s.Name, off)
	case off > sideReach:
		return off, fmt.Sprintf("canal not marked on this side: %q lies %.0f mm away", s.Name, off)
	case to < need && !m.endsAtForamen(s):
		return off, ends(s.Name, to, "mesial", "distal") + ": mark it further mesially, or the mental foramen it ends at"
	case from > -need:
		return off, ends(s.Name, -from, "distal", "mesial") + ": mark it further distally"
	}
	return off, ""
}

func ends(name string, past float64, this, other string) string {
	if past < 0 {
		return fmt.Sprintf("canal %q does not reach the site: it ends %.1f mm %s of it", name, -past, other)
	}
	return fmt.Sprintf("canal %q ends %.1f mm %s of the site, within reach of the margin", name, past, this)
}

// beside returns the least distance between the site and the structure's marking, seen along
// the occlusal direction, mm, and whether its nearest point lies rather along the arch than across it.
func (m *missing) beside(s *Structure) (least float64, along bool) {
	least = math.Inf(1)
	take := func(d float64, away r3.Vec) {
		if d < least {
			t := r3.Dot(away, m.mesial)
			least, along = d, 2*t*t > 1
		}
	}
	near := func(t solid.Triangle) {
		for k := range t {
			t[k] = m.flat(t[k])
		}
		p, _ := t.Nearest(r3.Vec{})
		take(r3.Norm(p), r3.Unit(p))
	}
	if s.Surface != nil {
		for i := range s.Surface.Triangles {
			near(s.Surface.Triangle(i))
		}
		return least, along
	}
	for i, x := range s.Path {
		near(solid.Triangle{x, x, s.Path[min(i+1, len(s.Path)-1)]})
	}
	return least, along
}

// flat returns a point relative to the site, with the occlusal direction taken out.
func (m *missing) flat(x r3.Vec) r3.Vec {
	v := r3.Sub(x, m.At)
	return r3.Sub(v, r3.Scale(r3.Dot(v, m.Occlusal), m.Occlusal))
}

// endsAtForamen says whether the structure's mesial end lies at a marked mental foramen or loop.
func (m *missing) endsAtForamen(s *Structure) bool {
	if len(s.Path) == 0 {
		return false
	}
	first, last := s.Path[0], s.Path[len(s.Path)-1]
	end, r := first, s.radius(0)
	if r3.Dot(m.flat(last), m.mesial) > r3.Dot(m.flat(first), m.mesial) {
		end, r = last, s.radius(len(s.Path)-1)
	}
	tip := solid.Chain{Path: []r3.Vec{end}, Radii: []float64{r}}
	for _, f := range append(m.marked(MentalForamen), m.marked(AnteriorLoop)...) {
		if g, err := solid.Distance(tip, *f); err == nil && g.Distance <= foramenReach {
			return true
		}
	}
	return false
}

func (s *Structure) radius(i int) float64 {
	if i < len(s.Radii) {
		return s.Radii[i]
	}
	return 0
}
