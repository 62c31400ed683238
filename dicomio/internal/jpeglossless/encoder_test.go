package jpeglossless

import (
	"encoding/binary"
	"math/bits"
)

// encoder writes the streams that the installed tools cannot: any restart interval, point transform, table and precision.
// It follows T.81 annex H in the plainest way, and shares no code with the decoder.
type encoder struct {
	columns, rows, precision int
	selection, pt            int
	restart                  int // rows
	lengths                  [17]int
	order                    [17]byte // categories from the shortest code to the longest
}

// evenTable gives each category a code of 5 bits; stairTable gives them 1, 2, … 16, 16, so that some are beyond a glance.
var (
	evenTable  = [17]int{5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5}
	stairTable = [17]int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 16}
)

func identity() (order [17]byte) {
	for i := range order {
		order[i] = byte(i)
	}
	return order
}

// encode codes pixels whose low pt bits are zero.
func (e encoder) encode(pixels []uint16) []byte {
	out := []byte{0xFF, 0xD8}
	out = append(out, 0xFF, 0xC3, 0, 11, byte(e.precision), byte(e.rows>>8), byte(e.rows), byte(e.columns>>8), byte(e.columns), 1, 9, 0x11, 0)
	out = append(out, 0xFF, 0xC4, 0, 19+17, 0x02)
	var counts [16]byte
	for _, l := range e.lengths {
		counts[l-1]++
	}
	out = append(append(out, counts[:]...), e.order[:]...)
	if e.restart > 0 {
		out = append(out, 0xFF, 0xDD, 0, 4)
		out = binary.BigEndian.AppendUint16(out, uint16(e.restart*e.columns))
	}
	out = append(out, 0xFF, 0xDA, 0, 8, 1, 9, 0x20, byte(e.selection), 0, byte(e.pt))
	out = e.scan(out, pixels)
	return append(out, 0xFF, 0xD9)
}

func (e encoder) codes() (code [17]uint32, length [17]int) {
	next, last := uint32(0), e.lengths[0]
	for i, category := range e.order {
		next <<= e.lengths[i] - last
		last = e.lengths[i]
		code[category], length[category] = next, last
		next++
	}
	return code, length
}

func (e encoder) scan(out []byte, pixels []uint16) []byte {
	code, length := e.codes()
	w := bitWriter{out: out}
	at := func(x, y int) int { return int(pixels[y*e.columns+x] >> e.pt) }
	for y := range e.rows {
		first := y == 0
		if e.restart > 0 && y > 0 && y%e.restart == 0 {
			w.flush()
			w.out = append(w.out, 0xFF, 0xD0+byte(y/e.restart-1)%8)
			first = true
		}
		for x := range e.columns {
			d := uint16(at(x, y) - e.predict(at, x, y, first))
			category, extra := classify(d)
			w.put(code[category], length[category])
			if category < 16 {
				w.put(extra, category)
			}
		}
	}
	w.flush()
	return w.out
}

// predict is table H.1 with its edges.
func (e encoder) predict(at func(x, y int) int, x, y int, first bool) int {
	switch {
	case first && x == 0:
		return 1 << (e.precision - e.pt - 1)
	case first:
		return at(x-1, y)
	case x == 0:
		return at(x, y-1)
	}
	a, b, c := at(x-1, y), at(x, y-1), at(x-1, y-1)
	half := func(v int) int { return (v - v&1) / 2 } // rounds down
	return [8]int{0, a, b, c, a + b - c, a + half(b-c), b + half(a-c), half(a + b)}[e.selection]
}

// classify splits a difference modulo 2^16 into its category and extra bits.
func classify(d uint16) (category int, extra uint32) {
	if d == 0x8000 {
		return 16, 0
	}
	v := int(int16(d))
	if v >= 0 {
		return bits.Len(uint(v)), uint32(v)
	}
	n := bits.Len(uint(-v))
	return n, uint32(v + 1<<n - 1)
}

// bitWriter packs bits from the top, and stuffs a zero byte after 0xFF.
type bitWriter struct {
	out []byte
	acc uint64
	n   int
}

func (w *bitWriter) put(v uint32, n int) {
	w.acc, w.n = w.acc<<n|uint64(v), w.n+n
	for w.n >= 8 {
		b := byte(w.acc >> (w.n - 8))
		w.out = append(w.out, b)
		if b == 0xFF {
			w.out = append(w.out, 0)
		}
		w.n -= 8
	}
}

// flush fills the last byte with ones.
func (w *bitWriter) flush() {
	if w.n > 0 {
		w.put(1<<(8-w.n)-1, 8-w.n)
	}
}
