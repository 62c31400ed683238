package jpeg2000

import "sync"

// blockDecoder turns the passes of one code-block into coefficients. Source: T.800 annex D.
//
// Around each coefficient it keeps flags of what its eight neighbours have shown, so that a context is one look-up. The
// field of flags has a border of one, which is never significant.
type blockDecoder struct {
	mq      mq
	raw     raw
	scratch []byte // a segment, and the ones after it

	width, height int
	stride        int // of flags: width + 2
	flags         []uint16
	values        []int32 // width·height, column fastest, in half units of the lowest plane: the odd half is the middle
	significance  *[256]uint8
	style         int
}

// Flags of a coefficient.
const (
	north = 1 << iota // the neighbour there is significant
	south
	east
	west
	northEast
	northWest
	southEast
	southWest
	northMinus // and negative
	southMinus
	eastMinus
	westMinus
	significant // the coefficient itself is
	visited     // in this plane
	refined     // once before

	every     = 0xFFFF // no column is left out
	around    = 0xFF
	fromBelow = south | southEast | southWest
)

var blockPool = sync.Pool{New: func() any { return new(blockDecoder) }}

// decode runs the passes of b, which has at most 30 planes. Coefficients of planes that were not sent lie in the middle of what is possible.
func (d *blockDecoder) decode(b *block, kind, style int) error {
	d.width, d.height, d.style = b.area.width(), b.area.height(), style
	d.stride = d.width + 2
	d.flags = cleared(d.flags, d.stride*(d.height+2))
	d.values = cleared(d.values, d.width*d.height)
	d.significance = &significance[kind]
	d.mq.reset()
	data, pass := b.data, 0
	for _, s := range b.segments {
		isRaw := style&styleBypass != 0 && pass >= 10 && (pass+2)%3 != 2
		if isRaw {
			d.raw = raw{data: data[:s.length]}
		} else {
			d.scratch = append(append(d.scratch[:0], data[:s.length]...), 0xFF, 0xFF)
			d.mq.start(d.scratch)
		}
		for range s.passes {
			if err := d.pass(pass, b.planes-1-(pass+2)/3, isRaw); err != nil {
				return err
			}
			pass++
		}
		data = data[s.length:]
	}
	return nil
}

// cleared gives n zeros, in s if they fit.
func cleared[T any](s []T, n int) []T {
	if n > cap(s) {
		return make([]T, n)
	}
	s = s[:n]
	clear(s)
	return s
}

// pass runs one coding pass on a plane: the first is a cleanup, then come significance, refinement, cleanup in turn.
func (d *blockDecoder) pass(number, plane int, isRaw bool) error {
	if d.style&styleReset != 0 {
		d.mq.reset()
	}
	switch (number + 2) % 3 {
	case 0:
		d.stripes(around, func(at, value, n int) { d.propagate(at, value, n, plane, isRaw) })
	case 1:
		d.stripes(significant, func(at, value, n int) { d.refine(at, value, n, plane, isRaw) })
	case 2:
		d.stripes(every, func(at, value, n int) { d.cleanUp(at, value, n, plane) })
		if d.style&styleSegments != 0 {
			symbols := d.decode4()
			if symbols != 0b1010 {
				return corrupt("symbols %04b after a plane, want 1010", symbols)
			}
		}
	}
	return nil
}

// decode4 reads four symbols of even chance.
func (d *blockDecoder) decode4() (v uint32) {
	for range 4 {
		v = v<<1 | d.mq.decode(contextEven)
	}
	return v
}

// stripes visits columns of up to four coefficients, stripe by stripe, and leaves out columns where no coefficient has one of
// the given flags. Source: T.800 figure D.1.
func (d *blockDecoder) stripes(flags uint16, column func(at, value, n int)) {
	for y := 0; y < d.height; y += 4 {
		n := min(4, d.height-y)
		at, value := (y+1)*d.stride+1, y*d.width
		for x := range d.width {
			any := flags
			if n == 4 && flags != every {
				f := d.flags[at+x:]
				any &= f[0] | f[d.stride] | f[2*d.stride] | f[3*d.stride]
			}
			if any != 0 {
				column(at+x, value+x, n)
			}
		}
	}
}

// seen gives the flags of row i of a column: a causal block does not look below its stripe.
func (d *blockDecoder) seen(at, i int) uint16 {
	f := d.flags[at]
	if d.style&styleCausal != 0 && i == 3 {
		f &^= fromBelow | southMinus
	}
	return f
}

// propagate is the significance propagation pass. Source: T.800 D.3.1.
func (d *blockDecoder) propagate(at, value, n, plane int, isRaw bool) {
	for i := range n {
		f := d.seen(at, i)
		if f&significant == 0 && f&around != 0 {
			if isRaw {
				if d.raw.bit() == 1 {
					d.become(at, value, plane, d.raw.bit())
				}
			} else if d.mq.decode(d.significance[f&around]) == 1 {
				d.become(at, value, plane, d.sign(f))
			}
			d.flags[at] |= visited
		}
		at += d.stride
		value += d.width
	}
}

// refine is the magnitude refinement pass. Source: T.800 D.3.3.
func (d *blockDecoder) refine(at, value, n, plane int, isRaw bool) {
	for i := range n {
		f := d.seen(at, i)
		if f&(significant|visited) == significant {
			var bit uint32
			switch {
			case isRaw:
				bit = d.raw.bit()
			case f&refined != 0:
				bit = d.mq.decode(contextRefine + 2)
			case f&around != 0:
				bit = d.mq.decode(contextRefine + 1)
			default:
				bit = d.mq.decode(contextRefine)
			}
			d.flags[at] |= refined
			half := int32(1) << plane // half of this plane, in half units: where the middle moves
			if (bit == 0) == (d.values[value] > 0) {
				half = -half
			}
			d.values[value] += half
		}
		at += d.stride
		value += d.width
	}
}

// cleanUp is the cleanup pass, which also forgets who was visited. Source: T.800 D.3.4.
func (d *blockDecoder) cleanUp(at, value, n, plane int) {
	i := 0
	sure := false // the next coefficient is significant: the run said so
	if n == 4 && d.quiet(at) {
		if d.mq.decode(contextRun) == 0 {
			return
		}
		i = int(d.mq.decode(contextEven)<<1 | d.mq.decode(contextEven))
		sure = true
	}
	at += i * d.stride
	value += i * d.width
	for ; i < n; i++ {
		f := d.seen(at, i)
		if f&(significant|visited) == 0 && (sure || d.mq.decode(d.significance[f&around]) == 1) {
			d.become(at, value, plane, d.sign(f))
		}
		sure = false
		d.flags[at] &^= visited
		at += d.stride
		value += d.width
	}
}

// quiet tells whether four coefficients and all their neighbours are insignificant.
func (d *blockDecoder) quiet(at int) bool {
	f := d.flags[at] | d.flags[at+d.stride] | d.flags[at+2*d.stride] | d.seen(at+3*d.stride, 3)
	return f&(significant|visited|around) == 0
}

// sign reads a sign, 1 for minus, predicted from the neighbours above, below and beside. Source: T.800 D.3.2.
func (d *blockDecoder) sign(f uint16) uint32 {
	s := signs[f&15|f>>4&0xF0]
	return d.mq.decode(s&0x7F) ^ uint32(s>>7)
}

// become makes a coefficient significant, in the middle of its plane, and lets its neighbours know.
func (d *blockDecoder) become(at, value, plane int, minus uint32) {
	v := int32(3) << plane
	if minus == 1 {
		v = -v
	}
	d.values[value] = v
	m := uint16(minus)
	f, up, down := d.flags, at-d.stride, at+d.stride
	f[at] |= significant
	f[at-1] |= east | m*eastMinus
	f[at+1] |= west | m*westMinus
	f[up] |= south | m*southMinus
	f[up-1] |= southEast
	f[up+1] |= southWest
	f[down] |= north | m*northMinus
	f[down-1] |= northEast
	f[down+1] |= northWest
}
