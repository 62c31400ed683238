package ridge

import (
	"iter"
	"math"
	"math/bits"

	"ridgerule/measure/reformat"
)

// mask is a set of pixels of a section raster, a bit each. A pixel's number is its place row by row.
type mask struct {
	w, h  int
	words int      // of a row; bits past w are 0
	bits  []uint64 // words·h
}

func newMask(w, h int) mask {
	words := (w + 63) / 64
	return mask{w, h, words, make([]uint64, words*h)}
}

// pixelsOf returns the pixels of a section whose grey value is wanted.
func pixelsOf(s reformat.Section, wanted func(g float32) bool) mask {
	m := newMask(s.Width, s.Height)
	for y := range m.h {
		row := m.row(y)
		for x, g := range s.Grey[y*m.w : (y+1)*m.w] {
			if wanted(g) {
				row[x>>6] |= 1 << (x & 63)
			}
		}
	}
	return m
}

func (m mask) row(y int) []uint64 { return m.bits[y*m.words : (y+1)*m.words] }

func (m mask) has(i int) bool { return m.row(i / m.w)[i%m.w>>6]>>(i%m.w&63)&1 == 1 }

func (m mask) put(i int) { m.row(i / m.w)[i%m.w>>6] |= 1 << (i % m.w & 63) }

// all yields the pixels of the set in ascending order.
func (m mask) all() iter.Seq[int] {
	return func(yield func(int) bool) {
		for k, word := range m.bits {
			for first := k/m.words*m.w + k%m.words*64; word != 0; word &= word - 1 {
				if !yield(first + bits.TrailingZeros64(word)) {
					return
				}
			}
		}
	}
}

// without returns the pixels of m that are not in o.
func (m mask) without(o mask) mask {
	out := newMask(m.w, m.h)
	for k := range out.bits {
		out.bits[k] = m.bits[k] &^ o.bits[k]
	}
	return out
}

// others returns the pixels that are not in m.
func (m mask) others() mask {
	out := newMask(m.w, m.h)
	for k := range out.bits {
		out.bits[k] = ^m.bits[k]
		if k%m.words == m.words-1 && m.w&63 != 0 {
			out.bits[k] &= 1<<(m.w&63) - 1
		}
	}
	return out
}

// spread returns the pixels within radius r of one of the set: its dilation.
func (m mask) spread(r float64) mask {
	out, n := newMask(m.w, m.h), int(math.Sqrt(r*r+rounding))
	wide, last := make([]uint64, m.words), ^uint64(0)
	if m.w&63 != 0 {
		last = 1<<(m.w&63) - 1
	}
	for y := range m.h {
		copy(wide, m.row(y))
		if none(wide) {
			continue
		}
		for by, at := n, 0; by >= 0; by-- { // the farther a row, the less of it
			for half := int(math.Sqrt(r*r + rounding - float64(by*by))); at < half; at++ {
				widen(wide)
				wide[m.words-1] &= last
			}
			for _, j := range [2]int{y - by, y + by} {
				if j >= 0 && j < m.h {
					for k, word := range wide {
						out.bits[j*m.words+k] |= word
					}
				}
			}
		}
	}
	return out
}

func none(row []uint64) bool {
	for _, word := range row {
		if word != 0 {
			return false
		}
	}
	return true
}

// widen adds to a row the neighbours on both sides of its pixels.
func widen(row []uint64) {
	before := uint64(0)
	for k, word := range row {
		after := uint64(0)
		if k+1 < len(row) {
			after = row[k+1]
		}
		row[k] = word | word<<1 | before>>63 | word>>1 | after<<63
		before = word
	}
}

// closed returns the set with gaps up to 2·r pixels wide bridged.
func (m mask) closed(r float64) mask {
	if r < 1-rounding {
		return m
	}
	return m.spread(r).eroded(r)
}

// opened returns the set without parts narrower than 2·r pixels.
func (m mask) opened(r float64) mask {
	if r < 1-rounding {
		return m
	}
	return m.eroded(r).spread(r)
}

func (m mask) eroded(r float64) mask { return m.others().spread(r).others() }

// flood returns the pixels of m that are connected (4-neighbours) to the seeds through pixels of m.
func (m mask) flood(seeds []int) mask {
	out := newMask(m.w, m.h)
	for _, i := range seeds {
		if m.has(i) {
			out.put(i)
		}
	}
	for y := range m.h {
		m.along(out, y)
	}
	for changed := true; changed; { // down the rows and up again, until nothing is new
		changed = false
		for y := 1; y < m.h; y++ {
			changed = m.onto(out, y-1, y) || changed
		}
		for y := m.h - 2; y >= 0; y-- {
			changed = m.onto(out, y+1, y) || changed
		}
	}
	return out
}

// onto floods row to from the row beside it; it reports whether a pixel came to it.
func (m mask) onto(out mask, from, to int) (changed bool) {
	for k, word := range out.row(from) {
		if fresh := word & m.row(to)[k] &^ out.row(to)[k]; fresh != 0 {
			out.row(to)[k] |= fresh
			changed = true
		}
	}
	if changed {
		m.along(out, to)
	}
	return changed
}

// along floods a row from its own pixels: a carry runs up each stretch of m, and halving steps run down it.
func (m mask) along(out mask, y int) {
	room, row, carry := m.row(y), out.row(y), uint64(0)
	for k, word := range row {
		var sum uint64
		sum, carry = bits.Add64(room[k], word, carry)
		row[k] = room[k]&^sum | word
	}
	before := uint64(0)
	for k := len(row) - 1; k >= 0; k-- {
		word, free := row[k]|before<<63&room[k], room[k]
		for by := 1; by < 64; by *= 2 {
			word |= free & (word >> by)
			free &= free >> by
		}
		row[k], before = word, word&1
	}
}

// count returns the number of pixels in the set.
func (m mask) count() int {
	n := 0
	for _, word := range m.bits {
		n += bits.OnesCount64(word)
	}
	return n
}

// nearest returns the pixel of the set nearest to (x, y) and its distance in pixels; −1 when the
// set is empty.
func (m mask) nearest(x, y float64) (at int, distance float64) {
	at, distance = -1, math.Inf(1)
	for i := range m.all() {
		dx, dy := float64(i%m.w)-x, float64(i/m.w)-y
		if d := dx*dx + dy*dy; d < distance {
			at, distance = i, d
		}
	}
	return at, math.Sqrt(distance)
}

// box returns the columns and rows that hold the set, the last ones excluded; empty: all 0.
func (m mask) box() (x0, y0, x1, y1 int) {
	for i := range m.all() {
		x, y := i%m.w, i/m.w
		if x1 == 0 {
			x0, y0 = x, y
		}
		x0, x1, y1 = min(x0, x), max(x1, x+1), y+1
	}
	return x0, y0, x1, y1
}
