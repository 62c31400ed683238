package ridge

import (
	"math"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// Station is what one section of the arch teaches about the series, whatever stands in it: walls
// fitted without knowledge, and the grey values on both sides of the coarse outline. The zero value
// teaches nothing.
type Station struct {
	walls        []*SurfacePatch
	soft, cortex float64  // grey values just outside and just inside the coarse outline, medians
	outline      *Outline // nil: no bone
	axis         Axis
	tried        int                              // of stationWalls
	fitted       [len(stationWalls)]*SurfacePatch // nil: none can be fitted there
	asked        [len(stationWalls)]bool          // the station has a place for it
}

// How a station is looked at: quickly, for there are many, and what they say is put together. A
// coarser raster and fewer voxels a fit make each wall less sure; all together lose nothing. Our
// choice: three times the raster of a site and a tenth of the voxels.
const (
	stationRaster = 0.7 // mm
	besideEdge    = 0.8 // mm from the coarse outline to where its two sides are read; more than its error and a blur
)

var quick = effort{samples: roughSamples}

// stationWalls are the walls that a station tries, until enough tell: at a depth below its top, mm, on one
// side, or at its base. The first lies where ridges are measured. The second is thick in a lower jaw, and
// bone even where a tooth stands on it, which is some 8 mm of crown and 10 to 15 mm of root. Our choice.
var stationWalls = [...]struct {
	depth  float64 // +Inf: the base
	buccal bool
}{{5, true}, {math.Inf(1), false}, {5, false}, {20, false}, {20, true}, {12, true}, {12, false}}

// NewStation reads what the section of f teaches. A section without bone, or outside the field, teaches
// nothing.
func NewStation(f reformat.Field) (st Station) {
	least, _ := f.Voxel()
	s := f.Section(searchMin, searchMax, math.Max(stationRaster, least))
	filled, level, ok := bone(newCoarse(s), ImageModel{}.leastBone())
	if !ok {
		return st
	}
	o := &Outline{field: f, level: level, seen: s}
	if o.draw(s, filled) != nil {
		return st
	}
	st.outline = o
	st.soft, st.cortex = o.sides()
	var err error
	if st.axis, err = o.coarseAxis(down, false); err != nil {
		st.tried = len(stationWalls)
		return st
	}
	for k, at := range stationWalls {
		if p, h, ok := st.place(at.depth, at.buccal); ok {
			st.asked[k] = true
			st.fitted[k] = o.roughWall(p, h)
		}
	}
	st.learn(2)
	return st
}

// learn takes walls until so many tell, or there are no more.
func (st *Station) learn(enough int) {
	for st.telling() < enough && st.tried < len(stationWalls) {
		if w := st.fitted[st.tried]; w != nil {
			st.walls = append(st.walls, w)
		}
		st.tried++
	}
}

// place returns where one of the stationWalls lies, false where the station has none there.
func (st *Station) place(depth float64, buccal bool) (at reformat.UV, h hit, ok bool) {
	o, a := st.outline, st.axis
	if math.IsInf(depth, 1) { // from half a millimetre in the bone
		_, h, ok = o.span(a.At(0.5), a.Dir)
		return add(a.At(0.5), scale(h.s, a.Dir)), h, ok
	}
	low, high, ok := o.span(a.At(depth), a.Side())
	if buccal {
		low = high
	}
	return add(a.At(depth), scale(low.s, a.Side())), low, ok && depth < 0.8*o.reach(a) // above where the outline turns under the ridge; our choice
}

// telling returns how many of the station's walls tell blur from cortex.
func (st *Station) telling() (n int) {
	for _, w := range st.walls {
		if w.tells() {
			n++
		}
	}
	return n
}

// roughWall fits the wall where a line met the outline, in one round: how wide and bright its edge is does not
// depend on where in the patch it lies. It returns nil where there is none to be fitted.
func (o *Outline) roughWall(at reformat.UV, h hit) *SurfacePatch {
	if h.cut {
		return nil
	}
	s := fitScale(o.field)
	w, err := fitOnce(o.field, at, h.in, o.depthFrom(at, h.in), s, ImageModel{}, quick)
	if err != nil || math.Abs(w.p[pE]) > farOff*s {
		return nil
	}
	w.lags = w.residualLags(gridLags(o.field))
	w.fit, w.seen = layerFit{}, nil
	return w
}

// sides returns the medians of the grey values just outside and just inside the outline.
func (o *Outline) sides() (outside, inside float64) {
	var out, in []float64
	for i, p := range o.Points {
		if o.Cut[i] {
			continue
		}
		n := scale(besideEdge, o.outward(i))
		if g := o.field.Grey(add(p, n), 0); g == g {
			out = append(out, g)
		}
		if g := o.field.Grey(sub(p, n), 0); g == g {
			in = append(in, g)
		}
	}
	return fit.Median(out), fit.Median(in)
}
