package dicomio

import (
	"encoding/binary"
	"unsafe"

	"ridgerule/dicomio/volume"
)

// Rules of this file. A pixel cell holds the stored value in bits [high+1−stored, high]; what lies above or below is not
// the value (old overlays, garbage) and is masked away. A volume stores int16:
//
//	signed, any bits                  as it is, sign extended
//	unsigned, up to 15 bits stored    as it is
//	unsigned, 16 bits stored          minus 32768, and the intercept plus 32768·slope
//
// so every grey value stays exact.
//
// Source: DICOM PS3.5 8.1.1.

// cells turns pixel cells into stored values of the volume, in place, four at a time.
type cells struct {
	shift uint
	mask  uint64 // of the value, in each of four lanes
	sign  uint64 // its top bit in each lane; 0: unsigned
	flip  bool   // 16-bit unsigned: minus 32768
	plain bool   // nothing to do
}

const lanes = 0x0001_0001_0001_0001

func newCells(p pixelFormat) cells {
	c := cells{
		shift: uint(p.high + 1 - p.stored),
		mask:  lanes * (1<<p.stored - 1),
		flip:  !p.signed && p.stored == 16,
	}
	if p.signed && p.stored < 16 {
		c.sign = lanes << (p.stored - 1)
	}
	c.plain = p.stored == 16 && p.signed
	return c
}

// four converts four cells. With H the top bit of each lane, ((v|H) − sign) ^ H subtracts within lanes: no lane borrows
// from the next, for v and sign are below H.
func (c *cells) four(v uint64) uint64 {
	const high = lanes << 15
	v = v >> c.shift & c.mask
	if c.sign != 0 {
		v ^= c.sign
		v = ((v | high) - c.sign) ^ high
	}
	if c.flip {
		v ^= high
	}
	return v
}

// one converts one cell.
func (c *cells) one(v uint16) int16 { return int16(c.four(uint64(v))) }

// convert turns the cells in dst into stored values.
func (c *cells) convert(dst []int16) {
	if c.plain {
		return
	}
	b := bytesOf(dst)
	for len(b) >= 8 {
		binary.NativeEndian.PutUint64(b, c.four(binary.NativeEndian.Uint64(b)))
		b = b[8:]
	}
	for i := len(dst) &^ 3; i < len(dst); i++ {
		dst[i] = c.one(uint16(dst[i]))
	}
}

// rescale returns the rescale of values that convert made of file values with rescale r.
func (c *cells) rescale(r volume.Rescale) volume.Rescale {
	if c.flip {
		r.Intercept += 32768 * r.Slope
	}
	return r
}

// holds reports whether raw, given as a cell or as a sign-extended value, is one that convert can produce: it may be too
// large for the bits stored.
func (c *cells) holds(raw uint16) bool {
	const lane = 0xFFFF
	return c.shift > 0 || uint64(raw)&^(c.mask&lane) == 0 || c.sign != 0 && uint16(c.one(raw)) == raw
}

// bytesOf views stored values as bytes in the order of this machine: a file's pixels are read straight into the volume,
// which is what makes reading as fast as the disk. The slice is only used while dst is.
func bytesOf(dst []int16) []byte {
	if len(dst) == 0 {
		return nil
	}
	return unsafe.Slice((*byte)(unsafe.Pointer(&dst[0])), 2*len(dst))
}

// patterns views stored values as bit patterns, for the decoders.
func patterns(dst []int16) []uint16 {
	if len(dst) == 0 {
		return nil
	}
	return unsafe.Slice((*uint16)(unsafe.Pointer(&dst[0])), len(dst))
}

// bigHost is true on a big-endian machine.
var bigHost = binary.NativeEndian.Uint16([]byte{0, 1}) == 1

// swap exchanges the bytes of each pair.
func swap(b []byte) {
	const low = 0x00FF_00FF_00FF_00FF
	for len(b) >= 8 {
		v := binary.NativeEndian.Uint64(b)
		binary.NativeEndian.PutUint64(b, v>>8&low|v&low<<8)
		b = b[8:]
	}
	for i := 0; i+1 < len(b); i += 2 {
		b[i], b[i+1] = b[i+1], b[i]
	}
}

// widen spreads 8-bit cells over dst.
func widen(dst []int16, b []byte) {
	for i := range dst {
		dst[i] = int16(b[i])
	}
}
