package measure

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/solid"
)

// PlannedTooth is a planned tooth as it is drawn over the arch and on the panoramic: its outlines, closed, from points of
// its surface.
type PlannedTooth struct {
	Tooth string   `json:"tooth,omitempty"` // ISO 3950; empty: the plan names none
	Above []r3.Vec `json:"above_mm"`        // convex outline as seen along the occlusal direction, patient LPS, mm
	Side  []r3.Vec `json:"side_mm"`         // and as seen from buccal
}

// plannedOutlines returns the outlines of the planned teeth.
func (c *run) plannedOutlines() []PlannedTooth {
	var out []PlannedTooth
	for _, t := range c.teeth {
		seen := map[int]bool{}
		var points []r3.Vec
		var middle r3.Vec
		for _, f := range t.sheet.Triangles {
			for _, k := range f {
				if !seen[k] {
					seen[k] = true
					points, middle = append(points, t.sheet.Points[k]), r3.Add(middle, t.sheet.Points[k])
				}
			}
		}
		arc, _ := c.curve.Project(r3.Scale(1/float64(len(points)), middle))
		o := c.plan.Occlusal
		along := c.curve.Tangent(arc)
		along = r3.Unit(r3.Sub(along, r3.Scale(r3.Dot(along, o), o)))
		if low, high := spans(t.sheet, along, o); high[0]-low[0] > widestTooth {
			continue // several teeth in one piece: the outline of all would be none of theirs
		}
		out = append(out, PlannedTooth{t.name, hull(points, along, r3.Cross(o, along)), hull(points, along, o)})
	}
	return out
}

// hull returns the points on the convex hull of all as seen in the plane of two unit vectors, in order round it, the first
// again at the end.
//
// Source: Andrew AM. Inf Process Lett 1979;9:216–219 (from memory).
func hull(points []r3.Vec, u, v r3.Vec) []r3.Vec {
	if len(points) == 0 {
		return nil
	}
	type flat struct {
		x, y float64
		p    r3.Vec
	}
	all := make([]flat, len(points))
	for i, p := range points {
		all[i] = flat{r3.Dot(p, u), r3.Dot(p, v), p}
	}
	slices.SortFunc(all, func(a, b flat) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	turn := func(a, b, c flat) float64 { return (b.x-a.x)*(c.y-a.y) - (b.y-a.y)*(c.x-a.x) }
	half := func(list []flat) []flat {
		var out []flat
		for _, p := range list {
			for len(out) > 1 && turn(out[len(out)-2], out[len(out)-1], p) <= 0 {
				out = out[:len(out)-1]
			}
			out = append(out, p)
		}
		return out
	}
	lower := half(all)
	slices.Reverse(all)
	var out []r3.Vec
	for _, p := range append(lower, half(all)[1:]...) {
		out = append(out, p.p)
	}
	return out
}

// nearCut returns the lines along which the section cuts a planned tooth, as far as they lie by the site.
func nearCut(f reformat.Frame, s *solid.Sheet) [][]reformat.UV {
	const reach = 15.0 // mm on either side of the arch: a section shows no more
	var out [][]reformat.UV
	for _, line := range f.Cut(s.Points, s.Triangles) {
		for _, p := range line {
			if math.Abs(p.U) <= reach {
				out = append(out, line)
				break
			}
		}
	}
	return out
}
