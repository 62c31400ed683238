package dicomio

import (
	"strings"

	"ridgerule/dicomio/internal/walk"
)

// kind says what makes an image no original CT slice, as the code of its problem; empty when nothing does.
//
// Source: DICOM PS3.3 C.7.6.1.1.2 (Image Type), C.8.2.1.1.1 (LOCALIZER).
func (p *plane) kind() string {
	src := p.src
	types := append(append([]string(nil), src.imageType...), p.frameType...)
	derived := func(v []string) bool { return len(v) > 0 && strings.EqualFold(v[0], "DERIVED") }
	has := func(word string) bool {
		for _, t := range types {
			if strings.EqualFold(t, word) {
				return true
			}
		}
		return false
	}
	switch {
	case isSecondaryCapture(src.class):
		return "secondary_capture"
	case ctClasses[src.class] == "":
		return "not_ct"
	case src.pixels.samples != 1 || !strings.HasPrefix(src.pixels.photometric, "MONOCHROME") && src.pixels.photometric != "":
		return "colour"
	case has("LOCALIZER"):
		return "localizer"
	case (derived(src.imageType) || derived(p.frameType)) && !p.onlyCompressed(types):
		return "derived"
	case src.burnedIn:
		return "burned_in"
	}
	return ""
}

// kindWords words the kinds of images that may lie beside a stack.
var kindWords = map[string]string{"derived": "ImageType DERIVED", "burned_in": "BurnedInAnnotation YES", "not_ct": "SOPClassUID of no CT volume",
	"secondary_capture": "SOPClassUID of a picture of a screen"}

// onlyCompressed reports whether DERIVED says no more than that an original slice was compressed with loss: such a
// slice stays PRIMARY and AXIAL (or VOLUME), and is cautioned as lossy.
//
// Source: DICOM PS3.3 C.7.6.1.1.2, C.7.6.1.1.5 (lossy compression makes an image DERIVED), from memory.
func (p *plane) onlyCompressed(types []string) bool {
	if !p.src.isLossy() {
		return false
	}
	for _, t := range types {
		switch strings.ToUpper(t) {
		case "DERIVED", "PRIMARY", "AXIAL", "VOLUME", "NONE", "":
		default:
			return false
		}
	}
	return true
}

// isLossy reports whether the pixels passed a lossy compression, now or before.
func (src *source) isLossy() bool {
	switch src.walked.Syntax {
	case walk.JPEGBaseline, walk.JPEGExtended, walk.JPEGLSNear, walk.JPEG2000Any:
		return true
	}
	return src.lossy
}

// kindProblem words the problem of a kind.
func kindProblem(kind string, p *plane) *SeriesError {
	e := &SeriesError{Code: kind, File: p.src.name, Remedy: "export the original slices (ImageType ORIGINAL, a CT image class)"}
	switch kind {
	case "secondary_capture":
		e.Attribute, e.Value, e.Problem = "SOPClassUID", className(p.src.class), "a picture of a screen is not measured"
	case "not_ct":
		e.Attribute, e.Value, e.Problem = "SOPClassUID", className(p.src.class), "not a CT volume"
	case "colour":
		e.Attribute, e.Value, e.Problem = "PhotometricInterpretation", printable(p.src.pixels.photometric, 24), "colour pictures are not measured"
	case "localizer":
		e.Attribute, e.Value, e.Problem = "ImageType", printable(strings.Join(p.src.imageType, `\`), 64), "a localizer (scout) is not measured"
	case "derived":
		e.Attribute, e.Value, e.Problem = "ImageType", printable(strings.Join(p.src.imageType, `\`), 64), "computed from other images: their distances and grey values are not the scan's"
	case "burned_in":
		e.Attribute, e.Value, e.Problem = "BurnedInAnnotation", "YES", "text burned into the pixels is not the patient"
	}
	return e
}
