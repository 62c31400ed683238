package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// contour returns the longest closed zero line of value over a w × h raster, in pixels,
// counter-clockwise with y up (positive values on its left when y points down the raster). value
// is taken as −1 beyond the raster. Marching squares with linear interpolation; a saddle is
// decided by the mean of its corners.
func contour(w, h int, value func(x, y int) float64) [][2]float64 {
	get := func(x, y int) float64 {
		if x < 0 || y < 0 || x >= w || y >= h {
			return -1
		}
		return value(x, y)
	}
	type key struct{ x, y, dir int } // grid edge: from (x, y) to the right (0) or down (1)
	next := map[key]key{}
	spot := func(k key) [2]float64 {
		a := get(k.x, k.y)
		if k.dir == 0 {
			return [2]float64{float64(k.x) + a/(a-get(k.x+1, k.y)), float64(k.y)}
		}
		return [2]float64{float64(k.x), float64(k.y) + a/(a-get(k.x, k.y+1))}
	}
	for y := -1; y < h; y++ {
		for x := -1; x < w; x++ {
			c := [4]float64{get(x, y), get(x+1, y), get(x+1, y+1), get(x, y+1)}
			edges := [4]key{{x, y, 0}, {x + 1, y, 1}, {x, y + 1, 0}, {x, y, 1}} // top, right, bottom, left
			var out, in []key                                                   // walking clockwise on the raster, the line leaves where positive turns negative
			for e := range 4 {
				a, b := c[e] > 0, c[(e+1)%4] > 0
				if a && !b {
					out = append(out, edges[e])
				}
				if !a && b {
					in = append(in, edges[e])
				}
			}
			switch len(out) {
			case 1:
				next[out[0]] = in[0]
			case 2: // a saddle: a joined middle connects each exit with the entry after it
				if joined := c[0]+c[1]+c[2]+c[3] > 0; joined == (c[0] > 0) {
					next[out[0]], next[out[1]] = in[0], in[1]
				} else {
					next[out[0]], next[out[1]] = in[1], in[0]
				}
			}
		}
	}
	var longest [][2]float64
	for len(next) > 0 {
		var start key
		for k := range next {
			start = k
			break
		}
		var line [][2]float64
		for k := start; ; {
			line = append(line, spot(k))
			n, ok := next[k]
			delete(next, k)
			if !ok || n == start {
				break
			}
			k = n
		}
		if len(line) > len(longest) {
			longest = line
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
