// Package jpegls decodes JPEG-LS frames: DICOM transfer syntaxes 1.2.840.10008.1.2.4.80 and .81.
//
// One interchange stream of one component and one scan flows in (lossless or near-lossless, 2…16 bits, any preset
// parameters, any restart interval); samples flow out. Everything a stream can leave undecoded is an error: bytes left
// over in an interval, a missing restart marker, a missing end of image.
//
// Markers are read here, coding parameters are worked out in params.go, bits in bits.go; scan.go walks the lines, in
// regular mode (regular.go) where the picture is uneven and in run mode (run.go) where it is flat.
//
// Source: ITU-T T.87 (1998), annexes A and C; T.81 annex B for the markers they share.
package jpegls

import (
	"encoding/binary"

	"ridgerule/dicomio/internal/codec"
)

const name = "JPEG-LS"

// Marker codes of this process: the byte after 0xFF. Source: T.81 table B.1, T.87 table C.1.
const (
	sof55, lse = 0xF7, 0xF8
	lsePresets = 1 // the kind of an LSE segment
)

// Decode fills dst, Columns·Rows samples, column fastest, from one JPEG-LS frame.
//
// A near-lossless stream gives the samples that its standard says, each within NEAR of what was coded. Precision above
// Bits Allocated is refused. Errors are [*codec.Error]; data and dst may be of any length, and no input makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	d := decoder{Markers: codec.Markers{Codec: name, Data: data}, want: want, dst: dst}
	return d.Stream(d.segment, d.scan)
}

// decoder is the state that marker segments leave behind.
type decoder struct {
	codec.Markers
	want codec.Shape
	dst  []uint16

	precision int     // P, bits; 0 before the frame header
	component byte    // C1, the component's identifier
	interval  int     // restart interval, lines; 0 is none
	presets   presets // as sent; zeros are defaults
}

// segment acts on the parameters of one marker.
func (d *decoder) segment(marker byte, body []byte) (err error) {
	switch {
	case marker == sof55 && d.precision == 0:
		d.precision, d.component, err = d.FrameHeader(body, d.want)
		return err
	case marker == lse:
		return d.extension(body)
	case marker == codec.DRI:
		return d.restart(body)
	}
	return d.Fail(codec.ErrUnsupported, "marker 0x%02X; one frame of JPEG-LS, 0xF7, is read", marker)
}

// extension reads preset coding parameters, T.87 C.2.4.1.1; its other kinds are mapping tables and larger sizes.
func (d *decoder) extension(b []byte) error {
	if len(b) > 0 && b[0] != lsePresets {
		return d.Fail(codec.ErrUnsupported, "extension segment %d (1 is presets, 2 and 3 mapping tables, 4 a large size)", b[0])
	}
	if len(b) != 11 {
		return d.Fail(codec.ErrCorrupt, "preset parameters of %d bytes", len(b))
	}
	u := func(i int) int { return int(binary.BigEndian.Uint16(b[i:])) }
	d.presets = presets{maxval: u(1), t: [3]int{u(3), u(5), u(7)}, reset: u(9)}
	return nil
}

// restart reads the restart interval, in lines: two to four bytes, T.87 C.2.5. One line is a coded unit, B.4.
func (d *decoder) restart(b []byte) error {
	if len(b) < 2 || len(b) > 4 {
		return d.Fail(codec.ErrCorrupt, "restart interval of %d bytes", len(b))
	}
	d.interval = 0
	for _, v := range b {
		d.interval = d.interval<<8 | int(v)
	}
	return nil
}
