package jpeg2000

import (
	"encoding/binary"

	"ridgerule/dicomio/internal/codec"
)

// rect is an area of a grid: x0 ≤ x < x1, y0 ≤ y < y1.
type rect struct{ x0, y0, x1, y1 int }

func (r rect) empty() bool { return r.x0 >= r.x1 || r.y0 >= r.y1 }

func (r rect) width() int  { return r.x1 - r.x0 }
func (r rect) height() int { return r.y1 - r.y0 }

// clip is the part of r within s.
func (r rect) clip(s rect) rect {
	return rect{max(r.x0, s.x0), max(r.y0, s.y0), min(r.x1, s.x1), min(r.y1, s.y1)}
}

// size is the image and its tiles on the reference grid. Source: T.800 A.5.1, B.2, B.3.
type size struct {
	image        rect
	first        rect // the first tile, before it is clipped
	across, down int  // how many tiles
	precision    int  // bits; 0 before the segment is read
	signed       bool
}

// tile gives the area of tile i.
func (s *size) tile(i int) rect {
	dx, dy := i%s.across*s.first.width(), i/s.across*s.first.height()
	return rect{s.first.x0 + dx, s.first.y0 + dy, s.first.x1 + dx, s.first.y1 + dy}.clip(s.image)
}

// readSize reads the size segment and holds it against the DICOM header.
func (d *decoder) readSize(b []byte) error {
	if len(b) < 36 || len(b) != 36+3*int(binary.BigEndian.Uint16(b[34:])) {
		return d.fail(codec.ErrCorrupt, "size segment of %d bytes", len(b))
	}
	if b[0]&0x40 != 0 {
		return d.fail(codec.ErrUnsupported, "high throughput blocks")
	}
	if n := binary.BigEndian.Uint16(b[34:]); n != 1 {
		return d.fail(codec.ErrUnsupported, "%d components, only 1 is read", n)
	}
	u := func(i int) int { return int(binary.BigEndian.Uint32(b[2+4*i:])) }
	s := size{image: rect{u(2), u(3), u(0), u(1)}, first: rect{u(6), u(7), u(6) + u(4), u(7) + u(5)}}
	s.precision, s.signed = int(b[36]&0x7F)+1, b[36]&0x80 != 0
	if b[37] != 1 || b[38] != 1 {
		return d.fail(codec.ErrUnsupported, "samples on every %d × %d points of the grid", b[37], b[38])
	}
	if s.image.width() != d.want.Columns || s.image.height() != d.want.Rows || s.precision > d.want.Allocated {
		return d.fail(codec.ErrShape, "stream is %d columns × %d rows of %d bits, header %d × %d of %d",
			s.image.width(), s.image.height(), s.precision, d.want.Columns, d.want.Rows, d.want.Allocated)
	}
	corner := s.first.x0 <= s.image.x0 && s.first.y0 <= s.image.y0 && s.first.x1 > s.image.x0 && s.first.y1 > s.image.y0
	if !corner || s.first.empty() {
		return d.fail(codec.ErrCorrupt, "the first tile does not hold the image's corner")
	}
	s.across = ceilDiv(s.image.x1-s.first.x0, s.first.width())
	s.down = ceilDiv(s.image.y1-s.first.y0, s.first.height())
	d.size = s
	return nil
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }

// Styles of code-blocks, bits. Source: T.800 table A.19.
const (
	styleBypass   = 1 << iota // raw bits in place of the arithmetic coder, in late passes
	styleReset                // contexts start anew in each pass
	styleTermAll              // the coder ends with each pass
	styleCausal               // nothing is known of the stripe below
	stylePredict              // a pattern in the ending, which need not be looked at
	styleSegments             // four known symbols after each plane
)

// params say how the one component is coded. Source: T.800 A.6.
type params struct {
	coded, codedAlone         bool // by COD; by COC, which outranks it
	quantized, quantizedAlone bool // by QCD; by QCC

	sop, eph    bool // markers before packets, after packet headers
	progression int  // 0 LRCP, 1 RLCP, 2 RPCL, 3 PCRL, 4 CPRL
	layers      int

	levels     int // decompositions, 0…32
	blockX     int // log2 of a code-block's width, columns; likewise blockY
	blockY     int
	style      int
	reversible bool
	precincts  []byte // log2 sizes by resolution, x in the low half; nil is 15, 15

	quantization int // 0 none, 1 derived from the lowest band, 2 each band
	guard        int // bits
	steps        []byte
}

// forTile gives the main header's parameters as defaults for a tile: its own segments outrank them all.
func (p params) forTile() params {
	p.codedAlone, p.quantizedAlone = false, false
	return p
}

// corrupt makes an error whose offset the caller fills in.
func corrupt(format string, args ...any) error {
	return failAt(0, codec.ErrCorrupt, format, args...)
}

// readCoding reads COD, T.800 A.6.1.
func (p *params) readCoding(b []byte) error {
	if len(b) < 10 {
		return corrupt("coding style of %d bytes", len(b))
	}
	p.coded = true
	p.sop, p.eph = b[0]&2 != 0, b[0]&4 != 0
	p.progression, p.layers = int(b[1]), int(binary.BigEndian.Uint16(b[2:]))
	if p.progression > 4 || p.layers == 0 {
		return corrupt("progression %d, %d layers", p.progression, p.layers)
	}
	if p.codedAlone {
		return nil
	}
	return p.readStyle(b[5:], b[0]&1 != 0)
}

// readComponentCoding reads COC, T.800 A.6.2.
func (p *params) readComponentCoding(b []byte) error {
	if len(b) < 7 || b[0] != 0 {
		return corrupt("component coding style of %d bytes", len(b))
	}
	p.codedAlone = true
	return p.readStyle(b[2:], b[1]&1 != 0)
}

// readStyle reads what COD and COC share, T.800 table A.20.
func (p *params) readStyle(b []byte, ownPrecincts bool) error {
	p.levels, p.blockX, p.blockY = int(b[0]), int(b[1])+2, int(b[2])+2
	p.style, p.reversible = int(b[3]), b[4] == 1
	if p.style&0x40 != 0 {
		return failAt(0, codec.ErrUnsupported, "high throughput blocks")
	}
	if p.levels > 32 || p.blockX > 10 || p.blockY > 10 || p.blockX+p.blockY > 12 || p.style > 0x3F || b[4] > 1 {
		return corrupt("%d levels, blocks of 2^%d × 2^%d, style %d, wavelet %d", p.levels, p.blockX, p.blockY, p.style, b[4])
	}
	p.precincts = nil
	if !ownPrecincts {
		return nil
	}
	if len(b) < 6+p.levels {
		return corrupt("%d bytes of precinct sizes for %d levels", len(b)-5, p.levels)
	}
	p.precincts = b[5 : 6+p.levels]
	for r, v := range p.precincts {
		if r > 0 && (v&15 == 0 || v>>4 == 0) {
			return corrupt("precincts of a single sample in resolution %d", r)
		}
	}
	return nil
}

// precinct gives the log2 sizes of resolution r's precincts.
func (p *params) precinct(r int) (x, y int) {
	if p.precincts == nil {
		return 15, 15
	}
	return int(p.precincts[r] & 15), int(p.precincts[r] >> 4)
}

// readQuantization reads QCD, or QCC after its component, T.800 A.6.4.
func (p *params) readQuantization(b []byte, alone bool) error {
	if len(b) < 2 || b[0]&31 > 2 {
		return corrupt("quantization of %d bytes", len(b))
	}
	if p.quantizedAlone && !alone {
		return nil
	}
	p.quantized, p.quantizedAlone = true, alone
	p.quantization, p.guard, p.steps = int(b[0]&31), int(b[0]>>5), b[1:]
	return nil
}

// step gives the exponent and mantissa of band number n (0 is the lowest, then three each resolution) at the given
// decomposition level. Source: T.800 E.1.1, equation E-5.
func (p *params) step(n, level int) (exponent, mantissa int, err error) {
	if (p.quantization == 0) != p.reversible {
		return 0, 0, corrupt("quantization %d with a wavelet that is reversible: %v", p.quantization, p.reversible)
	}
	at, width := n, 2
	if p.quantization == 1 {
		at = 0
	}
	if p.quantization == 0 {
		width = 1
	}
	if len(p.steps) < (at+1)*width {
		return 0, 0, corrupt("no quantization step for band %d", n)
	}
	if p.quantization == 0 {
		return int(p.steps[at] >> 3), 0, nil
	}
	v := int(binary.BigEndian.Uint16(p.steps[2*at:]))
	exponent, mantissa = v>>11, v&0x7FF
	if p.quantization == 1 {
		exponent -= p.levels - level
	}
	return exponent, mantissa, nil
}
