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
	return d.Stream(d.segment, d.scan)
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
}

// segment acts on the parameters of one marker.
func (d *decoder) segment(marker byte, body []byte) (err error) {
	switch {
	case marker == sof3 && d.precision == 0:
		d.precision, d.component, err = d.FrameHeader(body, d.want)
		return err
	case marker == dht:
		return d.huffman(body)
	case marker == codec.DRI:
		return d.restart(body)
	case marker == dqt:
		return nil
	case marker >= sof0 && marker <= sof15:
		return d.Fail(codec.ErrUnsupported, "JPEG process of marker 0x%02X; one frame of lossless Huffman, 0xC3, is read", marker)
	}
	return d.Fail(codec.ErrUnsupported, "marker 0x%02X", marker)
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
