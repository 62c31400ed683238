package ridge

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// Outline is the outer edge of the bone at a site, in its section, to a tenth of a millimetre or so. It says where the bone
// lies; no number is measured on it: see [Outline.Fit]. It does not change once made, and many may ask it at once.
type Outline struct {
	Points []reformat.UV // closed, counter-clockwise, about 0.3 mm apart; the first is not repeated
	Cut    []bool        // one a point: the field ends here, not the bone

	field reformat.Field
	model ImageModel
	pace  float64          // points that at least lie on a mm of the outline; 0: not known
	level float64          // grey value that bounded the bone in the coarse pass
	seen  reformat.Section // the raster of the coarse pass
}

// Trace finds the outline of the bone that contains the site (the section's origin), or lies
// nearest to it. t is what the series has taught, see [EstimateImage]; its zero value is allowed.
//
// It returns [ErrNoRidge] (wrapped) where the section shows no bone within 9 mm of the site.
func Trace(f reformat.Field, t ImageModel) (*Outline, error) {
	s := search(f)
	filled, level, ok := bone(newCoarse(s), t.leastBone())
	if !ok {
		return nil, fmt.Errorf("%w: nothing bounded and brighter than its surroundings within %.0f mm of it", ErrNoRidge, farthest)
	}
	o := &Outline{field: f, level: level, seen: s}
	if err := o.outline(s, filled); err != nil {
		return nil, err
	}
	o.model = t
	o.redraw()
	return o, nil
}

// outline draws the outline of the filled pixels and sharpens it.
func (o *Outline) outline(s reformat.Section, filled mask) error {
	if err := o.draw(s, filled); err != nil {
		return err
	}
	o.sharpen()
	o.pace = 1 / o.longest()
	return nil
}

// besideLevel is how far on its side of the bounding level a filled pixel is held at least, and any other
// at most, as a share of the section's range of grey values: marrow, canals and bridged gaps inside are
// inside. The outline runs that close to such a pixel's middle; sharpening moves it off. Our choice.
const besideLevel = 4e-4

// draw makes the outline of the filled pixels.
func (o *Outline) draw(s reformat.Section, filled mask) error {
	low, high := extent(s)
	unit := besideLevel * float64(high-low)
	x0, y0, x1, y1 := filled.box() // with the pixels around it, all that the line runs through
	line := contour(max(0, x0-1), max(0, y0-1), min(s.Width, x1+1), min(s.Height, y1+1), func(x, y int) float64 {
		i := y*s.Width + x
		g := (float64(s.Grey[i]) - o.level) / unit
		switch {
		case filled.has(i):
			return math.Max(g, 1)
		case g != g:
			return -1
		}
		return math.Min(g, -1)
	})
	uv := make([]reformat.UV, len(line))
	for i, p := range line {
		uv[i] = s.Place(p[0], p[1])
	}
	o.Points = evenly(uv, 0.3) // mm: about a voxel
	if len(o.Points) < 8 {
		return fmt.Errorf("%w: what is there is smaller than any ridge", ErrNoRidge)
	}
	o.markCut(s)
	o.pace = 1 / o.longest()
	return nil
}

// search resamples what the coarse pass looks at: the section, averaged over three planes where
// voxels are fine enough that noise matters more than shape.
func search(f reformat.Field) reformat.Section {
	least, most := f.Voxel()
	step := math.Max(0.25, least)
	if most > 0.5 { // mm: the next plane would be another layer of voxels
		return f.Slab(searchMin, searchMax, step, 0)
	}
	return f.Slab(searchMin, searchMax, step, -0.35, 0, 0.35) // mm, about a voxel apart: a ridge is the same in all three
}

// markCut marks the points next to the end of the field.
func (o *Outline) markCut(s reformat.Section) {
	o.Cut = make([]bool, len(o.Points))
	for n, p := range o.Points {
		x, y := s.Pixel(p)
		for dy := -2; dy <= 2; dy++ {
			for dx := -2; dx <= 2; dx++ {
				i, j := int(math.Round(x))+dx, int(math.Round(y))+dy
				if i < 0 || j < 0 || i >= s.Width || j >= s.Height || s.Grey[j*s.Width+i] != s.Grey[j*s.Width+i] {
					o.Cut[n] = true
				}
			}
		}
	}
}

// outward returns the outward unit normal of the polygon at point i, from its neighbours three
// points to each side.
func (o *Outline) outward(i int) reformat.UV {
	n := len(o.Points)
	along := sub(o.Points[(i+3)%n], o.Points[(i+n-3)%n])
	return scale(-1, left(unit(along)))
}

// sharpen moves every point along its normal to half-way between the plateaus on its two sides,
// read off a short mean profile. Points without a clear edge stay.
//
// Half-way, not a fixed grey value: grey values drift across a cone-beam field. The reaches in it, mm, are our choice: about
// the coarse outline's error, and past a blurred edge's two ends. They move the outline, and no fitted edge.
func (o *Outline) sharpen() {
	least, most := o.field.Voxel()
	s := fitScale(o.field)
	width := math.Min(0.35*s, most)
	n := len(o.Points)
	shift := make([]float64, n)
	for i, p := range o.Points {
		if o.Cut[i] {
			continue
		}
		in := scale(-1, o.outward(i))
		step := math.Max(0.1, least/2)
		prof := profile{low: -1.5 * s, step: step, grey: make([]float64, int(3.2*s/step+rounding))}
		for b := range prof.grey {
			q := add(p, scale(prof.at(b), in))
			prof.grey[b] = (o.field.Grey(q, -width) + o.field.Grey(q, 0) + o.field.Grey(q, width)) / 3
		}
		edge := prof.steepest(-0.9*s, 0.9*s)
		if edge < 0 {
			continue
		}
		peak, foot := prof.climb(edge, +1, 1.5*s), prof.descend(edge, -1, 1.2*s)
		if m := prof.crossing(edge, (prof.grey[peak]+prof.grey[foot])/2); math.Abs(m) < 1.0*s {
			shift[i] = m
		}
	}
	moved := make([]reformat.UV, n)
	for i, p := range o.Points {
		near := make([]float64, 0, 5)
		for d := -2; d <= 2; d++ {
			near = append(near, shift[(i+d+n)%n])
		}
		moved[i] = sub(p, scale(fit.Median(near), o.outward(i)))
	}
	o.Points = moved
}

// hit is where a line meets the outline: s along the line, the inward normal there, and whether the
// field ends there and not the bone.
type hit struct {
	s   float64
	in  reformat.UV
	cut bool
}

// hits returns the crossings of the line p + s·d with the outline, ascending in s.
func (o *Outline) hits(p, d reformat.UV) []hit {
	var found []hit
	o.crossed(p, d, func(i, next int, f, s float64) {
		in := unit(add(scale(1-f, o.outward(i)), scale(f, o.outward(next))))
		found = append(found, hit{s, scale(-1, in), o.Cut[i] || o.Cut[next]})
	})
	slices.SortFunc(found, func(a, b hit) int { return cmp.Compare(a.s, b.s) })
	return found
}

// crossed calls do for every edge (i, next) of the outline that the line p + s·d crosses, with the
// share f of the edge and the place s on the line. d is a unit vector.
//
// A point h mm off the line is followed by h·pace points on the same side of it, which need no look.
func (o *Outline) crossed(p, d reformat.UV, do func(i, next int, f, s float64)) {
	n := len(o.Points)
	before := cross(d, sub(o.Points[n-1], p))
	for next := 0; next < n; next++ {
		q := o.Points[next]
		after := cross(d, sub(q, p))
		if (before > 0) != (after > 0) {
			i, f := (next+n-1)%n, before/(before-after)
			at := add(o.Points[i], scale(f, sub(q, o.Points[i])))
			do(i, next, f, dot(sub(at, p), d))
		}
		if pass := int(math.Abs(after) * o.pace); pass > 2 {
			next = max(next, min(next+pass-2, n-2))
		}
		before = after
	}
}

// longest returns the longest edge of the outline, in mm.
func (o *Outline) longest() (most float64) {
	before := o.Points[len(o.Points)-1]
	for _, p := range o.Points {
		most, before = math.Max(most, norm(sub(p, before))), p
	}
	return most
}

// nearest is how far a stretch of bone may lie from the point it is asked about, mm.
const nearest = 3.0

// span returns the stretch of the line p + s·d inside the outline that contains s = 0, or lies
// nearest to it within 3 mm.
func (o *Outline) span(p, d reformat.UV) (a, b hit, ok bool) {
	h := o.hits(p, d)
	best := nearest
	for i := 0; i+1 < len(h); i += 2 {
		away := math.Max(0, math.Max(h[i].s, -h[i+1].s))
		if away < best {
			a, b, ok, best = h[i], h[i+1], true, away
		}
	}
	return a, b, ok
}

// depthFrom returns how far the bone goes from its surface at p along the inward direction, in mm.
func (o *Outline) depthFrom(p, in reformat.UV) float64 {
	for _, h := range o.hits(p, in) {
		if h.s > 0.7 { // the surface itself lies within the outline's error of p
			return h.s
		}
	}
	return math.Inf(1)
}

// Inside reports whether p lies inside the outline.
func (o *Outline) Inside(p reformat.UV) bool {
	in := false
	for _, h := range o.hits(p, reformat.UV{U: 1}) {
		if h.s > 0 {
			in = !in
		}
	}
	return in
}
