package ridge

import "math"

// mask is a set of pixels of a section raster.
type mask struct {
	w, h int
	in   []bool // w·h, row by row
}

func newMask(w, h int) mask { return mask{w, h, make([]bool, w*h)} }

// spread returns the pixels within radius r of a pixel whose state is what: a dilation of the set
// (what = true) or, complemented, an erosion.
func (m mask) spread(r float64, what bool) mask {
	across := m.w + 1
	begun := make([]int32, across*m.h) // where a stretch of a row begins less where one ends
	n := int(math.Sqrt(r*r + rounding))
	for y := range m.h {
		for x := 0; x < m.w; x++ {
			from := x
			for x < m.w && m.in[y*m.w+x] == what {
				x++
			}
			for j := max(0, y-n); from < x && j <= min(m.h-1, y+n); j++ {
				half := int(math.Sqrt(r*r + rounding - float64((j-y)*(j-y))))
				begun[j*across+max(0, from-half)]++
				begun[j*across+min(m.w, x+half)]--
			}
		}
	}
	out := newMask(m.w, m.h)
	for y := range m.h {
		over := int32(0)
		for x := range m.w {
			over += begun[y*across+x]
			out.in[y*m.w+x] = over > 0
		}
	}
	return out
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

// flood returns the pixels of m that are connected (4-neighbours) to the seeds through pixels of m.
func (m mask) flood(seeds []int) mask {
	out := newMask(m.w, m.h)
	var queue []int
	for _, i := range seeds {
		if m.in[i] && !out.in[i] {
			out.in[i] = true
			queue = append(queue, i)
		}
	}
	for len(queue) > 0 {
		i := queue[len(queue)-1]
		queue = queue[:len(queue)-1]
		x := i % m.w
		for k, next := range [4]int{i - 1, i + 1, i - m.w, i + m.w} {
			beyond := k == 0 && x == 0 || k == 1 && x == m.w-1 || next < 0 || next >= len(m.in)
			if !beyond && m.in[next] && !out.in[next] {
				out.in[next] = true
				queue = append(queue, next)
			}
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
			dx, dy := float64(i%m.w)-x, float64(i/m.w)-y
			if d := dx*dx + dy*dy; d < distance {
				at, distance = i, d
			}
		}
	}
	return at, math.Sqrt(distance)
}
