package jpeglossless

import (
	"errors"
	"sync"
)

// lookahead is how many bits the table decodes at a glance, code and extra bits together. 12 bits make 16 kB, half a
// level 1 cache, and hold most differences of a CT; 13 gained nothing in BenchmarkDecode.
const lookahead = 12

// table decodes one Huffman-coded difference, T.81 C.2, F.2.2.3 and H.1.2.2.
type table struct {
	// glance holds, by the next lookahead bits: length | difference<<16 when code and extra bits fit, else
	// code length<<8 | category<<16, or 0 where the code is longer than lookahead.
	glance [1 << lookahead]uint32

	values  []byte  // category of each code, shortest code first
	limit   [17]int // first code of each length that is too large, or 0 with no code of that length
	valueAt [17]int // index in values, minus the code
}

var pool = sync.Pool{New: func() any { return new(table) }}

func (h *table) free() { pool.Put(h) }

// newTable builds a table from 16 counts and the values they count.
func newTable(def []byte) (*table, error) {
	if len(def) <= 16 {
		return nil, errors.New("not defined, or empty")
	}
	h := pool.Get().(*table)
	*h = table{values: def[16:]}
	code, k := 0, 0
	for length := 1; length <= 16; length++ {
		h.valueAt[length] = k - code
		for range def[length-1] {
			if code >= 1<<length || h.values[k] > 16 {
				h.free()
				return nil, errors.New("more codes than bits allow, or a category above 16")
			}
			h.enter(code, length, int(h.values[k]))
			code, k = code+1, k+1
			h.limit[length] = code
		}
		code <<= 1
	}
	return h, nil
}

// enter fills the glance for one code.
func (h *table) enter(code, length, category int) {
	if length > lookahead {
		return
	}
	free := lookahead - length
	part := h.glance[code<<free:][:1<<free]
	extra := extraBits(category)
	for i := range part {
		if extra > free {
			part[i] = uint32(length)<<8 | uint32(category)<<16
		} else {
			part[i] = uint32(length+extra) | uint32(difference(uint32(i)>>(free-extra), category))<<16
		}
	}
}

// extraBits is how many bits follow a code; category 16 stands for 32768 alone and has none.
func extraBits(category int) int {
	if category == 16 {
		return 0
	}
	return category
}

// difference is the value of a category and its extra bits, modulo 2^16. Source: T.81 table H.2, figure F.12.
func difference(extra uint32, category int) uint16 {
	if category == 16 {
		return 1 << 15
	}
	if category > 0 && extra>>(category-1) == 0 {
		return uint16(extra) - 1<<category + 1
	}
	return uint16(extra)
}

// long decodes what the glance e could not, from the top of acc: a difference and its length, 0 where there is no such code.
func (h *table) long(acc uint64, e uint32) (value uint16, length int) {
	length, category := int(e>>8&0xFF), int(e>>16)
	if length == 0 {
		if length, category = h.search(acc); length == 0 {
			return 0, 0
		}
	}
	extra := extraBits(category)
	return difference(uint32(acc<<length>>32)>>(32-extra), category), length + extra
}

// search finds the code at the top of acc where the glance could not; a length of 0 means there is none.
func (h *table) search(acc uint64) (length, category int) {
	for length = lookahead + 1; length <= 16; length++ {
		code := int(acc >> (64 - length))
		if code < h.limit[length] {
			return length, int(h.values[h.valueAt[length]+code])
		}
	}
	return 0, 0
}
