package dicomio

import (
	"fmt"

	"ridgerule/dicomio/internal/walk"
)

// checkPixels holds the pixel format and the length of Pixel Data against what is read here.
func (src *source) checkPixels() {
	p, px := src.pixels, src.walked.Pixels
	refuse := func(attribute, value, problem, remedy string) {
		src.fault(&SeriesError{Code: "pixel_format", Attribute: attribute, Value: value, Problem: problem, Remedy: remedy})
	}
	const again = "export the series again as 16-bit CT"
	switch {
	case px.Float:
		refuse("FloatPixelData", "", "floating-point pixels are not read", again)
	case p.rows == 0 || p.columns == 0:
		refuse("Rows, Columns", fmt.Sprintf("%d × %d", p.rows, p.columns), "no pixels", again)
	case p.allocated != 8 && p.allocated != 16:
		refuse("BitsAllocated", fmt.Sprint(p.allocated), "only 8 and 16 are read", again)
	case p.stored < 1 || p.stored > p.allocated || p.high >= p.allocated || p.high < p.stored-1:
		refuse("BitsStored, HighBit", fmt.Sprintf("%d, %d of %d", p.stored, p.high, p.allocated), "contradict each other", again)
	case p.allocated == 8 && src.walked.BigEndian && px.Words:
		refuse("PixelData", "OW", "8-bit pixels in swapped pairs (Explicit VR Big Endian) are not read", again)
	case src.checkSyntax():
		src.checkLength()
	}
}

// checkSyntax reports whether the transfer syntax is one that is read, and fits how Pixel Data is stored.
func (src *source) checkSyntax() bool {
	p, px := src.pixels, src.walked.Pixels
	switch {
	case !walk.Known(src.walked.Syntax):
		src.fault(&SeriesError{Code: "syntax", Attribute: "TransferSyntaxUID", Value: printable(src.walked.Syntax, 64),
			Problem: "is not read", Remedy: "convert to Explicit VR Little Endian, with dcmconv, dcmdjpeg or gdcmconv --raw"})
	case src.walked.Syntax == walk.JPEGExtended && p.allocated != 8:
		src.fault(&SeriesError{Code: "syntax", Attribute: "TransferSyntaxUID", Value: walk.Name(src.walked.Syntax),
			Problem: "lossy 12-bit JPEG is not read", Remedy: "export the series again without lossy compression"})
	case px.Encapsulated == walk.Native(src.walked.Syntax):
		src.fault(&SeriesError{Code: "syntax", Attribute: "TransferSyntaxUID", Value: walk.Name(src.walked.Syntax),
			Problem: "does not fit how Pixel Data is stored", Remedy: "export the series again"})
	default:
		return true
	}
	return false
}

// checkLength counts the bytes of Pixel Data.
func (src *source) checkLength() {
	px := src.walked.Pixels
	short := func(missing int64, what string) {
		src.fault(&SeriesError{Code: "truncated", Attribute: "PixelData", Problem: fmt.Sprintf("%s: %d bytes are missing", what, missing),
			Remedy: "copy or export the file again"})
	}
	want := src.pixels.bytes() * int64(src.frames)
	switch {
	case px.Encapsulated && len(px.Fragments) < src.frames:
		short(1, fmt.Sprintf("%d frame(s) in %d fragments, at least one each", src.frames, len(px.Fragments)))
	case px.Encapsulated:
		src.checkGrowth(want)
	case px.Length < want:
		short(want-px.Length, fmt.Sprintf("%d frame(s) of %d × %d × %d bit need %d bytes", src.frames, src.pixels.columns, src.pixels.rows, src.pixels.allocated, want))
	case src.walked.Deflated == 0 && px.Offset+px.Length > src.size && px.Offset+want > src.size:
		short(px.Offset+want-src.size, "the file is cut short")
	case px.Length > want+1:
		src.caution("extra_pixels", fmt.Sprintf("%s: Pixel Data is %d bytes longer than its frames", called(src.name), px.Length-want))
	}
}

// checkGrowth refuses compressed pixels that claim to grow beyond reason.
func (src *source) checkGrowth(want int64) {
	if limit := src.limits.Inflated + growth*src.walked.Pixels.Length; want > limit {
		src.fault(&SeriesError{Code: "limit", Attribute: "PixelData", Problem: fmt.Sprintf("%d bytes claim to decode to %d, more than the %d allowed", src.walked.Pixels.Length, want, limit),
			Remedy: "export the series again, uncompressed, or raise the limit max-inflated if you trust it"})
	}
}

// judgeSize refuses a volume larger than allowed, or one that compressed files grow to beyond reason.
func (s *Series) judgeSize() {
	limit, what, raise := s.limits.Volume, "allowed", "max-volume"
	var size int64
	compressed := false
	for _, src := range s.sources(false) {
		size += src.size
		compressed = compressed || src.walked.Pixels.Encapsulated || src.walked.Deflated != 0
	}
	if total := s.limits.total(size); compressed && total < limit {
		limit, what, raise = total, fmt.Sprintf("allowed for %d bytes of compressed files", size), "max-inflated"
	}
	if s.Bytes() > limit {
		s.problem(&SeriesError{Code: "limit", Problem: fmt.Sprintf("the volume takes %d bytes of memory, %d are %s", s.Bytes(), limit, what),
			Remedy: "raise the limit " + raise + ", or export a smaller field"})
	}
}
