package walk

// Transfer syntaxes that are read, by UID. Source: DICOM PS3.6 A.
const (
	Implicit     = "1.2.840.10008.1.2"
	Explicit     = "1.2.840.10008.1.2.1"
	Deflated     = "1.2.840.10008.1.2.1.99"
	BigEndian    = "1.2.840.10008.1.2.2"
	RLE          = "1.2.840.10008.1.2.5"
	JPEGBaseline = "1.2.840.10008.1.2.4.50"
	JPEGExtended = "1.2.840.10008.1.2.4.51"
	JPEGLossless = "1.2.840.10008.1.2.4.57"
	JPEGSV1      = "1.2.840.10008.1.2.4.70"
	JPEGLS       = "1.2.840.10008.1.2.4.80"
	JPEGLSNear   = "1.2.840.10008.1.2.4.81"
	JPEG2000     = "1.2.840.10008.1.2.4.90"
	JPEG2000Any  = "1.2.840.10008.1.2.4.91"
)

type encoding struct{ implicit, bigEndian bool }

// encodings says how the data set of each syntax is encoded.
var encodings = map[string]encoding{
	Implicit: {implicit: true}, BigEndian: {bigEndian: true},
	Explicit: {}, Deflated: {}, RLE: {}, JPEGBaseline: {}, JPEGExtended: {}, JPEGLossless: {}, JPEGSV1: {},
	JPEGLS: {}, JPEGLSNear: {}, JPEG2000: {}, JPEG2000Any: {},
}

var names = map[string]string{
	Implicit: "Implicit VR Little Endian", Explicit: "Explicit VR Little Endian",
	Deflated: "Deflated Explicit VR Little Endian", BigEndian: "Explicit VR Big Endian", RLE: "RLE Lossless",
	JPEGBaseline: "JPEG Baseline (8 bit, lossy)", JPEGExtended: "JPEG Extended (12 bit, lossy)",
	JPEGLossless: "JPEG Lossless", JPEGSV1: "JPEG Lossless, first-order", JPEGLS: "JPEG-LS Lossless",
	JPEGLSNear: "JPEG-LS near-lossless", JPEG2000: "JPEG 2000 Lossless", JPEG2000Any: "JPEG 2000",
}

// Name returns the name of a transfer syntax, or its UID when it is not one that is known here.
func Name(uid string) string {
	if n := names[uid]; n != "" {
		return n
	}
	return uid
}

// Known reports whether uid is a transfer syntax that has a name here.
func Known(uid string) bool { return names[uid] != "" }

// Native reports whether pixels of transfer syntax uid lie uncompressed in the data set.
func Native(uid string) bool {
	return uid == Implicit || uid == Explicit || uid == Deflated || uid == BigEndian
}

// infer returns the uncompressed syntax of a data set encoded so.
func infer(explicit, bigEndian bool) string {
	switch {
	case !explicit:
		return Implicit
	case bigEndian:
		return BigEndian
	}
	return Explicit
}
