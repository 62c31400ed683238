package jpeg2000

import "math/bits"

// mq is the arithmetic decoder. Source: T.800 annex C, the software conventions of figures C.15 to C.20.
type mq struct {
	data   []byte // ends with two 0xFF, which read as ones for ever
	pos    int
	a, c   uint32
	ct     int
	states [32]uint8 // by context, of which 19 are used: twice the row of the table of states, and the more probable symbol
}

// Contexts 0…8 are for significance, 9…13 for signs, 14…16 for refinement. Source: T.800 table D.1 to D.5.
const (
	contextSign   = 9
	contextRefine = 14
	contextRun    = 17
	contextEven   = 18
)

// reset gives every context its first state. Source: T.800 table D.7.
func (m *mq) reset() {
	m.states = [32]uint8{0: 4 << 1, contextRun: 3 << 1, contextEven: 46 << 1}
}

// start begins a segment. Source: T.800 figure C.20.
func (m *mq) start(data []byte) {
	m.data, m.pos = data, 0
	m.c = uint32(data[0]) << 16
	m.next()
	m.c <<= 7
	m.ct -= 7
	m.a = 0x8000
}

// next brings in a byte. Source: T.800 figure C.19.
func (m *mq) next() {
	b := m.data[m.pos+1]
	if m.data[m.pos] == 0xFF {
		if b > 0x8F {
			m.c += 0xFF00
			m.ct = 8
			return
		}
		m.c += uint32(b) << 9
		m.ct = 7
	} else {
		m.c += uint32(b) << 8
		m.ct = 8
	}
	m.pos++
}

// decode reads one symbol in a context. Source: T.800 figures C.15 to C.17.
func (m *mq) decode(context uint8) uint32 {
	i := m.states[context&31]
	s := &states[i]
	m.a -= s.qe
	symbol := uint32(i & 1)
	if m.c>>16 >= s.qe {
		m.c -= s.qe << 16
		if m.a&0x8000 != 0 {
			return symbol
		}
		if m.a < s.qe {
			symbol ^= 1
			m.states[context&31] = s.less
		} else {
			m.states[context&31] = s.more
		}
	} else {
		if m.a < s.qe {
			m.states[context&31] = s.more
		} else {
			symbol ^= 1
			m.states[context&31] = s.less
		}
		m.a = s.qe
	}
	m.renormalize()
	return symbol
}

// renormalize doubles until the interval is at least 0x8000, as many bits at once as there are. Source: T.800 figure C.18.
func (m *mq) renormalize() {
	for n := bits.LeadingZeros16(uint16(m.a)); n > 0; {
		if m.ct == 0 {
			m.next()
		}
		now := min(n, m.ct)
		m.a <<= now
		m.c <<= now
		m.ct -= now
		n -= now
	}
}

// state is a row of the table of states, for one sense of the more probable symbol.
type state struct {
	qe         uint32 // estimate of the less probable symbol
	more, less uint8  // the state that follows each
}

// states hold each row twice: at 2·row the more probable symbol is 0, at 2·row + 1 it is 1. A byte cannot leave the array.
var states = func() (all [256]state) {
	for i, r := range rows {
		for mps := range uint8(2) {
			all[2*i+int(mps)] = state{r.qe, r.more<<1 | mps, r.less<<1 | mps ^ r.turn}
		}
	}
	return all
}()

// rows is the table as printed. Source: T.800 table C.2.
var rows = [47]struct {
	qe               uint32
	more, less, turn uint8
}{
	{0x5601, 1, 1, 1}, {0x3401, 2, 6, 0}, {0x1801, 3, 9, 0}, {0x0AC1, 4, 12, 0}, {0x0521, 5, 29, 0}, {0x0221, 38, 33, 0},
	{0x5601, 7, 6, 1}, {0x5401, 8, 14, 0}, {0x4801, 9, 14, 0}, {0x3801, 10, 14, 0}, {0x3001, 11, 17, 0}, {0x2401, 12, 18, 0},
	{0x1C01, 13, 20, 0}, {0x1601, 29, 21, 0}, {0x5601, 15, 14, 1}, {0x5401, 16, 14, 0}, {0x5101, 17, 15, 0}, {0x4801, 18, 16, 0},
	{0x3801, 19, 17, 0}, {0x3401, 20, 18, 0}, {0x3001, 21, 19, 0}, {0x2801, 22, 19, 0}, {0x2401, 23, 20, 0}, {0x2201, 24, 21, 0},
	{0x1C01, 25, 22, 0}, {0x1801, 26, 23, 0}, {0x1601, 27, 24, 0}, {0x1401, 28, 25, 0}, {0x1201, 29, 26, 0}, {0x1101, 30, 27, 0},
	{0x0AC1, 31, 28, 0}, {0x09C1, 32, 29, 0}, {0x08A1, 33, 30, 0}, {0x0521, 34, 31, 0}, {0x0441, 35, 32, 0}, {0x02A1, 36, 33, 0},
	{0x0221, 37, 34, 0}, {0x0141, 38, 35, 0}, {0x0111, 39, 36, 0}, {0x0085, 40, 37, 0}, {0x0049, 41, 38, 0}, {0x0025, 42, 39, 0},
	{0x0015, 43, 40, 0}, {0x0009, 44, 41, 0}, {0x0005, 45, 42, 0}, {0x0001, 45, 43, 0}, {0x5601, 46, 46, 0},
}

// raw reads the bits of a bypass segment, from the most significant; the byte after 0xFF has 7. Source: T.800 D.6.
type raw struct {
	data []byte
	pos  int
	acc  byte
	n    int
}

func (r *raw) bit() uint32 {
	if r.n == 0 {
		r.n = 8
		if r.acc == 0xFF {
			r.n = 7
		}
		r.acc = 0xFF // past the end: ones
		if r.pos < len(r.data) {
			r.acc = r.data[r.pos]
		}
		r.pos++
	}
	r.n--
	return uint32(r.acc>>r.n) & 1
}
