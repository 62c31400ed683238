package dicomio

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"io"
)

// Capture is one of the pictures of a series.
type Capture struct {
	Image   *image.Gray
	Spacing float64 // size of its pixels in the patient, mm; 0 leaves it out
	Title   string
	Series  string // what the series' UID is made from: the same for all its pictures
	Number  int    // in the series, from 1
}

// WriteCapture writes an 8-bit picture as a Secondary Capture in the study of src. The picture's text is declared burned
// in. It returns an error for a picture with no pixels or more than 65535 a side, and one wrapping [ErrValue] for a spacing
// that is no number.
//
// Source: DICOM PS3.3 A.8.1, C.8.6.
func WriteCapture(w io.Writer, src Source, made Made, c Capture) error {
	size := c.Image.Bounds().Size()
	if size.X < 1 || size.Y < 1 || size.X > 65535 || size.Y > 65535 {
		return fmt.Errorf("dicomio: capture of %d × %d pixels", size.X, size.Y)
	}
	if c.Image.Stride != size.X {
		return errors.New("dicomio: capture: rows of the picture are not joined")
	}
	pixels := c.Image.Pix[:size.X*size.Y]
	o := newObject(src, made, c.Series, c.Number, c.Title, size, sha256.Sum256(pixels))
	h := head{class: secondaryCapture, instance: derivedUID("instance", o.seed), modality: "OT", description: "Ridge drawings", conversion: "WSD"}
	o.head0008(h)
	o.patient()
	o.text(0x00180015, "CS", "JAW") // no paired part of the body: no laterality
	o.free(0x00181020, "LO", made.Version, 64)
	o.group0020(derivedUID("captures", fmt.Append(nil, src.Seed, src.Study, made, o.identity, c.Series)), "902", c.Number)
	o.text(0x00200020, "CS", "")
	o.free(0x00204000, "LT", c.Title, 10240)
	o.short(0x00280002, "US", 1)
	o.text(0x00280004, "CS", "MONOCHROME2")
	o.short(0x00280010, "US", uint16(size.Y))
	o.short(0x00280011, "US", uint16(size.X))
	if c.Spacing != 0 {
		o.decimals(0x00280030, c.Spacing, c.Spacing)
	}
	o.short(0x00280100, "US", 8)
	o.short(0x00280101, "US", 8)
	o.short(0x00280102, "US", 7)
	o.short(0x00280103, "US", 0)
	o.text(0x00280301, "CS", "YES")
	o.head(0x7FE00010, "OB", len(pixels)+len(pixels)%2)
	o.b = append(o.b, pixels...)
	if len(pixels)%2 == 1 {
		o.b = append(o.b, 0)
	}
	return o.write(w, h)
}
