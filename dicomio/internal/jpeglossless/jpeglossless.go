// Package jpeglossless decodes JPEG Lossless frames: DICOM transfer syntaxes 1.2.840.10008.1.2.4.57 and .70.
//
// One interchange stream of one component and one scan flows in (process 14: Huffman coding, 2…16 bits, predictors 1…7,
// any point transform, any restart interval of whole rows); samples flow out. Everything a stream can leave undecoded is an
// error: bytes left over in an interval, a missing restart marker, a missing end of image.
//
// The work is in two passes over each row: the differences are read from the bits (bits.go, huffman.go) into the row's
// own place, and the predictor then turns them into samples (predict.go).
//
// Source: ITU-T T.81 (1992), annexes B, C, F.2.2 and H.
package jpeglossless

import (
	"encoding/binary"
	"fmt"

	"ridgerule/dicomio/internal/codec"
)

const name = "JPEG Lossless"

// Marker codes: the byte after 0xFF. Source: T.81 table B.1.
const (
	sof0, sof3, sof15 = 0xC0, 0xC3, 0xCF
	dht, dac          = 0xC4, 0xCC
	rst0, rst7        = 0xD0, 0xD7
	soi, eoi, sos     = 0xD8, 0xD9, 0xDA
	dqt, dri          = 0xDB, 0xDD
	app0, app15, com  = 0xE0, 0xEF, 0xFE
)

// Decode fills dst, Columns·Rows samples, column fastest, from one Huffman-coded lossless frame.
//
// Samples are the stream's, shifted back by its point transform; precision above Bits Allocated is refused.
// Errors are [*codec.Error]; data and dst may be of any length, and no input makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	d := decoder{data: data, want: want, dst: dst}
	return d.stream()
}

// decoder is the state that marker segments leave behind, T.81 B.2.
type decoder struct {
	data []byte
	pos  int // of the next unread byte
	want codec.Shape
	dst  []uint16

	precision int       // P, bits; 0 before the frame header
	component byte      // C1, the component's identifier
	interval  int       // restart interval, samples; 0 is none
	tables    [4][]byte // the Huffman tables as sent: 16 counts, then values
	done      bool      // the scan is decoded
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
	if d.pos == at || d.data[d.pos] == 0 {
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
	case marker == sof3:
		err = d.frame(body)
	case marker == dht:
		err = d.huffman(body)
	case marker == dri:
		err = d.restart(body)
	case marker == sos:
		d.pos += length
		return d.scan(body)
	case marker >= app0 && marker <= app15 || marker == com || marker == dqt:
	case marker >= sof0 && marker <= sof15:
		err = d.fail(codec.ErrUnsupported, "JPEG process of marker 0x%02X, lossless Huffman is 0xC3", marker)
	default:
		err = d.fail(codec.ErrUnsupported, "marker 0x%02X", marker)
	}
	d.pos = at + length
	return err
}

// frame reads the frame header, T.81 B.2.2, and holds it against the DICOM header.
func (d *decoder) frame(b []byte) error {
	if d.precision != 0 {
		return d.fail(codec.ErrUnsupported, "a second frame header")
	}
	if len(b) < 6 || len(b) != 6+3*int(b[5]) {
		return d.fail(codec.ErrCorrupt, "frame header of %d bytes", len(b))
	}
	p, rows, columns, components := int(b[0]), int(binary.BigEndian.Uint16(b[1:])), int(binary.BigEndian.Uint16(b[3:])), b[5]
	if components != 1 {
		return d.fail(codec.ErrUnsupported, "%d components, only 1 is read", components)
	}
	if p < 2 || p > 16 {
		return d.fail(codec.ErrCorrupt, "precision of %d bits, lossless allows 2 to 16", p)
	}
	if rows != d.want.Rows || columns != d.want.Columns || p > d.want.Allocated {
		return d.fail(codec.ErrShape, "stream is %d columns × %d rows of %d bits, header %d × %d of %d",
			columns, rows, p, d.want.Columns, d.want.Rows, d.want.Allocated)
	}
	d.precision, d.component = p, b[6]
	return nil
}

// huffman reads table definitions, T.81 B.2.4.2. They are checked when a scan uses them.
func (d *decoder) huffman(b []byte) error {
	for len(b) > 0 {
		n := 0
		if len(b) >= 17 {
			for _, count := range b[1:17] {
				n += int(count)
			}
		}
		if len(b) < 17+n || b[0]>>4 > 1 || b[0]&15 > 3 {
			return d.fail(codec.ErrCorrupt, "Huffman table 0x%02X does not fit its segment", b[0])
		}
		if b[0]>>4 == 0 { // class 0; class 1 is for the lossy processes
			d.tables[b[0]&15] = b[1 : 17+n]
		}
		b = b[17+n:]
	}
	return nil
}

// restart reads the restart interval, T.81 B.2.4.4; H.1.1 wants whole rows.
func (d *decoder) restart(b []byte) error {
	if len(b) != 2 {
		return d.fail(codec.ErrCorrupt, "restart interval of %d bytes", len(b))
	}
	d.interval = int(binary.BigEndian.Uint16(b))
	if d.interval%d.want.Columns != 0 {
		return d.fail(codec.ErrUnsupported, "restart interval of %d samples is not whole rows of %d", d.interval, d.want.Columns)
	}
	return nil
}
