// Package jpeg2000 decodes JPEG 2000 frames: DICOM transfer syntaxes 1.2.840.10008.1.2.4.90 and .91.
//
// One codestream of one component flows in, bare or in a JP2 file (2…16 bits, reversible or not, tiles, layers, precincts,
// every progression and code-block style of part 1); samples flow out. Not read, and refused by name: high throughput
// blocks, regions of interest, progression changes, packed packet headers. A missing packet, tile or end of codestream is
// an error; a bit changed inside a code-block is not always one, for part 1 gives no means to tell.
//
// The rooms inside: header.go reads markers into parameters (params.go); tile.go lays out resolutions, bands, precincts
// and code-blocks; packets.go hands each code-block its bytes (tree.go); block.go turns them into coefficients, bit by bit
// from the arithmetic decoder (mq.go) in contexts (contexts.go); wavelet.go turns coefficients into samples. Every block,
// precinct and tile that is laid out is paid for by want or by bytes of data: no claim of a header alone allocates.
//
// Source: ITU-T T.800 (2002), annexes A to G and I.
package jpeg2000

import (
	"fmt"

	"ridgerule/dicomio/internal/codec"
)

const name = "JPEG 2000"

// Decode fills dst, Columns·Rows samples, column fastest, from one JPEG 2000 codestream.
//
// Whether samples are signed is the codestream's to say: signed ones come sign-extended to 16 bits.
// Precision above Bits Allocated is refused. Errors are [*codec.Error]; data and dst may be of any length, and no input
// makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	d := decoder{data: data, want: want, dst: dst}
	if err := d.unwrap(); err != nil {
		return err
	}
	if err := d.codestream(); err != nil {
		return err
	}
	for i := range d.tiles {
		if err := d.tile(i); err != nil {
			return err
		}
	}
	return d.check()
}

// decoder is the state that marker segments leave behind.
type decoder struct {
	data []byte
	pos  int // of the next unread byte
	want codec.Shape
	dst  []uint16

	size  size
	main  params   // of the main header
	tiles []pieces // by tile index
}

// pieces are what the tile-parts of one tile bring.
type pieces struct {
	params          // of the main header, and the first tile-part's changes
	data     []byte // packets of all its parts
	at       int    // offset of the first part's packets, for errors
	parts    int    // how many came
	expected int    // how many should come, 0 when none has said
}

// fail reports at the current position; failAt elsewhere.
func (d *decoder) fail(kind error, format string, args ...any) error {
	return failAt(d.pos, kind, format, args...)
}

func failAt(offset int, kind error, format string, args ...any) error {
	return failure(offset, kind, format, args...)
}

func failure(offset int, kind error, format string, args ...any) *codec.Error {
	return &codec.Error{Codec: name, Offset: offset, Kind: kind, What: fmt.Sprintf(format, args...)}
}

// tile decodes one tile into its place in dst.
func (d *decoder) tile(i int) error {
	p := &d.tiles[i]
	if p.parts == 0 || p.expected > p.parts {
		return failAt(len(d.data), codec.ErrCorrupt, "tile %d of %d has %d of %d parts", i, len(d.tiles), p.parts, max(p.expected, 1))
	}
	area := d.size.tile(i)
	t, err := layOut(area, &p.params, len(p.data), d.size.precision)
	if err != nil {
		return failAt(p.at, codec.ErrCorrupt, "tile %d: %v", i, err)
	}
	if err := t.packets(p.data); err != nil {
		err.Offset += p.at
		return err
	}
	x, y := area.x0-d.size.image.x0, area.y0-d.size.image.y0
	if err := t.samples(d.dst[y*d.want.Columns+x:], d.want.Columns, d.size); err != nil {
		return failAt(p.at, codec.ErrCorrupt, "tile %d: %v", i, err)
	}
	return nil
}

// check holds the samples against what the DICOM header says of their sign.
func (d *decoder) check() error {
	want := d.want
	if d.size.signed {
		want.Stored = min(want.Stored, d.size.precision) // sign-extended: never ambiguous
		if !want.Signed {
			return d.unsigned()
		}
	}
	return want.CheckSamples(name, 0, d.dst, d.size.precision)
}

// unsigned refuses values below 0 where the DICOM header knows none.
func (d *decoder) unsigned() error {
	for i, v := range d.dst {
		if int16(v) < 0 {
			return failAt(0, codec.ErrShape, "sample %d is %d, and the header says unsigned", i, int16(v))
		}
	}
	return nil
}
