package measure_test

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
	"ridgerule/measure/safety"
)

// draft is a site plan of the campaign on its way into a file.
type draft struct {
	jaw, scan  *drawnJaw // the jaw it was made for, and the one that is measured
	head       motion    // how the patient lies
	occlusal   bool      // the plan gives the occlusal direction
	arch       []r3.Vec
	midline    *r3.Vec
	sites      []draftSite
	structures []draftStructure
	declared   []string // kinds looked for and absent, on both sides
	named      bool     // the plan names its scan
	scale      float64  // of everything written, 0: 1
	flipped    bool     // the occlusal direction is given the wrong way
	jawWord    string   // the jaw that the plan says, where it is not the right one
}

type draftSite struct {
	tooth, id        string
	at               r3.Vec
	crest            *r3.Vec
	hangs            bool // the plan leaves the platform out
	sizes            bool // sizes are tried
	platform, axis   r3.Vec
	diameter, length float64
}

type draftStructure struct {
	phantom.PlanStructure
	removal bool
	truth   int // index of the true structure; −1: none
}

func (s draftSite) implant() safety.Implant {
	return safety.Implant{Platform: s.platform, Axis: r3.Unit(s.axis), Diameter: s.diameter, Length: s.length}
}

func (s draftStructure) body() safety.Structure {
	return safety.Structure{Name: s.Name, Kind: safety.Kind(s.Kind), Path: s.Path, Radii: s.Radius, SD: s.SD}
}

// newDraft is a plan of the jaw without sites: its arch and its structures as they are.
func newDraft(j *drawnJaw) *draft {
	d := &draft{jaw: j, scan: j, head: still, arch: slices.Clone(j.plan.Arch), declared: []string{"anterior_loop"}}
	for i, s := range j.plan.Structures {
		s.Path, s.Radius = slices.Clone(s.Path), slices.Clone(s.Radius)
		d.structures = append(d.structures, draftStructure{s, false, i})
	}
	for _, s := range j.cavities() {
		s.Path, s.Radius = slices.Clone(s.Path), slices.Clone(s.Radius)
		d.structures = append(d.structures, draftStructure{s, false, -1})
	}
	return d
}

// still is a patient who lies as drawn.
var still = motion{turn: r3.NewRotation(0, r3.Vec{Z: 1})}

// markCavities marks sinus and nasal floor by balls above the floor, every 3 mm along the arch.
func (j *drawnJaw) markCavities() (out []phantom.PlanStructure) {
	const radius, step = 2.0, 3.0
	found := map[string][]r3.Vec{}
	end := 56.0 * j.made.Options().Shape.Arch
	for s := -end; s <= end; s += step {
		p := j.along(s)
		sec, t, err := j.ridgeAt(p)
		if err != nil {
			continue
		}
		down := r3.Scale(-1, sec.Up)
		t, err = j.made.TruthIn(sec, r3.Add(t.Crest, r3.Scale(4, t.Axis)), &down)
		if err != nil {
			continue
		}
		for _, h := range t.Heights {
			name := spacedWords(h.To)
			if h.To == "sinus" {
				name = map[bool]string{true: "left sinus", false: "right sinus"}[p.X > 0]
			}
			found[name] = append(found[name], r3.Add(t.Crest, r3.Scale(h.Height+radius, t.Axis)))
		}
	}
	for name, kind := range map[string]string{"left sinus": "sinus", "right sinus": "sinus", "nasal floor": "nasal_floor"} {
		if path := found[name]; len(path) > 0 {
			out = append(out, phantom.PlanStructure{Name: name, Kind: kind, Path: path, Radius: slices.Repeat([]float64{radius}, len(path)), SD: 0.5})
		}
	}
	slices.SortFunc(out, func(a, b phantom.PlanStructure) int { return strings.Compare(a.Name, b.Name) })
	return out
}

func spacedWords(s string) string { return strings.ReplaceAll(s, "_", " ") }

// along returns the point of the plan's arch s mm from its middle, + to the patient's left.
func (j *drawnJaw) along(s float64) r3.Vec {
	arch := j.plan.Arch
	at, sum := make([]float64, len(arch)), 0.0
	for i := 1; i < len(arch); i++ {
		sum += r3.Norm(r3.Sub(arch[i], arch[i-1]))
		at[i] = sum
	}
	s += sum / 2
	for i := 1; i < len(arch); i++ {
		if s <= at[i] || i == len(arch)-1 {
			p := r3.Add(arch[i-1], r3.Scale((s-at[i-1])/(at[i]-at[i-1]), r3.Sub(arch[i], arch[i-1])))
			sec, _ := j.made.SectionAt(p)
			return sec.Origin
		}
	}
	return arch[0]
}

// siteAt plans an implant along the ridge's own axis at the arch's point nearest to p: its platform at
// the least depth where the ridge is as wide as the implant and both plate margins, its length the
// longest of 6 to 13 mm that leaves spare mm more than the canal's or a floor's margin.
func (j *drawnJaw) siteAt(tooth int, p r3.Vec, spare float64) (draftSite, bool) {
	sec, t, err := j.ridgeAt(p)
	if err != nil || len(t.Widths) < 6 {
		return draftSite{}, false
	}
	s := draftSite{tooth: fmt.Sprint(tooth), at: sec.Origin, axis: t.Axis, diameter: 3.5, length: 13}
	depth := 1.0
	for _, w := range t.Widths[:4] {
		if w.Width < s.diameter+3.6 {
			depth = w.At + 1
		}
	}
	s.platform = r3.Add(t.Crest, r3.Scale(depth, t.Axis))
	for _, h := range t.Heights {
		margin := map[string]float64{"canal": 2}[h.To]
		s.length = min(s.length, math.Floor(h.Height-depth-max(margin, 1)-spare))
	}
	s.length = max(6, s.length)
	return s, true
}

// write writes the plan file.
func (d *draft) write() []byte {
	var b bytes.Buffer
	put := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	scale := d.scale
	if scale == 0 {
		scale = 1
	}
	point := func(p r3.Vec) string {
		p = r3.Scale(scale, d.head.point(p))
		return fmt.Sprintf("[%.5f, %.5f, %.5f]", p.X, p.Y, p.Z)
	}
	direction := func(p r3.Vec) string {
		p = d.head.dir(p)
		return fmt.Sprintf("[%.7f, %.7f, %.7f]", p.X, p.Y, p.Z)
	}
	put("format: 1\ncase: campaign\njaw: %v", cmp.Or(d.jawWord, fmt.Sprint(d.jaw.plan.Jaw)))
	if d.occlusal {
		up := d.jaw.up()
		if d.flipped {
			up = r3.Scale(-1, up)
		}
		put("occlusal: %s", direction(up))
	}
	if d.named {
		put("for: {series: %064d, frame: %064d}", 1, 2)
	}
	put("arch:")
	if d.midline != nil {
		put("  midline: %s", point(*d.midline))
	}
	put("  points:")
	for _, p := range d.arch {
		put("    - %s", point(p))
	}
	put("sites:")
	for _, s := range d.sites {
		put("  - tooth: %q", s.tooth)
		if s.id != "" {
			put("    id: %s", s.id)
		}
		put("    at: %s", point(s.at))
		if s.crest != nil {
			put("    crest: %s", point(*s.crest))
		}
		put("    depths_mm: [3]\n    implant:")
		if !s.hangs {
			put("      platform: %s\n      axis: %s", point(s.platform), direction(s.axis))
		}
		put("      diameter_mm: %g\n      length_mm: %g", s.diameter*scale, s.length*scale)
		if s.sizes {
			put("    sizes: {diameters_mm: [3.5, 4, 4.5], lengths_mm: [6, 8, 10, 12]}")
		}
	}
	if len(d.structures) > 0 {
		put("structures:")
	}
	for _, s := range d.structures {
		put("  - name: %s\n    kind: %s\n    sd_mm: %g\n    path:", s.Name, s.Kind, s.SD*scale)
		for _, p := range s.Path {
			put("      - %s", point(p))
		}
		put("    radii_mm: [%s]", list(s.Radius, scale))
		if s.removal {
			put("    planned_removal: true")
		}
	}
	if len(d.declared) > 0 {
		put("declared:")
	}
	for _, kind := range d.declared {
		put("  - {kind: %s, side: both, as: absent}", kind)
	}
	put("scan: {scale_half_width: 0}")
	return b.Bytes()
}

func list(x []float64, scale float64) string {
	out := ""
	for i, v := range x {
		if i > 0 {
			out += ", "
		}
		out += fmt.Sprintf("%g", v*scale)
	}
	return out
}

// measure reads the plan and measures its scan.
func (d *draft) measure() (*measure.Result, error) {
	p, _, err := plan.Read("plan.yaml", d.write(), nil)
	if err != nil {
		return nil, err
	}
	scan := measure.Scan{SeriesHash: fmt.Sprintf("%064d", 1), FrameHash: fmt.Sprintf("%064d", 2)}
	return measure.RunPlan(context.Background(), d.head.volume(d.scan.v), p, scan, measure.Options{})
}

// trueImplant returns a site's implant, as measured, in the jaw as drawn.
func (d *draft) trueImplant(s measure.SiteResult) (safety.Implant, bool) {
	if s.Implant == nil {
		return safety.Implant{}, false
	}
	im := *s.Implant
	im.Platform, im.Axis = d.head.back(s.Implant.Platform), d.head.backDir(s.Implant.Axis)
	return im, true
}

// back takes a point of the moved patient to where it was drawn; no mirror.
func (m motion) back(p r3.Vec) r3.Vec { return m.backDir(r3.Sub(p, m.shift)) }

func (m motion) backDir(d r3.Vec) r3.Vec {
	q := m.turn
	q.Imag, q.Jmag, q.Kmag = -q.Imag, -q.Jmag, -q.Kmag
	return q.Rotate(d)
}

// scatter moves every marked point by sd mm in each coordinate: half of the variance common to the whole
// structure, half its own.
func (d *draft) scatter(r *rand.Rand, sd float64) {
	by := func(sd float64) r3.Vec {
		return r3.Scale(sd, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
	}
	for i := range d.structures {
		all := by(sd / math.Sqrt2)
		for k, p := range d.structures[i].Path {
			d.structures[i].Path[k] = r3.Add(p, r3.Add(all, by(sd/math.Sqrt2)))
		}
	}
	for i, p := range d.arch {
		e := by(sd)
		d.arch[i] = r3.Add(p, r3.Vec{X: e.X, Y: e.Y})
	}
	for i, s := range d.sites {
		e := by(sd)
		d.sites[i].at = r3.Add(s.at, r3.Vec{X: e.X, Y: e.Y})
	}
}

// nearest returns the least distance between p and a path, mm.
func toPath(p r3.Vec, path []r3.Vec) float64 {
	if len(path) == 0 {
		return math.Inf(1)
	}
	best := r3.Norm(r3.Sub(p, path[0]))
	for i := 1; i < len(path); i++ {
		a, e := path[i-1], r3.Sub(path[i], path[i-1])
		x := 0.0
		if n := r3.Norm2(e); n > 0 {
			x = max(0, min(1, r3.Dot(r3.Sub(p, a), e)/n))
		}
		best = min(best, r3.Norm(r3.Sub(p, r3.Add(a, r3.Scale(x, e)))))
	}
	return best
}
