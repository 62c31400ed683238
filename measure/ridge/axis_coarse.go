package ridge

import (
	"fmt"
	"iter"
	"math"

	"ridgerule/measure/reformat"
)

// The axis on the outline alone: where the fine one begins.

// coarseAxis iterates on the outline alone.
func (o *Outline) coarseAxis(dir reformat.UV, keep bool) (Axis, error) {
	q, ok := o.entry(dir)
	if !ok {
		return Axis{}, fmt.Errorf("%w: no bone below the site", ErrNoRidge)
	}
	a := Axis{Dir: dir}
	for range 25 {
		h, err := o.top(q, a.Dir)
		if err != nil {
			return a, err
		}
		a.Crest = add(q, scale(h.s, a.Dir))
		mids := o.coarseMids(a)
		if len(mids) == 0 && h.cut {
			return a, errCutCrest
		}
		if len(mids) == 0 {
			return a, fmt.Errorf("%w: no width within %.0f mm of the crest", ErrNoRidge, axisLast)
		}
		next, at := lineThrough(mids, a.Dir, keep)
		turn := math.Abs(cross(next, a.Dir))
		a.Dir, q, a.Points = next, at, len(mids)
		if turn < 1e-6 { // radians: no number shows it
			break
		}
	}
	h, err := o.top(q, a.Dir)
	if err != nil {
		return a, err
	}
	if h.cut {
		return a, errCutCrest
	}
	a.Crest = add(q, scale(h.s, a.Dir))
	return a, nil
}

// errCutCrest says that a ridge has no crest to measure from.
var errCutCrest = fmt.Errorf("%w: the field ends before its crest does", ErrNoRidge)

// entry returns a point of the bone to begin from: at the site if it lies inside, else where the
// bone is nearest, a little inward.
func (o *Outline) entry(dir reformat.UV) (reformat.UV, bool) {
	if o.Inside(reformat.UV{}) {
		return reformat.UV{}, true
	}
	best, at := math.Inf(1), 0
	for i, p := range o.Points {
		if d := norm(p); d < best {
			best, at = d, i
		}
	}
	for depth := 0.3; depth < 4; depth += 0.3 { // mm, as far apart as the outline's points; any inner point will do
		q := sub(o.Points[at], scale(depth, o.outward(at)))
		if o.Inside(q) {
			return q, true
		}
	}
	return reformat.UV{}, false
}

// coarseMids returns the mid-points of the outline's chords at 1…8 mm.
func (o *Outline) coarseMids(a Axis) []reformat.UV {
	var mids []reformat.UV
	for d, s := range o.across(a) {
		mids = append(mids, add(a.At(d), scale((s[0].s+s[1].s)/2, a.Side())))
	}
	return mids
}

// across yields the outline's widths that carry the axis, by their depth: at 1…8 mm, down to the base,
// to the field's end or to where the axis no longer runs through the bone.
func (o *Outline) across(a Axis) iter.Seq2[float64, [2]hit] {
	return func(yield func(float64, [2]hit) bool) {
		for d, low := axisFirst, o.base(a)-axisSpare; d <= axisLast && d < low; d++ {
			x, y, ok := o.span(a.At(d), a.Side())
			if !ok || x.cut || y.cut || x.s > 0 || y.s < 0 || !yield(d, [2]hit{x, y}) {
				return
			}
		}
	}
}

// base returns where the axis leaves the outline at the base of the jaw, mm below the crest; 0
// where it meets no bone.
func (o *Outline) base(a Axis) float64 {
	const in = 0.5 // mm below the crest, surely in the bone: the outline's error is some tenths
	_, b, ok := o.span(a.At(in), a.Dir)
	if !ok {
		return 0
	}
	return b.s + in
}

// reach returns how far the bone goes along the axis from the crest, in mm: to the base, or to
// the floor of an air-filled cavity before it.
func (o *Outline) reach(a Axis) float64 {
	far := o.base(a)
	if air, ok := o.lumen(a, far); ok {
		if floor, ok := o.floorAbove(a, air); ok {
			return floor
		}
		return air
	}
	return far
}

// lineThrough returns the direction and a point of the least-squares line through mids, measured
// across dir, or through their mean along dir when keep is set or there is only one.
func lineThrough(mids []reformat.UV, dir reformat.UV, keep bool) (reformat.UV, reformat.UV) {
	mean := mean(mids)
	if keep || len(mids) < 2 {
		return dir, mean
	}
	side := left(dir)
	var sxx, sxy float64
	for _, m := range mids {
		x, y := dot(sub(m, mean), dir), dot(sub(m, mean), side)
		sxx += x * x
		sxy += x * y
	}
	return unit(add(dir, scale(sxy/sxx, side))), mean
}
