package reformat

// Contour is one zero line of a raster.
type Contour struct {
	Points [][2]float64 // column and row, pixels; each once
	Closed bool         // the last point is joined to the first; else the line ends at the raster's rim
}

// Contours returns the lines on which value is zero, in pixels; value is w columns wide, row by row, and its first one stands
// at column left and row top. Along a line positive values lie on its right where rows run downward. Values that are not known
// (NaN) count as negative.
//
// Method: marching squares with linear interpolation; a saddle is decided by the mean of its corners.
func Contours(value []float64, w, left, top int) []Contour {
	r := raster{w, left, top, value}
	next := r.links()
	before := make([]int32, len(next))
	for i := range before {
		before[i] = -1
	}
	for i, k := range next {
		if k >= 0 {
			before[k] = int32(i)
		}
	}
	var out []Contour
	for i := range next {
		if next[i] < 0 {
			continue
		}
		first := int32(i)
		for before[first] >= 0 && before[first] != int32(i) {
			first = before[first]
		}
		c := Contour{Closed: before[first] >= 0}
		if c.Closed {
			first = int32(i)
		}
		k := first
		for {
			c.Points = append(c.Points, r.spot(k))
			after := next[k]
			next[k] = -1
			if after < 0 || after == first {
				break
			}
			k = after
		}
		out = append(out, c)
	}
	return out
}

// raster numbers its edges: twice the number of the pixel at the edge's left or upper end, plus one where it runs down.
type raster struct {
	w         int
	left, top int       // of the first value
	value     []float64 // row by row
}

// links returns for every edge that the zero line crosses the one it crosses next, −1 for the others.
func (r raster) links() []int32 {
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
func (r raster) spot(k int32) [2]float64 {
	i := int(k / 2)
	x, y, a := float64(r.left+i%r.w), float64(r.top+i/r.w), r.value[i]
	if k%2 == 0 {
		return [2]float64{x + a/(a-r.value[i+1]), y}
	}
	return [2]float64{x, y + a/(a-r.value[i+r.w])}
}
