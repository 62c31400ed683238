package jpegls

import (
	"encoding/binary"
	"math/bits"
)

// reader reads coded data from the most significant bit, T.87 A.1: the byte after 0xFF has 7 bits, below a zero; with a
// one there, it is a marker and ends the bits. Past the end it reads zeros and n falls below 0.
type reader struct {
	data  []byte
	pos   int    // of the next byte not in acc
	acc   uint64 // the next bit is the top one
	n     int    // bits in acc that are data
	stuff bool   // the byte before pos is 0xFF
}

// refill brings acc to 57 bits or more, if the data have them.
func (r *reader) refill() {
	if r.n >= 0 && !r.stuff && len(r.data)-r.pos >= 8 {
		w := binary.BigEndian.Uint64(r.data[r.pos:])
		if (^w-0x0101010101010101)&w&0x8080808080808080 == 0 { // no byte is 0xFF
			// Bits of w past the whole bytes taken are entered now and again, the same, next time.
			r.acc |= w >> r.n
			whole := (63 - r.n) >> 3
			r.pos += whole
			r.n += whole * 8
			return
		}
	}
	for r.n >= 0 && r.n <= 56 && r.pos < len(r.data) {
		b := r.data[r.pos]
		if b == 0xFF && (r.pos+1 >= len(r.data) || r.data[r.pos+1] >= 0x80) {
			return
		}
		width := 8
		if r.stuff {
			width = 7
		}
		r.acc |= uint64(b) << (64 - width - r.n)
		r.n += width
		r.stuff = b == 0xFF
		r.pos++
	}
}

// skip drops n bits.
func (r *reader) skip(n int) {
	r.acc <<= n
	r.n -= n
}

// read takes n bits, at most 32.
func (r *reader) read(n int) int {
	if r.n < 32 {
		r.refill()
	}
	v := int(r.acc >> 32 >> (32 - n))
	r.skip(n)
	return v
}

// golomb reads a mapped error by the limited Golomb code of parameter k: zeros, a one, k bits; or limit zeros, a one
// and then the value less 1 in qbpp bits. Source: T.87 A.5.3.
func (r *reader) golomb(k, limit, qbpp int) int {
	if r.n < 57 { // limit is at most 55: 16 bits, near 255
		r.refill()
	}
	zeros := bits.LeadingZeros64(r.acc)
	if zeros < limit {
		r.skip(zeros + 1)
		return zeros<<k | r.read(k)
	}
	r.skip(limit + 1)
	return r.read(qbpp) + 1
}
