package propose

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/plan"
)

// PlannedTooth is one tooth of a set-up, in the scan's frame.
type PlannedTooth struct {
	Tooth  string   // ISO 3950; "": not named
	Points []r3.Vec // of its surface, patient, mm
}

// farthestOff is how far the middle of a planned tooth may lie from the arch's curve, mm, seen along the occlusal direction. Our choice: a tooth is
// set up on its ridge or beside it.
const farthestOff = 12.0

// sitesOf proposes a site under each planned tooth, but where a tooth stands in the scan.
func (w *work) sitesOf(teeth []PlannedTooth) {
	for i, t := range teeth {
		name := t.Tooth
		if name == "" {
			name = fmt.Sprint(i + 1)
		}
		arc, why := w.under(t)
		switch {
		case why != "":
			w.none("planned tooth %s: %s", name, why)
			continue
		case w.standing(arc):
			w.none("planned tooth %s: a tooth stands there", name)
			continue
		}
		site := Site{At: w.curve.At(arc), Arc: arc - w.zero(), Tooth: t.Tooth}
		if site.Tooth == "" && w.Midline != nil {
			site.Tooth = tooth(w.Jaw, site.Arc)
		}
		w.Sites = append(w.Sites, site)
	}
	if len(w.Sites) == 0 {
		w.none("sites: no planned tooth has a place without a standing one")
	}
}

// under returns the arc length under the middle of a planned tooth, mm: half-way between its outermost points along the arch there. The text says
// why it has no place.
func (w *work) under(t PlannedTooth) (arc float64, why string) {
	var middle r3.Vec
	for _, p := range t.Points {
		middle = r3.Add(middle, r3.Scale(1/float64(len(t.Points)), p))
	}
	for range 3 { // the arch bends: its direction is asked again at the new place
		arc, _ = w.curve.Project(middle)
		f := w.curve.Frame(arc)
		low, high := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
		for _, p := range t.Points {
			at, along := f.Section(p)
			for k, x := range [2]float64{at.U, along} {
				low[k], high[k] = min(low[k], x), max(high[k], x)
			}
		}
		if wide := high[1] - low[1]; wide > plan.WidestTooth {
			return arc, fmt.Sprintf("its surface is one piece of %.1f mm along the arch, no single tooth: name the teeth or export them as pieces", wide)
		}
		u, along := (low[0]+high[0])/2, (low[1]+high[1])/2
		if off := math.Hypot(u, max(0, math.Abs(along)-1)); off > farthestOff {
			return arc, fmt.Sprintf("it lies %.1f mm from the arch: check its alignment", off)
		}
		middle = r3.Add(f.Origin, r3.Add(r3.Scale(u, f.U), r3.Scale(along, f.T)))
	}
	if arc < endMargin || arc > w.curve.Length()-endMargin {
		return arc, "it lies past the end of the arch that is seen"
	}
	return arc, ""
}
