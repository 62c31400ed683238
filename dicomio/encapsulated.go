package dicomio

import (
	"bytes"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"

	"ridgerule/dicomio/internal/codec"
	"ridgerule/dicomio/internal/jpeg2000"
	"ridgerule/dicomio/internal/jpeglossless"
	"ridgerule/dicomio/internal/jpegls"
	"ridgerule/dicomio/internal/rle"
	"ridgerule/dicomio/internal/walk"
)

// decoders by transfer syntax.
var decoders = map[string]func(dst []uint16, data []byte, want codec.Shape) error{
	walk.RLE:          rle.Decode,
	walk.JPEGLossless: jpeglossless.Decode,
	walk.JPEGSV1:      jpeglossless.Decode,
	walk.JPEGLS:       jpegls.Decode,
	walk.JPEGLSNear:   jpegls.Decode,
	walk.JPEG2000:     jpeg2000.Decode,
	walk.JPEG2000Any:  jpeg2000.Decode,
	walk.JPEGBaseline: baseline,
	walk.JPEGExtended: baseline,
}

// decode reads compressed frame f into dst as cells.
func (r *pixelReader) decode(f int, dst []int16) error {
	data, err := r.compressed(f)
	if err != nil {
		return err
	}
	format := r.src.pixels
	shape := codec.Shape{Columns: format.columns, Rows: format.rows, Allocated: format.allocated, Stored: format.high + 1, Signed: format.signed}
	if err := guard(decoders[r.src.walked.Syntax], patterns(dst), data, shape); err != nil {
		return &SeriesError{Code: "corrupt_pixels", File: r.src.name, Attribute: "PixelData",
			Problem: fmt.Sprintf("frame %d cannot be decoded (%s)", f+1, printable(err.Error(), 200)),
			Remedy:  "copy or export the file again, uncompressed if it can be", Cause: err}
	}
	return nil
}

// guard turns a panic of a decoder into an error: the last net, none is known.
func guard(decode func([]uint16, []byte, codec.Shape) error, dst []uint16, data []byte, shape codec.Shape) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the decoder panicked: %v", r)
		}
	}()
	return decode(dst, data, shape)
}

// compressed returns the joined fragments of frame f.
func (r *pixelReader) compressed(f int) ([]byte, error) {
	if r.starts == nil {
		starts, err := r.frameStarts()
		if err != nil {
			return nil, err
		}
		r.starts = starts
	}
	fragments := r.src.walked.Pixels.Fragments[r.starts[f]:r.starts[f+1]]
	size := int64(0)
	for _, fr := range fragments {
		size += fr.Length
	}
	r.raw = grow(r.raw, int(size))
	done := int64(0)
	for _, fr := range fragments {
		if err := r.bytes(r.raw[done:done+fr.Length], fr.Offset); err != nil {
			return nil, err
		}
		done += fr.Length
	}
	return r.raw, nil
}

// frameStarts returns the first fragment of each frame, and the number of fragments. The counts decide where they can;
// then an offset table that fits; then the marker a compressed frame begins with. A wrong or empty table does no harm.
//
// Source: DICOM PS3.5 A.4.
func (r *pixelReader) frameStarts() ([]int, error) {
	n, px := r.src.frames, r.src.walked.Pixels
	m := len(px.Fragments)
	switch {
	case n == 1:
		return []int{0, m}, nil
	case n == m:
		starts := make([]int, n+1)
		for i := range starts {
			starts[i] = i
		}
		return starts, nil
	}
	if starts := tableStarts(px.Extended, px.Fragments, n); starts != nil {
		return starts, nil
	}
	if starts := tableStarts(px.Basic, px.Fragments, n); starts != nil {
		return starts, nil
	}
	return r.markedStarts()
}

// tableStarts returns the starts an offset table gives, nil when it does not fit the fragments.
func tableStarts[T uint32 | uint64](table []T, fragments []walk.Fragment, frames int) []int {
	if len(table) != frames {
		return nil
	}
	starts := make([]int, 0, frames+1)
	k := 0
	for _, offset := range table {
		for k < len(fragments) && uint64(fragments[k].Item) < uint64(offset) {
			k++
		}
		if k == len(fragments) || uint64(fragments[k].Item) != uint64(offset) || len(starts) > 0 && starts[len(starts)-1] == k {
			return nil
		}
		starts = append(starts, k)
	}
	if starts[0] != 0 {
		return nil
	}
	return append(starts, len(fragments))
}

// markedStarts finds the frames by the marker that begins each: SOI (JPEG, JPEG-LS) or SOC (JPEG 2000).
func (r *pixelReader) markedStarts() ([]int, error) {
	px := r.src.walked.Pixels
	var starts []int
	for i, fr := range px.Fragments {
		var head [2]byte
		if fr.Length < 2 {
			continue
		}
		if err := r.bytes(head[:], fr.Offset); err != nil {
			return nil, err
		}
		if head[0] == 0xFF && (head[1] == 0xD8 || head[1] == 0x4F) {
			starts = append(starts, i)
		}
	}
	if len(starts) != r.src.frames || starts[0] != 0 {
		return nil, &SeriesError{Code: "corrupt_pixels", File: r.src.name, Attribute: "PixelData",
			Problem: fmt.Sprintf("%d fragments cannot be told apart into %d frames", len(px.Fragments), r.src.frames),
			Remedy:  "export the series again"}
	}
	return append(starts, len(px.Fragments)), nil
}

var errBaseline = errors.New("JPEG of another size, or in colour")

// baseline decodes an 8-bit lossy JPEG frame.
func baseline(dst []uint16, data []byte, want codec.Shape) error {
	head, err := jpeg.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return err
	}
	if head.Width != want.Columns || head.Height != want.Rows || head.ColorModel != color.GrayModel {
		return errBaseline
	}
	img, err := jpeg.Decode(bytes.NewReader(data))
	if err != nil {
		return err
	}
	grey, ok := img.(*image.Gray)
	if !ok {
		return errBaseline
	}
	for j := range want.Rows {
		for i, v := range grey.Pix[j*grey.Stride : j*grey.Stride+want.Columns] {
			dst[j*want.Columns+i] = uint16(v)
		}
	}
	return nil
}
