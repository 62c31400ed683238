package jpeg2000

import (
	"bytes"
	"encoding/binary"
	"errors"

	"ridgerule/dicomio/internal/codec"
)

// Marker codes: the byte after 0xFF. Source: T.800 table A.2.
const (
	soc, sot, sod, eoc = 0x4F, 0x90, 0x93, 0xD9
	siz, cod, coc, ext = 0x51, 0x52, 0x53, 0x50
	rgn, qcd, qcc, poc = 0x5E, 0x5C, 0x5D, 0x5F
	ppm, ppt           = 0x60, 0x61
)

// unwrap steps into the codestream box of a JP2 file; a bare codestream is left as it is. Source: T.800 I.4, I.5.
func (d *decoder) unwrap() error {
	if !bytes.HasPrefix(d.data, []byte("\x00\x00\x00\x0cjP  ")) {
		return nil
	}
	for at := 0; len(d.data)-at >= 8; {
		length, head := uint64(binary.BigEndian.Uint32(d.data[at:])), uint64(8)
		kind := string(d.data[at+4 : at+8])
		if length == 1 && len(d.data)-at >= 16 {
			length, head = binary.BigEndian.Uint64(d.data[at+8:]), 16
		}
		rest := uint64(len(d.data) - at)
		if length == 0 {
			length = rest
		}
		if length < head || length > rest {
			return failAt(at, codec.ErrCorrupt, "box of %d bytes, %d are there", length, rest)
		}
		if kind == "jp2c" {
			d.data, d.pos = d.data[:at+int(length)], at+int(head)
			return nil
		}
		at += int(length)
	}
	return failAt(len(d.data), codec.ErrCorrupt, "no codestream in the file")
}

// codestream reads the main header and gathers the tile-parts up to the end of codestream.
func (d *decoder) codestream() error {
	if len(d.data)-d.pos < 4 || d.data[d.pos] != 0xFF || d.data[d.pos+1] != soc || d.data[d.pos+2] != 0xFF || d.data[d.pos+3] != siz {
		return d.fail(codec.ErrCorrupt, "no start of codestream and size")
	}
	d.pos += 2
	marker, err := d.header(&d.main, true)
	for err == nil && marker == sot {
		if d.tiles == nil {
			if err = d.prepare(); err != nil {
				return err
			}
		}
		if err = d.part(); err == nil {
			marker, err = d.marker()
		}
	}
	if err != nil {
		return err
	}
	if marker != eoc || d.tiles == nil {
		return d.fail(codec.ErrCorrupt, "marker 0x%02X, want a tile-part or the end of codestream after one", marker)
	}
	return nil
}

// prepare makes room for the tiles, once the main header is whole.
func (d *decoder) prepare() error {
	if !d.main.coded || !d.main.quantized {
		return d.fail(codec.ErrCorrupt, "main header without coding style or quantization")
	}
	const least = 14 // bytes of a tile-part, which tells its tile in 16 bits
	if n := d.size.across * d.size.down; n > len(d.data)/least || n > 1<<16 {
		return d.fail(codec.ErrCorrupt, "%d tiles cannot be in %d bytes", n, len(d.data))
	}
	d.tiles = make([]pieces, d.size.across*d.size.down)
	return nil
}

// marker reads the next marker.
func (d *decoder) marker() (byte, error) {
	if len(d.data)-d.pos < 2 {
		return 0, d.fail(codec.ErrCorrupt, "data end before the end of codestream")
	}
	if d.data[d.pos] != 0xFF {
		return 0, d.fail(codec.ErrCorrupt, "0x%02X where a marker should be", d.data[d.pos])
	}
	d.pos += 2
	return d.data[d.pos-1], nil
}

// segment gives the parameters of the marker before, and steps over them.
func (d *decoder) segment() ([]byte, error) {
	if len(d.data)-d.pos < 2 {
		return nil, d.fail(codec.ErrCorrupt, "data end in a marker segment")
	}
	length := int(binary.BigEndian.Uint16(d.data[d.pos:]))
	if length < 2 || length > len(d.data)-d.pos {
		return nil, d.fail(codec.ErrCorrupt, "marker segment of %d bytes, %d are there", length, len(d.data)-d.pos)
	}
	body := d.data[d.pos+2 : d.pos+length]
	d.pos += length
	return body, nil
}

// header reads marker segments into p up to the marker that ends them: a tile-part's start, the end of codestream, or in
// a tile-part the start of its data.
func (d *decoder) header(p *params, main bool) (byte, error) {
	for {
		marker, err := d.marker()
		if err != nil {
			return 0, err
		}
		if main && (marker == sot || marker == eoc) || !main && marker == sod {
			return marker, nil
		}
		at := d.pos
		body, err := d.segment()
		if err != nil {
			return 0, err
		}
		if err := d.parameters(p, marker, body, main); err != nil {
			var e *codec.Error
			if errors.As(err, &e) {
				e.Offset = at
			}
			return 0, err
		}
	}
}

// parameters acts on one marker segment.
func (d *decoder) parameters(p *params, marker byte, body []byte, main bool) error {
	switch marker {
	case siz:
		if !main || d.size.precision != 0 {
			return d.fail(codec.ErrCorrupt, "a second size segment")
		}
		return d.readSize(body)
	case cod:
		return p.readCoding(body)
	case coc:
		return p.readComponentCoding(body)
	case qcd:
		return p.readQuantization(body, false)
	case qcc:
		if len(body) < 1 || body[0] != 0 {
			return d.fail(codec.ErrCorrupt, "quantization of another component than 0")
		}
		return p.readQuantization(body[1:], true)
	case ext:
		return d.fail(codec.ErrUnsupported, "extended capabilities (high throughput blocks)")
	case rgn, poc, ppm, ppt:
		return d.fail(codec.ErrUnsupported, "marker 0x%02X (5E region of interest, 5F progression change, 60 and 61 packed headers)", marker)
	case sot, sod, soc, eoc:
		return d.fail(codec.ErrCorrupt, "marker 0x%02X inside a header", marker)
	}
	return nil // pointers, comments, registration: nothing that samples need
}

// part reads one tile-part, T.800 A.4.2, from its marker's parameters on.
func (d *decoder) part() error {
	start := d.pos - 2
	body, err := d.segment()
	if err != nil {
		return err
	}
	if len(body) != 8 {
		return failAt(start, codec.ErrCorrupt, "tile-part marker of %d bytes", len(body))
	}
	index, length := int(binary.BigEndian.Uint16(body)), int(binary.BigEndian.Uint32(body[2:]))
	number, count := int(body[6]), int(body[7])
	if index >= len(d.tiles) {
		return failAt(start, codec.ErrCorrupt, "tile %d of %d", index, len(d.tiles))
	}
	t := &d.tiles[index]
	if number != t.parts || t.expected != 0 && (number >= t.expected || count != 0 && count != t.expected) {
		return failAt(start, codec.ErrCorrupt, "tile %d: part %d of %d, after %d of %d", index, number, count, t.parts, t.expected)
	}
	end := start + length
	if length == 0 { // to the end of codestream, which nothing but padding follows
		end = bytes.LastIndex(d.data, []byte{0xFF, eoc})
	}
	if t.parts == 0 {
		t.params = d.main.forTile()
	}
	if _, err := d.header(&t.params, false); err != nil {
		return err
	}
	if end < d.pos || end > len(d.data) {
		return failAt(start, codec.ErrCorrupt, "tile-part ends at byte %d, its data begin at %d of %d", end, d.pos, len(d.data))
	}
	t.add(d.data[d.pos:end:end], d.pos, count)
	d.pos = end
	return nil
}

// add appends one part's packets; count is how many parts there are, 0 when the part does not say.
func (t *pieces) add(packets []byte, at, count int) {
	if t.parts == 0 {
		t.data, t.at = packets, at
	} else {
		t.data = append(t.data, packets...) // packets is cut to its length: this never writes into the frame
	}
	t.parts++
	if count != 0 {
		t.expected = count
	}
}
