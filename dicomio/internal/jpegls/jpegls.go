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
	"fmt"

	"ridgerule/dicomio/internal/codec"
)

const name = "JPEG-LS"

// Marker codes: the byte after 0xFF. Source: T.81 table B.1, T.87 table C.1.
const (
	rst0               = 0xD0
	soi, eoi, sos, dri = 0xD8, 0xD9, 0xDA, 0xDD
	app0, app15, com   = 0xE0, 0xEF, 0xFE
	sof55, lse         = 0xF7, 0xF8
	lsePresets         = 1 // the kind of an LSE segment
)

// Decode fills dst, Columns·Rows samples, column fastest, from one JPEG-LS frame.
//
// A near-lossless stream gives the samples that its standard says, each within NEAR of what was coded. Precision above
// Bits Allocated is refused. Errors are [*codec.Error]; data and dst may be of any length, and no input makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	d := decoder{data: data, want: want, dst: dst}
	return d.stream()
}

// decoder is the state that marker segments leave behind.
type decoder struct {
	data []byte
	pos  int // of the next unread byte
	want codec.Shape
	dst  []uint16

	precision int     // P, bits; 0 before the frame header
	component byte    // C1, the component's identifier
	interval  int     // restart interval, lines; 0 is none
	presets   presets // as sent; zeros are defaults
	done      bool    // the scan is decoded
}

// fail reports at the current position; failAt elsewhere.
func (d *decoder) fail(kind error, format string, args ...any) error {
	return failAt(d.pos, kind, format, args...)
}

func failAt(offset int, kind error, format string, args ...any) error {
	return &codec.Error{Codec: name, Offset: offset, Kind: kind, What: fmt.Sprintf(format, args...)}
}

// stream reads markers from the start of image to its end.
func (d *decoder) stream() error {
	if len(d.data) < 2 || d.data[0] != 0xFF || d.data[1] != soi {
		return d.fail(codec.ErrCorrupt, "no start of image")
	}
	d.pos = 2
	for {
		marker, err := d.marker()
		if err != nil {
			return err
		}
		if marker == eoi {
			if !d.done {
				return d.fail(codec.ErrCorrupt, "end of image before any scan")
			}
			return nil
		}
		if err := d.segment(marker); err != nil {
			return err
		}
	}
}

// marker reads the next marker and its fill bytes.
func (d *decoder) marker() (byte, error) {
	at := d.pos
	for d.pos < len(d.data) && d.data[d.pos] == 0xFF {
		d.pos++
	}
	if d.pos == len(d.data) {
		return 0, d.fail(codec.ErrCorrupt, "data end before the end of image")
	}
	if d.pos == at || d.data[d.pos] < 0x80 {
		return 0, failAt(at, codec.ErrCorrupt, "0x%02X where a marker should be", d.data[at])
	}
	d.pos++
	return d.data[d.pos-1], nil
}

// segment reads the parameters of one marker and acts on them.
func (d *decoder) segment(marker byte) error {
	at := d.pos
	if len(d.data)-at < 2 {
		return d.fail(codec.ErrCorrupt, "data end in marker 0x%02X", marker)
	}
	length := int(binary.BigEndian.Uint16(d.data[at:]))
	if length < 2 || length > len(d.data)-at {
		return d.fail(codec.ErrCorrupt, "marker 0x%02X is %d bytes long, %d are there", marker, length, len(d.data)-at)
	}
	body := d.data[at+2 : at+length]
	var err error
	switch {
	case marker == sof55:
		err = d.frame(body)
	case marker == lse:
		err = d.extension(body)
	case marker == dri:
		err = d.restart(body)
	case marker == sos:
		d.pos += length
		return d.scan(body)
	case marker >= app0 && marker <= app15 || marker == com:
	default:
		err = d.fail(codec.ErrUnsupported, "marker 0x%02X", marker)
	}
	d.pos = at + length
	return err
}

// frame reads the frame header, T.87 C.2.2, and holds it against the DICOM header.
func (d *decoder) frame(b []byte) error {
	if d.precision != 0 {
		return d.fail(codec.ErrCorrupt, "a second frame header")
	}
	if len(b) < 6 || len(b) != 6+3*int(b[5]) {
		return d.fail(codec.ErrCorrupt, "frame header of %d bytes", len(b))
	}
	p, rows, columns, components := int(b[0]), int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:])), b[5]
	if components != 1 {
		return d.fail(codec.ErrUnsupported, "%d components, only 1 is read", components)
	}
	if p < 2 || p > 16 {
		return d.fail(codec.ErrCorrupt, "precision of %d bits, the standard allows 2 to 16", p)
	}
	if rows != d.want.Rows || columns != d.want.Columns || p > d.want.Allocated {
		return d.fail(codec.ErrShape, "stream is %d columns × %d rows of %d bits, header %d × %d of %d",
			columns, rows, p, d.want.Columns, d.want.Rows, d.want.Allocated)
	}
	d.precision, d.component = p, b[6]
	return nil
}

// extension reads preset coding parameters, T.87 C.2.4.1.1; its other kinds are mapping tables and larger sizes.
func (d *decoder) extension(b []byte) error {
	if len(b) > 0 && b[0] != lsePresets {
		return d.fail(codec.ErrUnsupported, "extension segment %d (1 is presets, 2 and 3 mapping tables, 4 a large size)", b[0])
	}
	if len(b) != 11 {
		return d.fail(codec.ErrCorrupt, "preset parameters of %d bytes", len(b))
	}
	u := func(i int) int { return int(binary.BigEndian.Uint16(b[i:])) }
	d.presets = presets{maxval: u(1), t: [3]int{u(3), u(5), u(7)}, reset: u(9)}
	return nil
}

// restart reads the restart interval, in lines: two to four bytes, T.87 C.2.5. One line is a coded unit, B.4.
func (d *decoder) restart(b []byte) error {
	if len(b) < 2 || len(b) > 4 {
		return d.fail(codec.ErrCorrupt, "restart interval of %d bytes", len(b))
	}
	d.interval = 0
	for _, v := range b {
		d.interval = d.interval<<8 | int(v)
	}
	return nil
}
