package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// contour returns the longest zero line of value over the pixels x0 ≤ x < x1, y0 ≤ y < y1, in pixels, with positive values
// on its right where y points down the raster. value is taken as −1 beyond them, so that the line is closed.
func contour(x0, y0, x1, y1 int, value func(x, y int) float64) [][2]float64 {
	w := x1 - x0 + 2 // with a rim one pixel wide
	rimmed := make([]float64, w*(y1-y0+2))
	for i := range rimmed {
		rimmed[i] = -1
	}
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			rimmed[(y-y0+1)*w+x-x0+1] = value(x, y)
		}
	}
	var longest [][2]float64
	for _, c := range reformat.Contours(rimmed, w, x0-1, y0-1) {
		if len(c.Points) > len(longest) {
			longest = c.Points
		}
	}
	return longest
}

// evenly returns the closed polyline resampled to points about step apart, starting at its point
// of greatest V so that the same line always gives the same points, counter-clockwise in (u, v).
func evenly(line []reformat.UV, step float64) []reformat.UV {
	if len(line) < 3 {
		return nil
	}
	if area(line) < 0 {
		for i, j := 0, len(line)-1; i < j; i, j = i+1, j-1 {
			line[i], line[j] = line[j], line[i]
		}
	}
	top := 0
	for i, p := range line {
		if p.V > line[top].V || p.V == line[top].V && p.U > line[top].U {
			top = i
		}
	}
	line = append(append(append([]reformat.UV{}, line[top:]...), line[:top]...), line[top])
	length := 0.0
	for i := 1; i < len(line); i++ {
		length += norm(sub(line[i], line[i-1]))
	}
	n := max(8, int(length/step))
	out := make([]reformat.UV, 0, n)
	at, done := 1, 0.0
	for i := range n {
		target := length * float64(i) / float64(n)
		for at < len(line)-1 && done+norm(sub(line[at], line[at-1])) < target {
			done += norm(sub(line[at], line[at-1]))
			at++
		}
		d := norm(sub(line[at], line[at-1]))
		f := 0.0
		if d > 0 {
			f = math.Min(1, (target-done)/d)
		}
		out = append(out, add(line[at-1], scale(f, sub(line[at], line[at-1]))))
	}
	return out
}

// area returns the signed area of a closed polygon, in mm², positive counter-clockwise.
func area(p []reformat.UV) float64 {
	sum := 0.0
	for i, a := range p {
		sum += cross(a, p[(i+1)%len(p)])
	}
	return sum / 2
}
