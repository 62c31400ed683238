package ridge

import "math"

// mask is a set of pixels of a section raster.
type mask struct {
	w, h int
	in   []bool // w·h, row by row
}

func newMask(w, h int) mask { return mask{w, h, make([]bool, w*h)} }

// disc returns the pixel offsets within radius r (pixels).
func disc(r float64) [][2]int {
	var d [][2]int
	n := int(r + rounding)
	for y := -n; y <= n; y++ {
		for x := -n; x <= n; x++ {
			if float64(x*x+y*y) <= r*r+rounding {
				d = append(d, [2]int{x, y})
			}
		}
	}
	return d
}

// spread returns the pixels within radius r of a pixel whose state is what: a dilation of the set
// (what = true) or, complemented, an erosion.
func (m mask) spread(r float64, what bool) mask {
	out := newMask(m.w, m.h)
	d := disc(r)
	for y := range m.h {
		for x := range m.w {
			if m.in[y*m.w+x] != what || !m.rim(x, y, what) {
				continue
			}
			for _, o := range d {
				if i, j := x+o[0], y+o[1]; i >= 0 && i < m.w && j >= 0 && j < m.h {
					out.in[j*m.w+i] = true
				}
			}
		}
	}
	for i, v := range m.in {
		out.in[i] = out.in[i] || v == what
	}
	return out
}

// rim reports whether a pixel has a neighbour of the other state; only those can spread.
func (m mask) rim(x, y int, what bool) bool {
	i := y*m.w + x
	return x > 0 && m.in[i-1] != what || x < m.w-1 && m.in[i+1] != what ||
		y > 0 && m.in[i-m.w] != what || y < m.h-1 && m.in[i+m.w] != what
}

// closed returns the set with gaps up to 2·r pixels wide bridged.
func (m mask) closed(r float64) mask {
	if r < 1-rounding {
		return m
	}
	return m.spread(r, true).eroded(r)
}

// opened returns the set without parts narrower than 2·r pixels.
func (m mask) opened(r float64) mask {
	if r < 1-rounding {
		return m
	}
	return m.eroded(r).spread(r, true)
}

func (m mask) eroded(r float64) mask {
	out := m.spread(r, false)
	for i, v := range out.in {
		out.in[i] = !v
	}
	return out
}

// flood returns the pixels connected (4-neighbours) to the seeds through pixels where open is true.
func (m mask) flood(seeds []int, open func(i int) bool) mask {
	out := newMask(m.w, m.h)
	queue := seeds[:0:0]
	push := func(i int) {
		if open(i) && !out.in[i] {
			out.in[i] = true
			queue = append(queue, i)
		}
	}
	for _, i := range seeds {
		push(i)
	}
	for len(queue) > 0 {
		i := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		x, y := i%m.w, i/m.w
		if x > 0 {
			push(i - 1)
		}
		if x < m.w-1 {
			push(i + 1)
		}
		if y > 0 {
			push(i - m.w)
		}
		if y < m.h-1 {
			push(i + m.w)
		}
	}
	return out
}

// count returns the number of pixels in the set.
func (m mask) count() int {
	n := 0
	for _, v := range m.in {
		if v {
			n++
		}
	}
	return n
}

// nearest returns the pixel of the set nearest to (x, y) and its distance in pixels; −1 when the
// set is empty.
func (m mask) nearest(x, y float64) (at int, distance float64) {
	at, distance = -1, math.Inf(1)
	for i, v := range m.in {
		if v {
			if d := math.Hypot(float64(i%m.w)-x, float64(i/m.w)-y); d < distance {
				at, distance = i, d
			}
		}
	}
	return at, distance
}
