package measure

import (
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// sections are the coarse outlines of the bone along the arch, found where somebody asks: what a point of
// the patient is held against to know whether it lies in bone. They are good to some tenths of a
// millimetre and no number is measured on them.
type sections struct {
	frames []reformat.Frame
	made   []func() *ridge.Outline // nil outline: no bone was found there
}

// sectionStep is the distance between two outlines along the arch, mm: none is farther from a point than
// half of it.
const sectionStep = 2.0

func newSections(v *volume.Volume, curve *reformat.Curve, t ridge.Tissue) *sections {
	n := int(math.Ceil(curve.Length() / sectionStep))
	s := &sections{}
	for i := range n + 1 {
		f := curve.Frame(curve.Length() * float64(i) / float64(n))
		s.frames = append(s.frames, f)
		s.made = append(s.made, sync.OnceValue(func() *ridge.Outline {
			o, err := ridge.Trace(reformat.NewField(v, f), t)
			if err != nil {
				return nil
			}
			return o
		}))
	}
	return s
}

// near returns the section that a point belongs to: the plane it is nearest to, on its side of the jaw; ok
// is false for a point past the ends of the arch or far beside it.
func (s *sections) near(p r3.Vec) (i int, at reformat.UV, ok bool) {
	best := math.Inf(1)
	for k, f := range s.frames {
		uv, t := f.Section(p)
		if off := math.Abs(t); off < best && math.Abs(uv.U) <= besideArch {
			best, i, at = off, k, uv
		}
	}
	return i, at, best <= 0.6*sectionStep
}

// besideArch is how far beside the arch curve a point still belongs to this side of the jaw, mm: the other
// side's bone begins past it. Our choice.
const besideArch = 20.0

// depth returns how deep a point lies below the bone's outer edge in its section, mm, negative outside the
// bone; NaN where there is no section, no bone, or the field ends first.
func (s *sections) depth(p r3.Vec) float64 {
	i, at, ok := s.near(p)
	if !ok {
		return math.NaN()
	}
	o := s.made[i]()
	if o == nil {
		return math.NaN()
	}
	return depthIn(o, at)
}

// bridged returns the depth of a point below the bone's outer edge, mm, negative outside, as the section shows it that
// shows it deeper of the two about it: an outline that fails in one, at an opening of the bone, says nothing.
// NaN as [sections.depth].
func (s *sections) bridged(p r3.Vec) float64 {
	d := s.depth(p)
	if !(d < 0) {
		return d
	}
	return slices.Max(append(s.depths(p, sectionStep), d))
}

// opening is how far along the arch sections are asked for the bone's surface where a canal opens through it, mm: the
// opening may make the outlines of two of them, [sectionStep] apart, run into the canal. Our choice; a foramen is 1.0 to
// 4.2 mm high (see plan.leastRadius).
const opening = 5.0

// bridgedOpening is [sections.bridged] by the section that shows the point second deepest within reach of an opening.
func (s *sections) bridgedOpening(p r3.Vec) float64 {
	d := s.depth(p)
	if !(d < 0) {
		return d
	}
	all := s.depths(p, opening)
	slices.Sort(all)
	return math.Max(d, all[max(0, len(all)-2)])
}

// surfaceAway returns how far a point lies from the bone's outer edge in its section, mm, as two of the sections about it
// say at least: what one alone says may be an outline that fails. +Inf where none shows bone.
func (s *sections) surfaceAway(p r3.Vec) float64 {
	away := s.depths(p, opening)
	if len(away) == 0 {
		return math.Inf(1)
	}
	for i, d := range away {
		away[i] = math.Abs(d)
	}
	slices.Sort(away)
	return away[min(1, len(away)-1)]
}

// depths returns the depth of a point in each section within reach mm of it along the arch that shows bone and its edge.
func (s *sections) depths(p r3.Vec, reach float64) (all []float64) {
	for k, f := range s.frames {
		uv, t := f.Section(p)
		if math.Abs(t) > reach || math.Abs(uv.U) > besideArch || s.made[k]() == nil {
			continue
		}
		if d := depthIn(s.made[k](), uv); !math.IsNaN(d) {
			all = append(all, d)
		}
	}
	return all
}

// depthIn returns the distance of a section point from the outline, mm, positive inside; NaN where the
// nearest edge is the field's and no bone's, and the point lies outside.
func depthIn(o *ridge.Outline, p reformat.UV) float64 {
	square, near, cut := math.Inf(1), reformat.UV{}, false
	for i, a := range o.Points {
		j := i + 1
		if j == len(o.Points) {
			j = 0
		}
		if d := toSegment(p, a, o.Points[j]); dotUV(d, d) < square {
			square, near, cut = dotUV(d, d), d, o.Cut[i] && o.Cut[j]
		}
	}
	best := math.Hypot(near.U, near.V)
	if o.Inside(p) {
		return best
	}
	if cut {
		return math.NaN()
	}
	return -best
}

// toSegment returns the way to p from the nearest point of the segment a–b, mm.
func toSegment(p, a, b reformat.UV) reformat.UV {
	d := reformat.UV{U: b.U - a.U, V: b.V - a.V}
	l2 := dotUV(d, d)
	x := 0.0
	if l2 > 0 {
		x = math.Max(0, math.Min(1, dotUV(reformat.UV{U: p.U - a.U, V: p.V - a.V}, d)/l2))
	}
	return reformat.UV{U: p.U - a.U - x*d.U, V: p.V - a.V - x*d.V}
}

// toEdge returns how far the outline lies from an inner point in a direction of the section, mm: the
// farthest edge on that ray; NaN where the ray leaves through the field's end, or meets no edge.
func toEdge(o *ridge.Outline, p, dir reformat.UV) float64 {
	far := math.NaN()
	for i, a := range o.Points {
		j := (i + 1) % len(o.Points)
		b := o.Points[j]
		x, ok := crossing(p, dir, a, b)
		if !ok || x <= far {
			continue
		}
		if far = x; o.Cut[i] && o.Cut[j] {
			far = math.NaN()
			return far
		}
	}
	return far
}

// crossing returns how far along the ray p + x·dir it meets the segment a–b.
func crossing(p, dir, a, b reformat.UV) (x float64, ok bool) {
	e := reformat.UV{U: b.U - a.U, V: b.V - a.V}
	det := dir.U*e.V - dir.V*e.U
	if math.Abs(det) < 1e-12 {
		return 0, false
	}
	w := reformat.UV{U: a.U - p.U, V: a.V - p.V}
	x = (w.U*e.V - w.V*e.U) / det
	y := (w.U*dir.V - w.V*dir.U) / det
	return x, x > 0 && y >= 0 && y < 1
}
