// Package rle decodes RLE frames: DICOM transfer syntax 1.2.840.10008.1.2.5.
package rle

import "ridgerule/dicomio/internal/codec"

const name = "RLE"

// Decode fills dst, Columns·Rows samples, column fastest, from one RLE frame.
//
// Errors are [*codec.Error]; data and dst may be of any length, and no input makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	return &codec.Error{Codec: name, Kind: codec.ErrUnsupported, What: "decoder not written yet"}
}
