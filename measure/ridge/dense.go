package ridge

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/reformat"
)

// ErrBody says that what was taken for the crest is the top of something denser than bone.
var ErrBody = errors.New("the crest is not bone")

// Body is something denser than cortical bone that stands in the section.
type Body struct {
	Middle   reformat.UV // section mm
	Low, Top float64     // its extent in v, mm
	Area     float64     // mm²
}

// What counts as a body. Our choices: dentine and enamel are brighter than cortical bone by a fifth
// of its step and more, and no root is thinner than 2 mm where it stands in the jaw.
const (
	denser    = 0.15 // of the step from soft tissue to cortex, above cortex
	leastBody = 3.0  // mm²
	bodyReach = 1.5  // mm from the bone
	bodyAside = 8.0  // mm from the axis: what is farther belongs to the palate or the other wall
)

// Bodies returns what stands in the section of f within or on the bone, is denser than the series'
// cortical bone and wanted; nil where the series has not taught what cortical bone is. The bone is outlined only
// where there is something to be held against it.
func Bodies(f reformat.Field, t Tissue, wanted func(Body) bool) []Body {
	parts := slices.DeleteFunc(denseParts(search(f), t), func(p densePart) bool { return !wanted(p.Body) })
	if len(parts) == 0 {
		return nil
	}
	o, err := Trace(f, t)
	if err != nil {
		return nil
	}
	return o.holding(parts)
}

// Bodies is [Bodies] in the outline's own section, without looking at it again.
func (o *Outline) Bodies(wanted func(Body) bool) []Body {
	return o.holding(slices.DeleteFunc(denseParts(o.seen, o.tissue), func(p densePart) bool { return !wanted(p.Body) }))
}

// densePart is a connected part of a section's raster that is denser than cortical bone.
type densePart struct {
	Body
	pixels mask
}

// denseParts returns those of a section, as large as a body is.
func denseParts(s reformat.Section, t Tissue) (parts []densePart) {
	if !t.known() {
		return nil
	}
	level := t.Cortex + denser*(t.Cortex-t.Soft)
	m := pixelsOf(s, func(g float32) bool { return float64(g) > level }).opened(0.5 / s.Step) // without threads under 1 mm wide
	left := m
	for i := range m.all() {
		if !left.has(i) {
			continue
		}
		part := left.flood([]int{i})
		left = left.without(part)
		if b := bodyOf(s, part); b.Area >= leastBody {
			parts = append(parts, densePart{b, part})
		}
	}
	return parts
}

// holding returns the bodies of those parts that lie in the bone or within bodyReach of it.
func (o *Outline) holding(parts []densePart) (bodies []Body) {
	for _, p := range parts {
		if o.touches(o.seen, p.pixels) {
			bodies = append(bodies, p.Body)
		}
	}
	return bodies
}

// bodyOf measures a connected set of pixels.
func bodyOf(s reformat.Section, part mask) Body {
	b := Body{Low: math.Inf(1), Top: math.Inf(-1)}
	n := float64(part.count())
	for i := range part.all() {
		p := s.Place(float64(i%part.w), float64(i/part.w))
		b.Middle = add(b.Middle, scale(1/n, p))
		b.Low, b.Top = math.Min(b.Low, p.V), math.Max(b.Top, p.V)
	}
	b.Area = n * s.Step * s.Step
	return b
}

// touches reports whether a part of the section lies in the bone or within bodyReach of it.
func (o *Outline) touches(s reformat.Section, part mask) bool {
	for i := range part.all() {
		p := s.Place(float64(i%part.w), float64(i/part.w))
		if o.Inside(p) {
			return true
		}
		for _, q := range o.Points {
			if norm(sub(p, q)) < bodyReach {
				return true
			}
		}
	}
	return false
}

// crestIsBone returns [ErrBody] (wrapped) where a body reaches up to the crest on the axis.
func (o *Ridge) crestIsBone(a Axis) error {
	for _, b := range o.bodies(a) {
		if b.holds(a) {
			return fmt.Errorf("%w: something denser than cortical bone reaches up to it at (%.1f, %.1f) mm (a tooth, an implant or metal); give the alveolar crest beside it as crest: in the plan", ErrBody, a.Crest.U, a.Crest.V)
		}
	}
	return nil
}

// holds reports whether the crest of a lies on top of the body: no more than 1 mm of anything else
// above it, and no farther than its width beside it.
func (b Body) holds(a Axis) bool {
	half := b.Area / math.Max(1, b.Top-b.Low) / 2
	return a.Crest.V < b.Top+1 && a.Crest.V > b.Low && math.Abs(b.Middle.U-a.Crest.U) < half+1+math.Abs(a.Dir.U)*(a.Crest.V-b.Middle.V)
}

// redraw draws the outline again where the coarse pass took a crown, an implant or metal for the
// bone: where what bounded it is as bright as cortical bone, half-way to bone bounds it instead.
func (o *Outline) redraw() {
	t := o.tissue
	if !t.known() || o.level < t.Soft+0.85*(t.Cortex-t.Soft) {
		return
	}
	c := newCoarse(o.seen)
	old, best := *o, -1.0
	var filled mask
	o.level = t.Soft + 0.5*(t.Cortex-t.Soft)
	for _, r := range gaps {
		if m, share := c.boneAt(o.level, r/c.Step); share > best {
			filled, best = m, share
		}
	}
	if best < 0 || o.outline(o.seen, filled) != nil {
		*o = old
	}
}

// bodies returns the section's own [Bodies], looked for once, without what stands beside the ridge of axis a.
func (o *Ridge) bodies(a Axis) (near []Body) {
	for _, b := range o.dense() {
		if math.Abs(dot(sub(b.Middle, a.Crest), a.Side())) < bodyAside {
			near = append(near, b)
		}
	}
	return near
}

// A hole in the crest that is told of: as wide as the narrowest root and deeper than a crest is
// uneven, and between two rims: walls of bone no thicker than widestRim, of which the lower one ends at most
// lowRim below the bone's top. What lies between a ridge and the palate, or runs out of the field, is no
// hole in the crest. Our choice: half a wide ridge, and half of a short root.
const (
	leastHole  = 1.5 // mm wide
	deepEnough = 2.5 // mm
	widestRim  = 8.0 // mm
	lowRim     = 5.0 // mm
)

// Socket returns the width and depth, in mm, of a hole that is open at the crest, as an extraction
// leaves it; false where there is none.
func (o *Outline) Socket(a Axis) (width, depth float64, ok bool) {
	top := 0.0
	for _, p := range o.Points {
		top = math.Min(top, dot(sub(p, a.Crest), a.Dir))
	}
	const step = 0.25 // mm; a hole's depth is told to the millimetre
	from := math.NaN()
	for d := top + step; d < 15; d += step {
		gap := o.holeAt(a, d)
		switch {
		case gap >= leastHole && from != from && d > top+lowRim:
			return 0, 0, false
		case gap >= leastHole:
			if from != from {
				from = d
			}
			width, depth = math.Max(width, gap), d-from
		case from == from:
			return width, depth, depth >= deepEnough
		}
	}
	return width, depth, depth >= deepEnough
}

// holeAt returns the width of the widest gap between two rims near the axis at depth mm, in mm; 0 for none.
func (o *Outline) holeAt(a Axis, depth float64) (gap float64) {
	h := o.hits(a.At(depth), a.Side())
	rim := func(i int) bool { return h[i+1].s-h[i].s <= widestRim && !h[i].cut && !h[i+1].cut }
	for i := 0; i+3 < len(h); i += 2 {
		near := math.Min(math.Abs(h[i+1].s), math.Abs(h[i+2].s)) < 4
		if near && rim(i) && rim(i+2) {
			gap = math.Max(gap, h[i+2].s-h[i+1].s)
		}
	}
	return gap
}

// noAxis adds to the reason why there is no axis what may be behind it.
func (o *Outline) noAxis(err error) error {
	top := o.Points[0]
	for _, p := range o.Points {
		if p.V > top.V {
			top = p
		}
	}
	if width, depth, ok := o.Socket(Axis{Crest: reformat.UV{V: top.V}, Dir: down}); ok {
		return fmt.Errorf("%w; a hole about %.1f mm wide and %.0f mm deep is open at the crest, as of an unhealed socket: give the crest as crest: in the plan", err, width, depth)
	}
	return err
}

// Notes returns what stands in the section and what disturbs it, for the reader of the site's
// numbers; a is its axis.
func (o *Ridge) Notes(a Axis) []string {
	out := o.Cautions()
	for _, b := range o.bodies(a) {
		out = append(out, fmt.Sprintf("something denser than cortical bone stands in the section near (%.1f, %.1f) mm, %.0f mm²: tooth, implant or metal; it is not bone", b.Middle.U, b.Middle.V, b.Area))
	}
	if width, depth, ok := o.Socket(a); ok {
		out = append(out, fmt.Sprintf("a hole about %.1f mm wide and %.0f mm deep is open at the crest, as of an unhealed socket: check where the crest was taken, or give it as crest: in the plan", width, depth))
	}
	return out
}
