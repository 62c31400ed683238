// Package rle decodes RLE frames: DICOM transfer syntax 1.2.840.10008.1.2.5.
//
// One frame flows in: a header of 16 little-endian words (the number of segments and the offset of each), then one segment
// of PackBits for each byte of a sample, most significant byte first. Samples flow out.
//
// Source: DICOM PS3.5 annex G.
package rle

import (
	"encoding/binary"
	"fmt"

	"ridgerule/dicomio/internal/codec"
)

const (
	name       = "RLE"
	headerSize = 64 // bytes
)

// Decode fills dst, Columns·Rows samples, column fastest, from one RLE frame.
//
// A run may cross the end of a row, which annex G forbids and some writers do; it may not cross the end of the frame.
// After the last sample a segment may hold padding alone: zero bytes, the control byte that does nothing, or in a frame of
// odd length one sample more.
// Errors are [*codec.Error]; data and dst may be of any length, and no input makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	if len(data) < headerSize {
		return fail(0, codec.ErrCorrupt, "header of %d bytes, %d are needed", len(data), headerSize)
	}
	bytes := want.Allocated / 8
	if n := binary.LittleEndian.Uint32(data); n != uint32(bytes) {
		return fail(0, codec.ErrShape, "%d segments, %d bits allocated need %d", n, want.Allocated, bytes)
	}
	for i := range bytes {
		from, to, err := bounds(data, i, bytes)
		if err != nil {
			return err
		}
		s := segment{data: data[:to], pos: from, shift: 8 * (bytes - 1 - i)}
		if err := s.unpack(dst, i == 0); err != nil {
			return err
		}
	}
	return nil
}

func fail(offset int, kind error, format string, args ...any) error {
	return &codec.Error{Codec: name, Offset: offset, Kind: kind, What: fmt.Sprintf(format, args...)}
}

// bounds gives the part of data that segment i of n fills: from its offset to the next one's, or to the end.
func bounds(data []byte, i, n int) (from, to int, err error) {
	at := 4 + 4*i
	start, end := uint64(binary.LittleEndian.Uint32(data[at:])), uint64(len(data))
	if i+1 < n {
		end = uint64(binary.LittleEndian.Uint32(data[at+4:]))
	}
	if start < headerSize || end < start || end > uint64(len(data)) {
		return 0, 0, fail(at, codec.ErrCorrupt, "segment %d runs from byte %d to %d of %d", i+1, start, end, len(data))
	}
	return int(start), int(end), nil
}

// segment is one byte of every sample, packed.
type segment struct {
	data  []byte // the frame up to this segment's end
	pos   int    // of the next control byte
	shift int    // of this byte in a sample, bits
}

// unpack reads controls until every sample has its byte: set for the first segment, added for those after.
func (s *segment) unpack(dst []uint16, first bool) error {
	whole := len(dst)
	for len(dst) > 0 {
		if s.pos >= len(s.data) {
			return fail(s.pos, codec.ErrCorrupt, "segment ends %d samples short of %d", len(dst), whole)
		}
		control := int(int8(s.data[s.pos]))
		if control == -128 { // does nothing
			s.pos++
			continue
		}
		n, size := control+1, control+1 // samples; bytes after the control byte
		if control < 0 {
			n, size = 1-control, 1
		}
		if n == len(dst)+1 && whole%2 == 1 {
			n-- // an outside encoder codes the byte that pads an odd frame as one sample more
		}
		if n > len(dst) || size > len(s.data)-s.pos-1 {
			return fail(s.pos, codec.ErrCorrupt, "%d samples from %d bytes, when %d are wanted and %d bytes are left",
				n, size, len(dst), len(s.data)-s.pos-1)
		}
		from := s.data[s.pos+1:][:size]
		if control < 0 {
			repeat(dst[:n], uint16(from[0])<<s.shift, first)
		} else {
			literal(dst[:n], from[:n], s.shift, first)
		}
		s.pos += 1 + size
		dst = dst[n:]
	}
	return s.padding()
}

func repeat(dst []uint16, v uint16, first bool) {
	if first {
		for i := range dst {
			dst[i] = v
		}
		return
	}
	for i := range dst {
		dst[i] |= v
	}
}

func literal(dst []uint16, from []byte, shift int, first bool) {
	from = from[:len(dst)] // spares a bounds check a byte
	if first {
		for i := range dst {
			dst[i] = uint16(from[i]) << (shift & 15)
		}
		return
	}
	for i := range dst {
		dst[i] |= uint16(from[i]) << (shift & 15)
	}
}

// padding refuses what is left of the segment unless it says nothing.
func (s *segment) padding() error {
	for ; s.pos < len(s.data); s.pos++ {
		if b := s.data[s.pos]; b != 0 && b != 0x80 {
			return fail(s.pos, codec.ErrCorrupt, "0x%02X follows the segment's last sample", b)
		}
	}
	return nil
}
