// Package codec holds what the pixel decoders share: the frame the DICOM header promises, and the error that says where
// a compressed frame breaks that promise.
//
// One compressed frame (the joined fragments of one item sequence) flows in; one row-major frame of 16-bit sample
// patterns flows out. The decoders are the sibling packages jpeglossless, jpegls, rle and jpeg2000; each has
//
//	func Decode(dst []uint16, data []byte, want codec.Shape) error
//
// and each keeps these rules:
//   - Every sample of dst is decoded from data, or an error comes back. After an error dst is not an image.
//   - The size in the stream equals want before a sample is touched; nothing allocated grows with a claimed size.
//   - Errors are of type [*Error]; they wrap one of the sentinels below.
//   - A sample is the stored bit pattern in the low bits of a uint16. Bits above [Shape].Stored may be zero, or copies
//     of the sign when Signed: mask and extend from bit Stored−1, as for native pixels, and both read the same.
package codec

import (
	"errors"
	"fmt"
)

// The ways a frame fails; test with errors.Is.
var (
	// ErrCorrupt: the stream breaks its own standard, or ends early.
	ErrCorrupt = errors.New("corrupt")
	// ErrUnsupported: the stream is valid, or may be, but is of a kind not read here.
	ErrUnsupported = errors.New("not supported")
	// ErrShape: the stream's size or depth is not the header's.
	ErrShape = errors.New("differs from the header")
)

// Shape is what the DICOM header says of a frame of one sample per pixel.
type Shape struct {
	Columns, Rows int  // 1…65535
	Allocated     int  // Bits Allocated: 8 or 16
	Stored        int  // Bits Stored: 1…Allocated
	Signed        bool // Pixel Representation is 1
}

// Error says which decoder gave up, where in its data, and why.
type Error struct {
	Codec  string // "JPEG Lossless", "JPEG-LS", "RLE", "JPEG 2000"
	Offset int    // byte offset in data, of the marker or byte that could not be used
	What   string // what was found there, with its values
	Kind   error  // ErrCorrupt, ErrUnsupported or ErrShape
}

// Error joins the fields in one line; no patient data is in any of them.
func (e *Error) Error() string {
	return fmt.Sprintf("%s: %v at byte %d: %s", e.Codec, e.Kind, e.Offset, e.What)
}

// Unwrap gives the sentinel.
func (e *Error) Unwrap() error { return e.Kind }

// Check returns an error that wraps [ErrShape] unless s is a shape within its stated ranges and holds n samples.
func (s Shape) Check(name string, n int) error {
	bad := s.Columns < 1 || s.Columns > 65535 || s.Rows < 1 || s.Rows > 65535 || s.Stored < 1 || s.Stored > s.Allocated ||
		s.Allocated != 8 && s.Allocated != 16
	if bad || s.Columns*s.Rows != n {
		return &Error{Codec: name, Kind: ErrShape, What: fmt.Sprintf("%d samples for %d × %d, %d bits stored of %d allocated",
			n, s.Columns, s.Rows, s.Stored, s.Allocated)}
	}
	return nil
}

// CheckSamples returns an error unless every sample is one that a stream of the given precision, in bits, can hold.
//
// Beyond that precision only copies of the sign may stand, and only when s is Signed: some encoders code the sign-extended
// word. A signed frame of fewer bits than Stored whose top bit is set is refused: nothing says whether that bit is a sign.
func (s Shape) CheckSamples(name string, offset int, samples []uint16, precision int) error {
	var all uint16
	for _, v := range samples {
		all |= v
	}
	short := s.Signed && precision < s.Stored
	if all>>precision == 0 && !(short && all>>(precision-1) != 0) {
		return nil
	}
	for i, v := range samples {
		over := int16(v) >> (precision - 1) // 0 or −1 when v is a sign-extended number of precision bits
		switch {
		case v>>precision != 0 && !(s.Signed && over == -1):
			return &Error{name, offset, fmt.Sprintf("sample %d has the value %d in a stream of %d bits", i, v, precision), ErrCorrupt}
		case v>>precision == 0 && short && v>>(precision-1) != 0:
			return &Error{name, offset, fmt.Sprintf("signed samples of %d bits stored, coded with %d: the sign of sample %d is ambiguous",
				s.Stored, precision, i), ErrUnsupported}
		}
	}
	return nil
}
