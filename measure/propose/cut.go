package propose

import (
	"math"
	"slices"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// cut is a section of the arch in the making.
type cut struct {
	frame   reformat.Frame
	outline *ridge.Outline
	column  []ridgeLevel // from the lowest up, 1 mm apart
	crest   float64      // v of the bone's crest, mm; NaN: not seen
	tooth   bool         // enamel or metal stands over the crest
}

// ridgeLevel is the ridge at one height of a section.
type ridgeLevel struct {
	v, middle, width float64 // mm; the width +Inf where the field cuts the bone
	bright           bool
}

const (
	columnUp   = 30  // mm over the curve
	columnDown = 25  // mm under it
	fieldEnds  = 2.0 // mm beside an outline within which the field's end is what closed it: two voxels and more
	neck       = 2.0 // mm from the enamel's end to the bone's crest
	crownUnder = 6   // mm of a tooth's top that may look like bone
	mostCrown  = 14  // mm of height
)

// look traces the bone and follows the ridge's middle up and down.
func (k *cut) look(v *volume.Volume, t ridge.ImageModel) {
	k.crest = math.NaN()
	f := reformat.NewField(v, k.frame)
	o, err := ridge.Trace(f, t)
	if err != nil {
		return
	}
	k.outline = o
	down, _ := k.climb(f, denser(t), reformat.UV{}, -1, columnDown)
	start := reformat.UV{V: 1}
	if len(down) > 0 {
		start.U = down[0].middle
	}
	up, free := k.climb(f, denser(t), start, 1, columnUp)
	slices.Reverse(down)
	k.column = append(down, up...)
	if len(k.column) == 0 {
		return
	}
	if free {
		k.crest = k.column[len(k.column)-1].v
	}
	if low, ok := k.crown(); ok {
		k.crest, k.tooth = low-neck, true
	}
}

// crown returns the lower end, v in mm, of what is denser than bone at the top of the ridge; false where there is
// nothing, or more than a crown.
func (k *cut) crown() (low float64, ok bool) {
	top := len(k.column) - 1
	i := top
	for i > max(0, top-crownUnder) && !k.column[i].bright {
		i--
	}
	from := i
	for i > 0 && (k.column[i-1].bright || i > 1 && k.column[i-2].bright) {
		i--
	}
	return k.column[i].v, k.column[from].bright && from-i <= mostCrown
}

// climb follows the ridge's middle from p on, sign mm a step; free reports whether the bone ends there.
func (k *cut) climb(f reformat.Field, teeth float64, p reformat.UV, sign float64, most int) (out []ridgeLevel, free bool) {
	for range most {
		low, high := k.outline.Near(p, reformat.UV{U: 1})
		if math.IsNaN(low) {
			return out, !math.IsNaN(f.Grey(p, 0))
		}
		if high-low > widestRidge {
			return out, false
		}
		r := ridgeLevel{v: p.V, middle: p.U + (low+high)/2, width: high - low}
		for _, side := range [4]float64{low - fieldEnds, low - fieldEnds/2, high + fieldEnds/2, high + fieldEnds} {
			if math.IsNaN(f.Grey(reformat.UV{U: p.U + side, V: p.V}, 0)) {
				r.width = math.Inf(1) // the field ends, and not the bone
			}
		}
		for d := -2.0; d <= 2; d += 2 { // not at the sides, where coarse voxels make plates as bright as teeth beside what they teach of cortex
			r.bright = r.bright || f.Grey(reformat.UV{U: r.middle + d, V: p.V}, 0) > teeth
		}
		out = append(out, r)
		p.U += math.Max(-1.5, math.Min(1.5, r.middle-p.U))
		p.V += sign
	}
	return out, false
}

// at returns the ridgeLevel nearest to height v; false where the ridge is not seen within 1.5 mm of it.
func (k *cut) at(v float64) (ridgeLevel, bool) {
	for _, r := range k.column {
		if math.Abs(r.v-v) <= 1.5 && (math.Abs(r.v-v) <= 0.5 || v < k.column[0].v || v > k.column[len(k.column)-1].v) {
			return r, r.width >= 2 && r.width <= widestRidge
		}
	}
	return ridgeLevel{}, false
}
