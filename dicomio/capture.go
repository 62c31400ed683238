package dicomio

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"image"
	"io"
)

// WriteCapture writes an 8-bit picture as a Secondary Capture in the study of src. spacing is the
// size of its pixels in the patient, mm; 0 leaves it out. The picture's text is declared burned
// in. It returns an error for a picture with no pixels or more than 65535 a side.
//
// Source: DICOM PS3.3 A.8.1, C.8.6.
func WriteCapture(w io.Writer, src Source, made Made, img *image.Gray, spacing float64, description string) error {
	size := img.Bounds().Size()
	if size.X < 1 || size.Y < 1 || size.X > 65535 || size.Y > 65535 {
		return fmt.Errorf("dicomio: capture of %d × %d pixels", size.X, size.Y)
	}
	if img.Stride != size.X {
		return errors.New("dicomio: capture: rows of the picture are not joined")
	}
	sum := sha256.Sum256(append([]byte(fmt.Sprint(src.Seed, src.Study, made, description, size)), img.Pix...))
	o := &object{src: src, made: made, seed: sum[:]}
	instance := derivedUID("instance", o.seed)
	o.head0008(secondaryCapture, instance, "OT", description, func() { o.text(0x00080064, "CS", "WSD") })
	o.patient()
	o.free(0x00181020, "LO", made.Version, 64)
	o.group0020(derivedUID("captures", []byte(src.Seed+src.Study)), "902")
	o.text(0x00200020, "CS", "")
	o.text(0x00200060, "CS", "")
	o.short(0x00280002, "US", 1)
	o.text(0x00280004, "CS", "MONOCHROME2")
	o.short(0x00280010, "US", uint16(size.Y))
	o.short(0x00280011, "US", uint16(size.X))
	if spacing > 0 {
		o.decimals(0x00280030, spacing, spacing)
	}
	o.short(0x00280100, "US", 8)
	o.short(0x00280101, "US", 8)
	o.short(0x00280102, "US", 7)
	o.short(0x00280103, "US", 0)
	o.text(0x00280301, "CS", "YES")
	pixels := img.Pix[:size.X*size.Y]
	o.head(0x7FE00010, "OB", len(pixels)+len(pixels)%2)
	o.b = append(o.b, pixels...)
	if len(pixels)%2 == 1 {
		o.b = append(o.b, 0)
	}
	_, err := w.Write(o.file(secondaryCapture, instance))
	return err
}
