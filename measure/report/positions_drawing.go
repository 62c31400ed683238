package report

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
)

// gapLong is how long the longest gap is drawn, mm of paper, at most: longer runs into its neighbours.
const gapLong = 14.0

// gapSheetWords say what the picture shows; how many times larger than life the gaps are drawn stands in it.
const gapSheetWords = "The second set's platforms seen along their mean axis, from outside the bone, at their places in the arch; from each a line to where the " +
	"first set's platform lies by the best fit, drawn as many times larger than life as the picture says. Beside it the distance and the height, mm."

// gapTimes returns how many times larger than life the gaps (mm) are drawn: the largest of 1, 2, 5, 10 … 1,000 that keeps
// the longest within gapLong.
func gapTimes(longest float64) float64 {
	times := 1.0
	for _, k := range []float64{2, 5, 10, 20, 50, 100, 200, 500, 1000} {
		if k*longest <= gapLong {
			times = k
		}
	}
	return times
}

// gapSheet draws the gaps of the best fit across the mean axis; nil where there is none.
func gapSheet(c *align.Comparison) *sheet {
	f := &c.Fits[0]
	if f.Reason != "" {
		return nil
	}
	var mean r3.Vec
	for i := range f.Gaps {
		mean = r3.Add(mean, f.Gaps[i].Other)
	}
	if r3.Norm(mean) < 1e-6 {
		return nil
	}
	const room, margin, most = 120.0, 22.0, 2.0
	places := placesOf(c)
	x, y := arms(r3.Unit(mean), places)
	flat := func(p r3.Vec) spot { return spot{r3.Dot(p, x), r3.Dot(p, y)} }
	low, high, longest := spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}, 0.0
	for i, p := range places {
		q, d := flat(p), flat(f.Gaps[i].D)
		low, high = spot{math.Min(low.X, q.X), math.Min(low.Y, q.Y)}, spot{math.Max(high.X, q.X), math.Max(high.Y, q.Y)}
		longest = math.Max(longest, math.Hypot(d.X, d.Y))
	}
	k, times := math.Min(most, room/math.Max(high.X-low.X, high.Y-low.Y)), gapTimes(longest)
	s := labels{sheet: &sheet{Title: "Gaps of the best fit", About: gapSheetWords, Width: (high.X-low.X)*k + 2*margin, Height: (high.Y-low.Y)*k + 2*margin}}
	ends := make([]spot, len(places))
	for i, p := range places {
		q, d := flat(p), flat(f.Gaps[i].D)
		ends[i] = spot{margin + (q.X-low.X)*k, margin + (q.Y-low.Y)*k}
		tip := spot{ends[i].X - times*d.X, ends[i].Y - times*d.Y}
		s.line(stroke{Points: disc(ends[i], 1), Closed: true, Width: 0.3, Ink: black, Fill: paper})
		s.rule(ends[i], tip, 0.5, petrol)
		s.line(stroke{Points: disc(tip, 0.6), Closed: true, Width: 0.2, Ink: petrol, Fill: petrol})
		for step := range 9 { // closer than a letter is high where the line is as long as gapLong
			s.soft = append(s.soft, between(ends[i], tip, float64(step)/8))
		}
	}
	for i, a := range ends {
		g := &f.Gaps[i]
		text := fmt.Sprintf("%s: %s, height %s", g.Implant, rounded(r3.Norm(g.D), 3), rounded(r3.Dot(g.D, g.Axis), 3))
		s.beside(label{Text: text, Size: 2.8, Ink: black}, []spot{a}, []spot{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}})
	}
	s.fixed(label{At: spot{1, s.Height - 1.5}, Text: "lateral gaps " + plain(times) + " times larger than life", Size: tiny, Ink: soft})
	return s.sheet
}

// placesOf returns the second set's platforms in the order of the names.
func placesOf(c *align.Comparison) []r3.Vec {
	var out []r3.Vec
	for _, n := range c.Names {
		for _, p := range c.Second.Positions {
			if p.Name == n {
				out = append(out, p.At)
			}
		}
	}
	return out
}

// arms returns the paper's axes, across the axis: the first from the first implant to the last, the second down the paper
// so that one looks along the axis.
func arms(axis r3.Vec, places []r3.Vec) (x, y r3.Vec) {
	x = r3.Sub(places[len(places)-1], places[0])
	x = r3.Sub(x, r3.Scale(r3.Dot(x, axis), axis))
	if r3.Norm(x) < 1e-6 {
		x = r3.Cross(axis, r3.Vec{X: axis.Y, Y: axis.Z, Z: axis.X})
	}
	x = r3.Unit(x)
	return x, r3.Cross(axis, x)
}
