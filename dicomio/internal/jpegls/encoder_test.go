package jpegls

import "encoding/binary"

// encoder writes the streams that the installed tools cannot: restart intervals, any presets and precision, any error.
// It follows T.87 annex A step by step with the recommendation's own names, and shares no code with the decoder.
type encoder struct {
	columns, rows, precision, near int
	maxval, t1, t2, t3, reset      int
	restart                        int // lines
	presets                        bool

	rng, qbpp, limit int
	a, b, c, n       [367]int
	nn               [367]int
	runIndex         int
	w                bitWriter
	out              [][]int // reconstructed
	top              int     // first line of the interval
}

// encode returns the stream, and the samples that a decoder must give.
func (e *encoder) encode(pixels []uint16) (stream []byte, rebuilt []uint16) {
	s := []byte{0xFF, 0xD8, 0xFF, 0xF7, 0, 11, byte(e.precision), byte(e.rows >> 8), byte(e.rows), byte(e.columns >> 8), byte(e.columns),
		1, 7, 0x11, 0}
	if e.presets {
		s = append(s, 0xFF, 0xF8, 0, 13, 1)
		for _, v := range []int{e.maxval, e.t1, e.t2, e.t3, e.reset} {
			s = binary.BigEndian.AppendUint16(s, uint16(v))
		}
	}
	if e.restart > 0 {
		s = append(s, 0xFF, 0xDD, 0, 5, 0, byte(e.restart>>8), byte(e.restart))
	}
	s = append(s, 0xFF, 0xDA, 0, 8, 1, 7, 0, byte(e.near), 0, 0)
	e.w = bitWriter{out: s}
	e.out = make([][]int, e.rows)
	for y := range e.rows {
		e.out[y] = make([]int, e.columns)
		if y == 0 || e.restart > 0 && y%e.restart == 0 {
			if y > 0 {
				e.w.flush()
				e.w.out = append(e.w.out, 0xFF, 0xD0+byte(y/e.restart-1)%8)
			}
			e.initialise()
			e.top = y
		}
		e.line(y, pixels[y*e.columns:][:e.columns])
	}
	e.w.flush()
	for _, line := range e.out {
		for _, v := range line {
			rebuilt = append(rebuilt, uint16(v))
		}
	}
	return append(e.w.out, 0xFF, 0xD9), rebuilt
}

// initialise is A.2.1.
func (e *encoder) initialise() {
	e.rng = (e.maxval+2*e.near)/(2*e.near+1) + 1
	e.qbpp = log2ceil(e.rng)
	bpp := max(2, log2ceil(e.maxval+1))
	e.limit = 2 * (bpp + max(8, bpp))
	for q := range e.a {
		e.a[q], e.b[q], e.c[q], e.n[q], e.nn[q] = max(2, (e.rng+32)/64), 0, 0, 1, 0
	}
	e.runIndex = 0
}

func log2ceil(v int) (n int) {
	for 1<<n < v {
		n++
	}
	return n
}

// neighbours is A.2.2, with the edges of the image and of the interval.
func (e *encoder) neighbours(x, y int) (ra, rb, rc, rd int) {
	at := func(x, y int) int {
		if y < e.top {
			return 0
		}
		return e.out[y][x]
	}
	rb = at(x, y-1)
	rd = at(min(x+1, e.columns-1), y-1)
	if x == 0 {
		return rb, rb, at(0, y-2), rd
	}
	return at(x-1, y), rb, at(x-1, y-1), rd
}

func (e *encoder) line(y int, pixels []uint16) {
	for x := 0; x < e.columns; x++ {
		ra, rb, rc, rd := e.neighbours(x, y)
		d1, d2, d3 := rd-rb, rb-rc, rc-ra
		if abs(d1) <= e.near && abs(d2) <= e.near && abs(d3) <= e.near {
			x = e.run(x, y, pixels) - 1
			continue
		}
		e.out[y][x] = e.regular(int(pixels[x]), ra, rb, rc, 81*e.quantize(d1)+9*e.quantize(d2)+e.quantize(d3))
	}
}

func abs(v int) int { return max(v, -v) }

// quantize is A.3.3.
func (e *encoder) quantize(d int) int {
	sign := 1
	if d < 0 {
		sign, d = -1, -d
	}
	switch {
	case d >= e.t3:
		return 4 * sign
	case d >= e.t2:
		return 3 * sign
	case d >= e.t1:
		return 2 * sign
	case d > e.near:
		return sign
	}
	return 0
}

// regular is A.4 to A.6.
func (e *encoder) regular(ix, ra, rb, rc, q int) int {
	sign := 1
	if q < 0 {
		sign, q = -1, -q
	}
	px := ra + rb - rc
	if rc >= max(ra, rb) {
		px = min(ra, rb)
	} else if rc <= min(ra, rb) {
		px = max(ra, rb)
	}
	px = min(max(px+sign*e.c[q], 0), e.maxval)
	err := e.quantizeError(sign * (ix - px))
	rx := min(max(px+sign*err*(2*e.near+1), 0), e.maxval)
	err = e.modulo(err)
	k := 0
	for e.n[q]<<k < e.a[q] {
		k++
	}
	var m int
	if special := e.near == 0 && k == 0 && 2*e.b[q] <= -e.n[q]; special && err >= 0 {
		m = 2*err + 1
	} else if special {
		m = -2 * (err + 1)
	} else if err >= 0 {
		m = 2 * err
	} else {
		m = -2*err - 1
	}
	e.golomb(m, k, e.limit)
	e.b[q] += err * (2*e.near + 1)
	e.a[q] += abs(err)
	if e.n[q] == e.reset {
		e.a[q] >>= 1
		e.n[q] >>= 1
		if e.b[q] >= 0 {
			e.b[q] >>= 1
		} else {
			e.b[q] = -((1 - e.b[q]) >> 1)
		}
	}
	e.n[q]++
	if e.b[q] <= -e.n[q] {
		e.b[q] += e.n[q]
		e.c[q] = max(e.c[q]-1, -128)
		if e.b[q] <= -e.n[q] {
			e.b[q] = -e.n[q] + 1
		}
	} else if e.b[q] > 0 {
		e.b[q] -= e.n[q]
		e.c[q] = min(e.c[q]+1, 127)
		if e.b[q] > 0 {
			e.b[q] = 0
		}
	}
	return rx
}

func (e *encoder) quantizeError(err int) int {
	if err > 0 {
		return (err + e.near) / (2*e.near + 1)
	}
	return -((e.near - err) / (2*e.near + 1))
}

// modulo is A.4.5.
func (e *encoder) modulo(err int) int {
	if err < 0 {
		err += e.rng
	}
	if err >= (e.rng+1)/2 {
		err -= e.rng
	}
	return err
}

// golomb is A.5.3.
func (e *encoder) golomb(m, k, limit int) {
	if high := m >> k; high < limit-e.qbpp-1 {
		e.w.put(1, high+1)
		e.w.put(uint64(m&(1<<k-1)), k)
		return
	}
	e.w.put(1, limit-e.qbpp)
	e.w.put(uint64(m-1), e.qbpp)
}

var runOrders = []int{0, 0, 0, 0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4, 4, 5, 5, 6, 6, 7, 7, 8, 9, 10, 11, 12, 13, 14, 15}

// run is A.7; it returns the first column after it.
func (e *encoder) run(x, y int, pixels []uint16) int {
	ra, _, _, _ := e.neighbours(x, y)
	count := 0
	for x < e.columns && abs(int(pixels[x])-ra) <= e.near {
		e.out[y][x] = ra
		x, count = x+1, count+1
	}
	for count >= 1<<runOrders[e.runIndex] {
		e.w.put(1, 1)
		count -= 1 << runOrders[e.runIndex]
		e.runIndex = min(e.runIndex+1, 31)
	}
	if x == e.columns {
		if count > 0 {
			e.w.put(1, 1)
		}
		return x
	}
	e.w.put(0, 1)
	e.w.put(uint64(count), runOrders[e.runIndex])
	ra, rb, _, _ := e.neighbours(x, y)
	e.out[y][x] = e.interrupt(int(pixels[x]), ra, rb)
	e.runIndex = max(e.runIndex-1, 0)
	return x + 1
}

// interrupt is A.7.2.
func (e *encoder) interrupt(ix, ra, rb int) int {
	kind, px, sign := 0, rb, 1
	if abs(ra-rb) <= e.near {
		kind, px = 1, ra
	} else if ra > rb {
		sign = -1
	}
	err := e.quantizeError(sign * (ix - px))
	rx := min(max(px+sign*err*(2*e.near+1), 0), e.maxval)
	err = e.modulo(err)
	q, temp := 365+kind, 0
	if temp = e.a[q]; kind == 1 {
		temp += e.n[q] >> 1
	}
	k := 0
	for e.n[q]<<k < temp {
		k++
	}
	flip := 0
	if k == 0 && err > 0 && 2*e.nn[q] < e.n[q] || err < 0 && 2*e.nn[q] >= e.n[q] || err < 0 && k != 0 {
		flip = 1
	}
	m := 2*abs(err) - kind - flip
	e.golomb(m, k, e.limit-runOrders[e.runIndex]-1)
	if err < 0 {
		e.nn[q]++
	}
	e.a[q] += (m + 1 - kind) >> 1
	if e.n[q] == e.reset {
		e.a[q], e.n[q], e.nn[q] = e.a[q]>>1, e.n[q]>>1, e.nn[q]>>1
	}
	e.n[q]++
	return rx
}

// bitWriter packs bits from the top, seven after a byte of 0xFF. Source: T.87 A.1.
type bitWriter struct {
	out  []byte
	acc  byte
	used int
}

func (w *bitWriter) put(v uint64, n int) {
	for n--; n >= 0; n-- {
		w.acc = w.acc<<1 | byte(v>>n)&1
		w.used++
		if w.used == 8 {
			w.out = append(w.out, w.acc)
			w.used = 0
			if w.acc == 0xFF {
				w.used = 1 // the stuffed zero
			}
			w.acc = 0
		}
	}
}

func (w *bitWriter) flush() {
	for w.used != 0 {
		w.put(0, 1)
	}
}
