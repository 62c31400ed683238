package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// toothDots is how the outline of a planned tooth is drawn, mm of paper.
var toothDots = []float64{0.35, 0.6}

// mucosaDashes is how the planned mucosa is, mm of paper.
var mucosaDashes = []float64{1.5, 0.7}

// plannedTeeth draws where the section cuts the planned teeth and the implant's axis from its platform to the highest of
// them, and names them: the name last, so that no line runs through it.
func (v *sectionView) plannedTeeth() {
	for _, line := range v.site.Mucosa {
		v.onPicture(v.spots(line), false, 0.3, mucosaDashes...)
	}
	var middle spot
	seen, top := 0.0, math.Inf(-1)
	for _, line := range v.site.Restoration {
		v.onPicture(v.spots(line), false, 0.35, toothDots...)
		for _, p := range line {
			if v.inside(p) {
				q := v.spot(p)
				middle, seen, top = spot{middle.X + q.X, middle.Y + q.Y}, seen+1, math.Max(top, p.V)
			}
		}
	}
	if seen == 0 {
		return
	}
	v.plannedAxis(top)
	v.namePicture(spot{middle.X / seen, middle.Y/seen + 0.8}, "planned tooth", middleOf, tiny)
}

// plannedAxis draws the implant's axis, if there is an implant, from its platform up to a height of the section, mm.
func (v *sectionView) plannedAxis(top float64) {
	b := v.site.Implant
	if b == nil {
		return
	}
	from, _ := v.site.Frame.Section(b.Platform)
	to, _ := v.site.Frame.Section(r3.Add(b.Platform, r3.Scale(-1, b.Axis)))
	if rise := to.V - from.V; rise > 0.1 && top > from.V { // an axis across the section has no place at the tooth
		to.U, to.V = from.U+(to.U-from.U)*(top-from.V)/rise, top
		v.onPicture(v.spots([]reformat.UV{from, to}), false, 0.22, 2, 0.6)
	}
}

// plannedTeeth draws the planned teeth's outlines over the arch.
func (v *planView) plannedTeeth() {
	for _, t := range v.result.Arch.Planned {
		if len(t.Above) < 2 || len(finite(t.Above)) < len(t.Above) {
			continue
		}
		points := each(t.Above, v.spot)
		v.line(stroke{Points: points, Width: 0.3, Ink: soft, Dash: toothDots})
		v.soft = append(v.soft, points...)
	}
}
