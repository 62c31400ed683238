package phantom

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Plan is the site plan of a jaw, as plain values; [Plan.Write] writes it as YAML.
type Plan struct {
	Case       string
	Jaw        Kind
	Arch       []r3.Vec // patient, mm
	Sites      []PlanSite
	Structures []PlanStructure
}

// PlanSite is one site with its virtual implant.
type PlanSite struct {
	Tooth    int
	At       r3.Vec  // on the arch, patient, mm
	Axis     *r3.Vec // crest to base; nil: the ridge's own
	Platform r3.Vec  // of the implant, patient, mm
	Implant  r3.Vec  // its axis, unit, to the apex
	Diameter float64 // mm
	Length   float64 // mm
}

// ID returns the site's name: its tooth.
func (s PlanSite) ID() string { return fmt.Sprint(s.Tooth) }

// PlanStructure is a chain of capsules.
type PlanStructure struct {
	Name   string
	Kind   string    // as the plan's format names it
	Path   []r3.Vec  // patient, mm
	Radius []float64 // one a point, mm
	SD     float64   // of the marking, mm
}

// Plan returns the site plan that belongs to the jaw. Its structures lie exactly where the
// shape's do.
func (j *Jaw) Plan() Plan {
	p := j.plan
	p.Arch, p.Sites, p.Structures = slices.Clone(p.Arch), slices.Clone(p.Sites), slices.Clone(p.Structures)
	return p
}

// archStep is the distance between the plan's arch points, mm.
const archStep = 4.0

// makePlan clicks the arch, places the sites and their implants, marks the structures.
func (j *Jaw) makePlan() {
	o := j.opt
	j.plan = Plan{Case: o.Case, Jaw: o.Jaw}
	r := rand.New(rand.NewPCG(o.Seed, 4242))
	end := 62 * o.Shape.Arch
	n := int(math.Round(2 * end / archStep))
	for i := 0; i <= n; i++ {
		p := j.shape.arch.point(j.shape.arch.at(end*(2*float64(i)/float64(n)-1)), 0, 0)
		p.X += o.Hand * r.NormFloat64()
		p.Y += o.Hand * r.NormFloat64()
		j.plan.Arch = append(j.plan.Arch, j.toPatient(p))
	}
	j.curve = &spline{j.plan.Arch}
	for _, fdi := range o.Sites {
		j.plan.Sites = append(j.plan.Sites, j.planSite(fdi))
	}
	j.markStructures()
}

// planSite places a site on the arch, and an implant along the drawn axis.
func (j *Jaw) planSite(fdi int) PlanSite {
	x := j.shape.arch.at(arcOf(j.opt.Jaw, fdi, j.opt.Shape.Arch))
	s := PlanSite{Tooth: fdi, At: j.toPatient(j.shape.arch.point(x, 0, 0))}
	sec, _ := j.SectionAt(s.At)
	s.Implant = j.drawnAxis(sec)
	if j.opt.Given {
		axis := s.Implant
		s.Axis = &axis
	}
	l, err := j.lineAlong(sec, sec.Origin, s.Implant)
	if err != nil {
		l = line{crest: sec.Origin}
	}
	limit := math.Inf(1)
	if h := j.heights(sec, l); len(h) > 0 {
		limit = h[0].Height
	}
	depth := 0.0
	s.Diameter, s.Length, depth = j.safeSize(l, limit)
	s.Platform = r3.Add(l.crest, r3.Scale(depth, s.Implant))
	return s
}

// What a careful plan keeps clear of, mm: the margins of the literature (docs/method.md 5) and what a
// measurement of marked structures leaves open.
const (
	besideImplant = 1.5 + 0.15 // of bone on either side
	overLimit     = 2.0 + 1.0  // above the canal, or whatever the height ends at
	deepest       = 4.0        // of a platform below the crest
)

// safeSize returns the size that a careful plan would take, mm, and how deep below the crest its platform
// stands: the longest of the sizes, the wider one first, that has its bone beside it over the whole length.
// Where none has, the smallest stands 2 mm deep.
func (j *Jaw) safeSize(l line, limit float64) (diameter, length, depth float64) {
	for _, length := range []float64{12, 10, 8, 6} {
		for _, d := range []float64{4, 3.5} {
			for depth := 0.5; depth <= deepest && depth+length+overLimit <= limit; depth += 0.25 {
				if j.beside(l, depth, length, d/2+besideImplant) {
					return d, length, depth
				}
			}
		}
	}
	return 3.5, 6, 2
}

// beside reports whether the bone reaches so far (mm) to both sides of the line between two depths.
func (j *Jaw) beside(l line, depth, length, far float64) bool {
	for h := depth; h <= depth+length; h += 0.5 {
		a, b, err := j.Chord(r3.Add(l.crest, r3.Scale(h, l.axis)), l.side, across)
		if err != nil || -a < far || b < far {
			return false
		}
	}
	return true
}

// sideName names the two sides of what the shape has one of on each.
var sideName = [2]string{"left", "right"}

// markStructures lists canals, foramina and roots where the shape has them.
func (j *Jaw) markStructures() {
	add := func(name, kind string, t tube) {
		var path []r3.Vec
		for _, p := range t.path {
			path = append(path, j.toPatient(p))
		}
		j.plan.Structures = append(j.plan.Structures, PlanStructure{name, kind, path, t.radius, 0.3})
	}
	if j.opt.Jaw == Mandible {
		for i, side := range sideName {
			add(side+" canal", "canal", j.shape.canal[i])
			add(side+" mental foramen", "mental_foramen", j.shape.exit[i])
			if loop := j.shape.loop[i]; len(loop.path) > 0 {
				add(side+" anterior loop", "anterior_loop", loop)
			}
		}
	} else {
		add("incisive canal", "incisive_canal", j.shape.front)
	}
	for _, t := range j.shape.teeth {
		for i, root := range t.roots {
			name := fmt.Sprintf("root %d", t.fdi)
			if len(t.roots) > 1 {
				name += [2]string{"a", "b"}[i]
			}
			add(name, "root", root)
		}
	}
}

// Write writes the plan as YAML.
func (p Plan) Write(w io.Writer) error {
	b := bufio.NewWriter(w)
	put := func(format string, args ...any) { fmt.Fprintf(b, format+"\n", args...) }
	put("# Synthetic: invented anatomy.")
	put("format: 1\ncase: %s\njaw: %v\ncoordinates: patient", p.Case, p.Jaw)
	put("orientation_note: \"synthetic jaw: its occlusal plane is horizontal by construction\"")
	put("arch:\n  points:")
	for _, a := range p.Arch {
		put("    - %s", triple(a))
	}
	put("sites:")
	for _, s := range p.Sites {
		put("  - tooth: \"%d\"\n    at: %s", s.Tooth, triple(s.At))
		if s.Axis != nil {
			put("    axis: %s", triple(*s.Axis))
		}
		put("    wanted_width_mm: 6\n    implant:")
		put("      platform: %s\n      axis: %s", triple(s.Platform), triple(s.Implant))
		put("      diameter_mm: %g\n      length_mm: %g", s.Diameter, s.Length)
		put("    sizes:\n      diameters_mm: [3.5, 4.0, 4.5]\n      lengths_mm: [8, 10, 12]")
	}
	looped := slices.ContainsFunc(p.Structures, func(s PlanStructure) bool { return s.Kind == "anterior_loop" })
	if p.Jaw == Mandible && !looped {
		put("declared:\n  - {kind: anterior_loop, side: both, as: absent, by: \"drawn without one\"}")
	}
	if len(p.Structures) > 0 {
		put("structures:")
	}
	for _, s := range p.Structures {
		put("  - name: %s\n    kind: %s\n    path:", s.Name, s.Kind)
		for _, a := range s.Path {
			put("      - %s", triple(a))
		}
		put("    %s\n    sd_mm: %g", radii(s.Radius), s.SD)
	}
	put("scan:\n  scale_half_width: 0")
	return b.Flush()
}

// triple writes a point with seven decimals: rounding moves nothing by more than 1e-7 mm.
func triple(p r3.Vec) string { return fmt.Sprintf("[%.7f, %.7f, %.7f]", p.X, p.Y, p.Z) }

func radii(r []float64) string {
	even := true
	list := ""
	for i, v := range r {
		even = even && v == r[0]
		if i > 0 {
			list += ", "
		}
		list += fmt.Sprintf("%g", v)
	}
	if even {
		return fmt.Sprintf("radius_mm: %g", r[0])
	}
	return fmt.Sprintf("radii_mm: [%s]", list)
}
