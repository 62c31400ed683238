package dicomio

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/suyashkumar/dicom"
	"github.com/suyashkumar/dicom/pkg/tag"

	"ridgerule/dicomio/internal/walk"
)

// source is one file of images and what its header says.
type source struct {
	name string // path inside the input
	size int64  // bytes, when it was scanned
	when time.Time
	seek bool // its bytes can be had by offset

	limits Limits
	walked *walk.File // Sieved is dropped once read

	study, series, sop, class, modality string
	imageType                           []string
	frameOfReference                    string
	instance                            int
	stated                              int     // images that the header says there are; 0: not said
	thickness, between, kvp             float64 // mm, mm, kV; 0: not said
	burnedIn, lossy, synthetic          bool
	rescaleType                         string
	pixels                              pixelFormat
	frames                              int
	identity                            Identity
	problems                            []*SeriesError // of the whole file
	cautions                            []Caution
}

// pixelFormat is how stored values lie in Pixel Data. Source: DICOM PS3.5 8.1.
type pixelFormat struct {
	rows, columns           int
	allocated, stored, high int // bits
	signed                  bool
	samples                 int
	photometric             string
	padding, paddingLimit   *uint16 // as the bits lie
}

// bytes returns the size of one native frame in bytes.
func (p pixelFormat) bytes() int64 {
	return int64(p.rows) * int64(p.columns) * int64(p.samples) * int64(p.allocated) / 8
}

// parse hands the sieved attributes to the parser. The walk has made them harmless; a panic in the parser would still
// become an error here.
func parse(sieved []byte) (a attrs, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("the parser panicked: %v", r)
		}
	}()
	set, err := dicom.Parse(bytes.NewReader(sieved), int64(len(sieved)), nil, dicom.AllowUnknownSpecificCharacterSet())
	if err != nil {
		return nil, err
	}
	return newAttrs(set.Elements), nil
}

// readHeader fills src from its walked file. Attributes that spoil the file are left in src.problems.
func (src *source) readHeader() (attrs, error) {
	a, err := parse(src.walked.Sieved)
	if err != nil {
		return nil, err
	}
	src.walked.Sieved = nil
	src.study, src.series, src.sop = a.text(tag.StudyInstanceUID), a.text(tag.SeriesInstanceUID), a.text(tag.SOPInstanceUID)
	src.class, src.modality = a.text(tag.SOPClassUID), a.text(tag.Modality)
	if src.class == "" {
		src.class = src.walked.Class
	}
	src.imageType = a.texts(tag.ImageType)
	src.frameOfReference = a.text(tag.FrameOfReferenceUID)
	src.instance, _ = strconv.Atoi(a.text(tag.InstanceNumber))
	src.stated, _ = strconv.Atoi(a.text(tag.ImagesInAcquisition))
	src.thickness, src.between = a.optional(tag.SliceThickness), a.optional(tag.SpacingBetweenSlices)
	src.kvp = a.optional(tag.KVP)
	src.burnedIn = strings.EqualFold(a.text(tag.BurnedInAnnotation), "YES")
	src.lossy = a.text(tag.LossyImageCompression) == "01"
	src.rescaleType = a.text(tag.RescaleType)
	src.synthetic = a.text(tag.DeidentificationMethod) == syntheticMark
	src.identity = readIdentity(a)
	src.readPixelFormat(a)
	return a, nil
}

// readPixelFormat reads the Image Pixel module.
func (src *source) readPixelFormat(a attrs) {
	p := &src.pixels
	need := func(t tag.Tag, keyword string, into *int) {
		v, ok := a.number(t)
		if !ok {
			src.fault(&SeriesError{Code: "missing_attribute", Attribute: keyword, Problem: "is missing",
				Remedy: "export the series again"})
		}
		*into = v
	}
	need(tag.Rows, "Rows", &p.rows)
	need(tag.Columns, "Columns", &p.columns)
	need(tag.BitsAllocated, "BitsAllocated", &p.allocated)
	p.samples, p.stored, p.high = 1, p.allocated, -1
	if v, ok := a.number(tag.SamplesPerPixel); ok {
		p.samples = v
	}
	if v, ok := a.number(tag.BitsStored); ok {
		p.stored = v
	}
	if v, ok := a.number(tag.HighBit); ok {
		p.high = v
	} else {
		p.high = p.stored - 1
	}
	sign, _ := a.number(tag.PixelRepresentation)
	p.signed = sign == 1
	if sign > 1 {
		src.fault(&SeriesError{Code: "bad_attribute", Attribute: "PixelRepresentation", Value: strconv.Itoa(sign),
			Problem: "is neither 0 nor 1", Remedy: "export the series again"})
	}
	p.photometric = a.text(tag.PhotometricInterpretation)
	p.padding, p.paddingLimit = raw16(a, tag.PixelPaddingValue), raw16(a, tag.PixelPaddingRangeLimit)
	src.readFrames(a)
}

func raw16(a attrs, t tag.Tag) *uint16 {
	v, ok := a.number(t)
	if !ok {
		return nil
	}
	bits := uint16(v)
	return &bits
}

// readFrames reads Number of Frames: absent or empty means one.
func (src *source) readFrames(a attrs) {
	src.frames = 1
	text := a.text(tag.NumberOfFrames)
	if text == "" {
		return
	}
	n, err := strconv.Atoi(strings.TrimPrefix(text, "+"))
	if err != nil || n < 1 || n > maxFrames {
		src.fault(&SeriesError{Code: "bad_attribute", Attribute: "NumberOfFrames", Value: printable(text, 24),
			Problem: fmt.Sprintf("is not a number from 1 to %d", maxFrames), Remedy: "export the series again"})
		n = 1
	}
	src.frames = n
}

// maxFrames bounds the frames of one file: the walk keeps no more attributes than so many frames have.
const maxFrames = 1 << 16

// fault notes a problem of the file, once for each attribute and code.
func (src *source) fault(e *SeriesError) {
	e.File = src.name
	for _, p := range src.problems {
		if p.Code == e.Code && p.Attribute == e.Attribute {
			return
		}
	}
	src.problems = append(src.problems, e)
}
