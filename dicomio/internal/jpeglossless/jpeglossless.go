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

	"ridgerule/dicomio/internal/codec"
)

const name = "JPEG Lossless"

// Marker codes of this process: the byte after 0xFF. Source: T.81 table B.1.
const (
	sof0, sof3, sof15 = 0xC0, 0xC3, 0xCF
	dht, dqt          = 0xC4, 0xDB
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
	d := decoder{Markers: codec.Markers{Codec: name, Data: data}, want: want, dst: dst}
	return d.stream()
}

// decoder is the state that marker segments leave behind, T.81 B.2.
type decoder struct {
	codec.Markers
	want codec.Shape
	dst  []uint16

	precision int       // P, bits; 0 before the frame header
	component byte      // C1, the component's identifier
	interval  int       // restart interval, samples; 0 is none
	tables    [4][]byte // the Huffman tables as sent: 16 counts, then values
	done      bool      // the scan is decoded
}

// stream reads markers from the start of image to its end.
func (d *decoder) stream() error {
	if err := d.Start(); err != nil {
		return err
	}
	for {
		marker, err := d.Next()
		if err != nil {
			return err
		}
		if marker == codec.EOI {
			if !d.done {
				return d.Fail(codec.ErrCorrupt, "end of image before any scan")
			}
			return nil
		}
		if err := d.segment(marker); err != nil {
			return err
		}
	}
}

// segment reads the parameters of one marker and acts on them.
func (d *decoder) segment(marker byte) error {
	body, size, err := d.Segment()
	if err != nil {
		return err
	}
	switch {
	case marker == sof3 && d.precision == 0:
		d.precision, d.component, err = d.FrameHeader(body, d.want)
	case marker == dht:
		err = d.huffman(body)
	case marker == codec.DRI:
		err = d.restart(body)
	case marker == codec.SOS:
		d.Pos += size
		return d.scan(body)
	case marker >= app0 && marker <= app15 || marker == com || marker == dqt:
	case marker >= sof0 && marker <= sof15:
		err = d.Fail(codec.ErrUnsupported, "JPEG process of marker 0x%02X; one frame of lossless Huffman, 0xC3, is read", marker)
	default:
		err = d.Fail(codec.ErrUnsupported, "marker 0x%02X", marker)
	}
	d.Pos += size
	return err
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
			return d.Fail(codec.ErrCorrupt, "Huffman table 0x%02X does not fit its segment", b[0])
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
		return d.Fail(codec.ErrCorrupt, "restart interval of %d bytes", len(b))
	}
	d.interval = int(binary.BigEndian.Uint16(b))
	if d.interval%d.want.Columns != 0 {
		return d.Fail(codec.ErrUnsupported, "restart interval of %d samples is not whole rows of %d", d.interval, d.want.Columns)
	}
	return nil
}
