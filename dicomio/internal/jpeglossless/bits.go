package jpeglossless

import "encoding/binary"

// reader reads entropy-coded data from the most significant bit, T.81 F.2.2.5: a zero byte after 0xFF is stuffing, any
// other is a marker and ends the bits. Past the end it reads zeros and n falls below 0.
type reader struct {
	data []byte
	pos  int    // of the next byte not in acc
	acc  uint64 // the next bit is the top one
	n    int    // bits in acc that are data
}

// refill brings acc to 57 bits or more, if the data have them.
func (r *reader) refill() {
	if r.n >= 0 && len(r.data)-r.pos >= 8 {
		w := binary.BigEndian.Uint64(r.data[r.pos:])
		if !hasFF(w) {
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
		step := 1
		if b == 0xFF {
			if r.pos+1 >= len(r.data) || r.data[r.pos+1] != 0 {
				return
			}
			step = 2
		}
		r.acc |= uint64(b) << (56 - r.n)
		r.n += 8
		r.pos += step
	}
}

// hasFF tells whether any byte of w is 0xFF.
func hasFF(w uint64) bool {
	return (^w-0x0101010101010101)&w&0x8080808080808080 != 0
}

// differences reads one for each sample of row. It returns false at a code that the table does not have; the caller
// asks r.n < 0 to learn whether the data ran out.
func (r *reader) differences(row []uint16, h *table) bool {
	acc, n := r.acc, r.n // in registers, away from r
	for x := range row {
		if n < 32 { // the longest code and its extra bits are 16 + 15
			r.acc, r.n = acc, n
			r.refill()
			acc, n = r.acc, r.n
		}
		e := h.glance[acc>>(64-lookahead)]
		length := int(e & 0xFF)
		if length != 0 {
			row[x] = uint16(e >> 16)
		} else if row[x], length = h.long(acc, e); length == 0 {
			return false
		}
		acc <<= length & 63
		n -= length
	}
	r.acc, r.n = acc, n
	return true
}
