package ridge

import (
	"math"

	"ridgerule/measure/reformat"
)

// contour returns the longest closed zero line of value over the pixels x0 ≤ x < x1, y0 ≤ y < y1, in pixels,
// counter-clockwise with y up (positive values on its left when y points down the raster). value
// is taken as −1 beyond them. Marching squares with linear interpolation; a saddle is
// decided by the mean of its corners.
func contour(x0, y0, x1, y1 int, value func(x, y int) float64) [][2]float64 {
	r := newRimmed(x0, y0, x1, y1, value)
	next := r.links()
	var longest []int32
	for start := range next {
		var line []int32
		for k := int32(start); next[k] >= 0; {
			line = append(line, k)
			k, next[k] = next[k], -1
		}
		if len(line) > len(longest) {
			longest = line
		}
	}
	out := make([][2]float64, len(longest))
	for i, k := range longest {
		out[i] = r.spot(k)
	}
	return out
}

// rimmed is a raster with a rim of −1 one pixel wide. An edge of its grid is twice the number of the
// pixel at its left or upper end, plus one where it runs down.
type rimmed struct {
	x0, y0 int       // the first pixel within the rim
	w      int       // with the rim
	value  []float64 // row by row
}

func newRimmed(x0, y0, x1, y1 int, value func(x, y int) float64) rimmed {
	w := x1 - x0 + 2
	r := rimmed{x0, y0, w, make([]float64, w*(y1-y0+2))}
	for i := range r.value {
		r.value[i] = -1
	}
	for y := y0; y < y1; y++ {
		for x := x0; x < x1; x++ {
			r.value[(y-y0+1)*w+x-x0+1] = value(x, y)
		}
	}
	return r
}

// links returns for every edge that the zero line crosses the one it crosses next, −1 for the others.
func (r rimmed) links() []int32 {
	next := make([]int32, 2*len(r.value))
	for i := range next {
		next[i] = -1
	}
	for i := 0; i+r.w+1 < len(r.value); i++ {
		if (i+1)%r.w == 0 {
			continue
		}
		c := [4]float64{r.value[i], r.value[i+1], r.value[i+1+r.w], r.value[i+r.w]}
		edges := [4]int32{int32(2 * i), int32(2*i + 3), int32(2 * (i + r.w)), int32(2*i + 1)} // top, right, bottom, left
		var out, in [2]int32                                                                  // walking clockwise on the raster, the line leaves where positive turns negative
		n, m := 0, 0
		for e := range 4 {
			switch a, b := c[e] > 0, c[(e+1)%4] > 0; {
			case a && !b:
				out[n] = edges[e]
				n++
			case !a && b:
				in[m] = edges[e]
				m++
			}
		}
		switch n {
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
	return next
}

// spot returns where the zero line crosses an edge, in pixels.
func (r rimmed) spot(k int32) [2]float64 {
	i := int(k / 2)
	x, y, a := float64(r.x0+i%r.w-1), float64(r.y0+i/r.w-1), r.value[i]
	if k%2 == 0 {
		return [2]float64{x + a/(a-r.value[i+1]), y}
	}
	return [2]float64{x, y + a/(a-r.value[i+r.w])}
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
