package jpeg2000

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"

	"ridgerule/dicomio/internal/codec"
)

// packetReader reads the packets of one tile, headers bit by bit. Source: T.800 B.9, B.10.
type packetReader struct {
	data []byte
	pos  int
	acc  byte // bits of the header's current byte
	n    int  // how many are unread
	end  bool // a bit was asked for after the last byte
}

// bit reads one bit of a packet header; the byte after 0xFF has 7. Source: T.800 B.10.1.
func (r *packetReader) bit() int {
	if r.n == 0 {
		if r.pos >= len(r.data) {
			r.end = true
			return 0
		}
		r.n = 8
		if r.acc == 0xFF {
			r.n = 7
		}
		r.acc = r.data[r.pos]
		r.pos++
	}
	r.n--
	return int(r.acc>>r.n) & 1
}

func (r *packetReader) bits(n int) int {
	v := 0
	for range n {
		v = v<<1 | r.bit()
	}
	return v
}

// align ends a header: the rest of its byte is padding, and so is a byte after 0xFF.
func (r *packetReader) align() {
	if r.acc == 0xFF {
		r.pos++
	}
	r.acc, r.n = 0, 0
}

// take steps over a marker and its n bytes if it is there.
func (r *packetReader) take(marker byte, n int) {
	if r.pos+2+n <= len(r.data) && r.data[r.pos] == 0xFF && r.data[r.pos+1] == marker {
		r.pos += 2 + n
	}
}

// packets reads every packet of the tile, in its progression, and gives each block its data.
func (t *tile) packets(data []byte) *codec.Error {
	r := packetReader{data: data}
	var failed *codec.Error
	t.order(func(layer int, res *resolution, k int) bool {
		if what := r.packet(t, &res.precincts[k], res, layer); what != "" {
			failed = failure(r.pos, codec.ErrCorrupt, "packet of layer %d, resolution %d, precinct %d: %s",
				layer, t.params.levels-res.level, k, what)
		}
		return failed == nil
	})
	if failed == nil && r.pos < len(data) {
		failed = failure(r.pos, codec.ErrCorrupt, "%d bytes are left over after the last packet", len(data)-r.pos)
	}
	return failed
}

// order visits each packet until visit returns false. With one component, position means a precinct's upper left corner on
// the reference grid, and in one resolution precincts are already sorted by it. Source: T.800 B.12.1.
func (t *tile) order(visit func(layer int, res *resolution, k int) bool) {
	layers, n := t.params.layers, len(t.resolutions)
	switch t.params.progression {
	case 0:
		for layer := range layers {
			for r := range n {
				if !t.resolutions[r].each(layer, layer+1, visit) {
					return
				}
			}
		}
	case 1:
		for r := range n {
			for layer := range layers {
				if !t.resolutions[r].each(layer, layer+1, visit) {
					return
				}
			}
		}
	case 2:
		for r := range n {
			if !t.resolutions[r].each(0, layers, visit) {
				return
			}
		}
	default:
		for _, p := range t.byPosition() {
			for layer := range layers {
				if !visit(layer, &t.resolutions[p.r], p.k) {
					return
				}
			}
		}
	}
}

// each visits the packets of all precincts of a resolution, layers from…to−1 of each in turn.
func (res *resolution) each(from, to int, visit func(int, *resolution, int) bool) bool {
	for k := range res.precincts {
		for layer := from; layer < to; layer++ {
			if !visit(layer, res, k) {
				return false
			}
		}
	}
	return true
}

type spot struct{ y, x, r, k int }

// byPosition lists all precincts from top to bottom, left to right, low to high resolution.
func (t *tile) byPosition() []spot {
	var all []spot
	for r := range t.resolutions {
		res := &t.resolutions[r]
		px, py := t.params.precinct(r)
		for k := range res.precincts {
			x := (res.area.x0>>px + k%res.across) << (px + res.level)
			y := (res.area.y0>>py + k/res.across) << (py + res.level)
			all = append(all, spot{max(y, t.area.y0), max(x, t.area.x0), r, k})
		}
	}
	slices.SortFunc(all, func(a, b spot) int {
		return cmp.Or(cmp.Compare(a.y, b.y), cmp.Compare(a.x, b.x), cmp.Compare(a.r, b.r), cmp.Compare(a.k, b.k))
	})
	return all
}

// share is a length that a packet header told, in the order of the bodies.
type share struct {
	block   *block
	segment int
	length  int
}

// packet reads one packet; it returns what is wrong with it, or nothing.
func (r *packetReader) packet(t *tile, p *precinct, res *resolution, layer int) string {
	r.take(0x91, 4) // start of packet, T.800 A.8.1
	var shares []share
	if r.bit() == 1 {
		for i := range p.cells {
			c := &p.cells[i]
			for j := range c.blocks {
				if what := r.block(t, c, j, &res.bands[i], layer, &shares); what != "" {
					return what
				}
			}
		}
	}
	r.align()
	r.take(0x92, 0) // end of packet header, T.800 A.8.2
	if r.end {
		return "data end inside the header"
	}
	for _, s := range shares {
		if s.length > len(r.data)-r.pos {
			return "data end inside the body"
		}
		s.block.append(r.data[r.pos:r.pos+s.length:r.pos+s.length], s.segment)
		r.pos += s.length
	}
	return ""
}

// append adds data to a block's segment. Packets come in the order of segments, so the data are whole and in order.
func (b *block) append(data []byte, segment int) {
	if b.data == nil {
		b.data = data // cut to its length: what is appended later goes elsewhere
	} else {
		b.data = append(b.data, data...)
	}
	b.segments[segment].length += len(data)
}

// block reads what the header says of block j of a cell. Source: T.800 B.10.4 to B.10.7.
func (r *packetReader) block(t *tile, c *cell, j int, b *band, layer int, shares *[]share) string {
	x, y, block := j%c.across, j/c.across, &c.blocks[j]
	if block.included {
		if r.bit() == 0 {
			return ""
		}
	} else {
		if !c.included.below(r, x, y, layer+1) {
			return ""
		}
		block.included = true
		zeros := 0
		for !c.zeros.below(r, x, y, zeros+1) {
			if zeros++; zeros > b.planes || r.end {
				return "more empty bit planes than the band has"
			}
		}
		if block.planes = b.planes - zeros; block.planes > t.planes {
			return fmt.Sprintf("%d bit planes, at most %d can be", block.planes, t.planes)
		}
	}
	n := r.passes()
	for r.bit() == 1 {
		if block.lengths++; block.lengths > 32 {
			return "a length of more than 32 bits"
		}
	}
	if block.passes += n; block.passes > max(0, 3*block.planes-2) {
		return "more coding passes than bit planes allow"
	}
	for n > 0 {
		s := block.segment(t.params.style)
		now := min(n, s.most-s.passes)
		s.passes, n = s.passes+now, n-now
		length := r.bits(block.lengths + bits.Len(uint(now)) - 1)
		*shares = append(*shares, share{block, len(block.segments) - 1, length})
	}
	return ""
}

// passes reads how many coding passes come. Source: T.800 table B.4.
func (r *packetReader) passes() int {
	if r.bit() == 0 {
		return 1
	}
	if r.bit() == 0 {
		return 2
	}
	if v := r.bits(2); v < 3 {
		return 3 + v
	}
	if v := r.bits(5); v < 31 {
		return 6 + v
	}
	return 37 + r.bits(7)
}

// segment gives the one that the next pass belongs to. Source: T.800 D.4.2, table D.9.
func (b *block) segment(style int) *segment {
	last := len(b.segments) - 1
	if last >= 0 && b.segments[last].passes < b.segments[last].most {
		return &b.segments[last]
	}
	most := 1 << 30
	switch {
	case style&styleTermAll != 0:
		most = 1
	case style&styleBypass == 0:
	case last < 0:
		most = 10 // the first four planes
	case b.segments[last].most == 2:
		most = 1 // a cleanup pass, by the arithmetic coder
	default:
		most = 2 // two raw passes
	}
	b.segments = append(b.segments, segment{most: most})
	return &b.segments[last+1]
}
