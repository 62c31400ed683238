// Package jpeg2000 decodes JPEG 2000 frames: DICOM transfer syntaxes 1.2.840.10008.1.2.4.90 and .91.
package jpeg2000

import "ridgerule/dicomio/internal/codec"

const name = "JPEG 2000"

// Decode fills dst, Columns·Rows samples, column fastest, from one JPEG 2000 codestream.
//
// Errors are [*codec.Error]; data and dst may be of any length, and no input makes it panic.
func Decode(dst []uint16, data []byte, want codec.Shape) error {
	if err := want.Check(name, len(dst)); err != nil {
		return err
	}
	return &codec.Error{Codec: name, Kind: codec.ErrUnsupported, What: "decoder not written yet"}
}
