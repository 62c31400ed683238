package measure

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/solid"
)

// Marked structures held against the bone in which they must lie: a path that was marked in the mouth, on
// the other side of a sign or in another frame has no distance that means anything.

const (
	reachOfMark = 10.0 // mm: how near a site's section or implant a structure is asked where it lies
	markStep    = 1.0  // mm between the places of a path that are asked
	longWrong   = 4.0  // mm of path that must lie wrong before the path is called wrong: never one section
	openCanal   = 1.0  // mm outside the bone by which a canal's edge may lie open
	atForamen   = 3.0  // mm between a mental foramen's centre and the bone's edge
	floorToBone = 5.0  // mm between the surface of a cavity and the bone under it
	everyPoint  = 3    // of an outline is asked for its distance to a cavity: 1 mm apart
)

// place is one point of a marked path with the radius there.
type place struct {
	at     r3.Vec
	radius float64 // mm
	along  float64 // of the path, from its first point, mm
}

// places returns points of the structure's path, [markStep] apart.
func places(s safety.Structure) []place {
	if len(s.Path) == 1 {
		return []place{{s.Path[0], s.Radii[0], 0}}
	}
	var out []place
	from := 0.0
	for i := 1; i < len(s.Path); i++ {
		step := r3.Sub(s.Path[i], s.Path[i-1])
		long := r3.Norm(step)
		n := int(math.Ceil(long / markStep))
		for k := range n + 1 {
			if k == 0 && i > 1 {
				continue
			}
			x := float64(k) / float64(max(n, 1))
			out = append(out, place{r3.Add(s.Path[i-1], r3.Scale(x, step)), (1-x)*s.Radii[i-1] + x*s.Radii[i], from + x*long})
		}
		from += long
	}
	return out
}

// concerned returns the places of a path that lie within reach of the site: near its section, or near the
// body of its implant.
func (s *site) concerned(all []place) []place {
	return slices.DeleteFunc(slices.Clone(all), func(p place) bool { return !s.concerns(p) })
}

func (s *site) concerns(p place) bool {
	if uv, t := s.frame.Section(p.at); math.Abs(t) <= reachOfMark && math.Abs(uv.U) <= besideArch {
		return true
	}
	im := s.out.Implant
	return im != nil && toAxis(p.at, *im) <= reachOfMark+p.radius
}

// toAxis returns a point's distance from an implant's axis, mm.
func toAxis(p r3.Vec, im safety.Implant) float64 {
	x := math.Max(0, math.Min(im.Length, r3.Dot(r3.Sub(p, im.Platform), im.Axis)))
	return r3.Norm(r3.Sub(p, r3.Add(im.Platform, r3.Scale(x, im.Axis))))
}

// doubtMarks holds every canal and cavity near the site against the bone's outline, and against what the image shows
// at its place.
func (c *run) doubtMarks(s *site) {
	var out []doubt
	defer func() { s.doubts = append(s.doubts, out...) }()
	for i, st := range c.plan.Structures {
		if st.Kind == safety.Other || oneBody[st.Kind] {
			continue
		}
		if st.Surface != nil || isCavity(st.Kind) {
			out = append(out, c.cavityDoubts(s, i)...)
			continue
		}
		near := s.concerned(places(st))
		if len(near) == 0 {
			continue
		}
		if d, wrong := c.placeDoubt(i, near); wrong {
			out = append(out, d.At(s.plan.ID))
			continue
		}
		if st.Kind == safety.Canal && c.plan.Jaw == Mandible {
			out = slices.Concat(out, c.canalBounds(s, i, near), c.lookDoubts(s, i, near))
		}
	}
}

// placeDoubt says that a structure is marked where none can lie, at these places of its path.
func (c *run) placeDoubt(i int, near []place) (d doubt, wrong bool) {
	why := c.misplaced(c.plan.Structures[i], near)
	if why == "" {
		return d, false
	}
	d = c.plan.StructureDoubt(i, ".path[0]", "structure_place", SeverityNotAssessed, "%s is marked where none can lie: %s", c.plan.Structures[i].Name, why)
	d.Also, d.Spreads = c.plan.SameNerve(i), true
	return d, true
}

// isCavity reports whether structures of a kind hold air.
func isCavity(k safety.Kind) bool { return k == safety.Sinus || k == safety.NasalFloor }

// oneBody are the kinds that lie at one place: marked wrongly they are so for every site.
var oneBody = map[safety.Kind]bool{safety.MentalForamen: true, safety.Root: true, safety.ImplantBody: true}

// bodyDoubts holds what lies at one place, whole, and canals near no site, at a few places of each, against the bone of
// the whole arch: what lies in no bone, in another unit or frame, has no distance that means anything.
func (c *run) bodyDoubts(sites []*site) []doubt {
	var out []doubt
	for i, st := range c.plan.Structures {
		if len(st.Path) == 0 || !plan.InJaw[st.Kind] {
			continue
		}
		all := places(st)
		if st.Kind == safety.Canal && c.plan.Jaw == Mandible {
			out = append(out, c.lookBeyond(sites, i)...)
		}
		if st.Kind == safety.IncisiveCanal {
			out = append(out, c.lookShort(i)...)
		}
		if !oneBody[st.Kind] {
			if slices.ContainsFunc(sites, func(s *site) bool { return slices.ContainsFunc(all, s.concerns) }) {
				continue // asked there
			}
			all = few(all)
		}
		if d, wrong := c.placeDoubt(i, all); wrong {
			out = append(out, d)
		} else if plan.StandsInJaw(st.Kind) {
			out = append(out, c.rootDoubts(i, all)...)
		}
	}
	return out
}

// rootDoubts says that the image shows no root, or no implant, where one is marked, or that it cannot be asked: what nobody
// looked at is not there by itself.
func (c *run) rootDoubts(i int, all []place) []doubt {
	st := c.plan.Structures[i]
	deeper, upper := c.halves(st, all)
	down, up := c.denseShare(deeper, st.SD), c.denseShare(upper, st.SD)
	said := func(code, why string) []doubt {
		return []doubt{c.plan.StructureDoubt(i, ".path[0]", code, SeverityUncertain, "%s: "+why+": check its place", st.Name, quantity.InWords(st.Kind))}
	}
	switch {
	case down < rootSeen || up < rootSeen:
		return said("root_not_there", "the image shows marrow, or less, where this %s is marked")
	case !c.tellsRoots():
		return said("root_not_looked_for", "the series has not taught how bright bone is, so that nobody looked whether this %s is where it is marked")
	}
	return nil // seen, or outside the field and far from any implant in it
}

// few returns the ends and the middle of a list, each once.
func few(all []place) []place {
	out := []place{all[0]}
	for _, k := range []int{len(all) / 2, len(all) - 1} {
		if all[k] != out[len(out)-1] {
			out = append(out, all[k])
		}
	}
	return out
}

// misplaced says why a path cannot lie where it is marked, or nothing.
func (c *run) misplaced(st safety.Structure, near []place) string {
	switch st.Kind {
	case safety.Canal, safety.AnteriorLoop, safety.IncisiveCanal:
		if off := outsideBy(near, c.sections.bridgedOpening, func(p place) float64 { return c.openBy(st.Kind, p) }); off > 0 {
			return "it runs " + mm(off) + " outside the bone"
		}
	case safety.MentalForamen:
		least := math.Inf(1)
		for _, p := range near {
			least = math.Min(least, c.sections.surfaceAway(p.at))
		}
		if !math.IsInf(least, 1) && least > atForamen {
			return "it lies " + mm(least) + " from the bone's surface"
		}
	case safety.Root, safety.ImplantBody:
		deeper, _ := c.halves(st, near)
		allowed := func(p place) float64 {
			if c.atFieldEnd(p.at) {
				return math.Inf(1)
			}
			return math.Max(openCanal, 2*st.SD)
		}
		if off := outsideBy(deeper, c.sections.bridged, allowed); off > 0 && !c.intoCavity(deeper, st.SD) {
			return "its deeper half stands " + mm(off) + " outside the bone"
		}
	}
	return ""
}

// openBy is how far outside the bone the centre of a canal may lie, mm: it lies open in a thin jaw, and an
// incisive canal toward the palate.
func (c *run) openBy(kind safety.Kind, p place) float64 {
	if kind == safety.IncisiveCanal {
		if i, at, ok := c.sections.near(p.at); ok && at.U < 0 && c.sections.made[i]() != nil {
			return 2*p.radius + openCanal
		}
	}
	return p.radius + openCanal
}

// outsideBy returns by how much the path lies outside the bone, mm, by its depth there, where it lies farther out than allowed
// for a length that is no single section; else 0.
func outsideBy(near []place, depth func(r3.Vec) float64, allowed func(place) float64) float64 {
	worst, long, most := 0.0, 0, 0.0
	known := 0
	for _, p := range near {
		d := depth(p.at)
		if math.IsNaN(d) {
			continue
		}
		known++
		if -d > allowed(p) {
			long++
			worst = math.Max(worst, -d)
			if float64(long)*markStep >= longWrong {
				most = math.Max(most, worst)
			}
		} else {
			long, worst = 0, 0
		}
	}
	if long == known { // all of a short path
		most = math.Max(most, worst)
	}
	return most
}

// fieldEnd is how near the field's end an outline may have been closed by it before a root, mm: a section that it crosses
// aslant. Our choice.
const fieldEnd = 3.0

// atFieldEnd reports whether the field ends so near a point that being outside the outline says nothing.
func (c *run) atFieldEnd(p r3.Vec) bool {
	for _, d := range []r3.Vec{{X: fieldEnd}, {Y: fieldEnd}, {Z: fieldEnd}} {
		if !c.v.Contains(c.v.Index(r3.Add(p, d))) || !c.v.Contains(c.v.Index(r3.Sub(p, d))) {
			return true
		}
	}
	return false
}

// halves returns the places in the half of the path that lies toward the base of the jaw, and those in the other. A path
// of one point is both.
func (c *run) halves(st safety.Structure, near []place) (deeper, upper []place) {
	if len(st.Path) == 1 {
		return near, near
	}
	all := places(st)
	middle := all[len(all)-1].along / 2
	deepLast := r3.Dot(r3.Sub(st.Path[len(st.Path)-1], st.Path[0]), c.plan.Occlusal) < 0
	for _, p := range near {
		if deepLast == (p.along >= middle) {
			deeper = append(deeper, p)
		} else {
			upper = append(upper, p)
		}
	}
	return deeper, upper
}

// cavityDoubts holds a marked cavity against the bone under it.
func (c *run) cavityDoubts(s *site, i int) []doubt {
	st := c.plan.Structures[i]
	if !isCavity(st.Kind) {
		return nil
	}
	corners := st.Path
	if st.Surface != nil {
		corners = st.Surface.Points
	}
	if !slices.ContainsFunc(corners, func(p r3.Vec) bool { return s.concerns(place{at: p}) }) {
		return nil
	}
	least := math.Inf(1)
	for k, f := range c.sections.frames {
		o := c.sections.made[k]
		if math.Abs(f.Arc-s.frame.Arc) > reachOfMark || o() == nil {
			continue
		}
		for j := 0; j < len(o().Points) && least > floorToBone; j += everyPoint {
			least = math.Min(least, toSurface(f.Patient(o().Points[j]), st))
		}
	}
	if least <= floorToBone || math.IsInf(least, 1) {
		return nil
	}
	return []doubt{c.plan.StructureDoubt(i, "", "structure_place", SeverityNotAssessed,
		"%s is marked where none can lie: its surface is %s from the bone", st.Name, mm(least)).At(s.plan.ID)}
}

// toSurface returns a point's distance from a body's surface, mm, negative inside; +Inf where the body has
// no distance.
func toSurface(p r3.Vec, of solid.Body) float64 {
	g, err := solid.Distance(safety.Structure{Path: []r3.Vec{p}, Radii: []float64{1e-6}}, of)
	if err != nil {
		return math.Inf(1)
	}
	return g.Distance
}
