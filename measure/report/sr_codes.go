package report

import (
	"cmp"

	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// The codes of the structured report, from DICOM PS3.16 or its context groups; what has none there has one of our own
// scheme, see [own] and docs/conformance.md.
//
// Source: DICOM PS3.16, TID 1500, 1501, 300, 310, 1001, 1004, 1204, 1600 to 1604; CID 29, 42, 100, 225, 244, 4017, 4031, 7021, 7470.
var (
	imagingReport  = dicomio.Code{Value: "126000", Scheme: "DCM", Meaning: "Imaging Measurement Report"}
	language       = dicomio.Code{Value: "121049", Scheme: "DCM", Meaning: "Language of Content Item and Descendants"}
	english        = dicomio.Code{Value: "en", Scheme: "RFC5646", Meaning: "English"}
	observerType   = dicomio.Code{Value: "121005", Scheme: "DCM", Meaning: "Observer Type"}
	deviceObserver = dicomio.Code{Value: "121007", Scheme: "DCM", Meaning: "Device"}
	deviceUID      = dicomio.Code{Value: "121012", Scheme: "DCM", Meaning: "Device Observer UID"}
	deviceName     = dicomio.Code{Value: "121013", Scheme: "DCM", Meaning: "Device Observer Name"}
	procedure      = dicomio.Code{Value: "121058", Scheme: "DCM", Meaning: "Procedure reported"}
	imaging        = dicomio.Code{Value: "363679005", Scheme: "SCT", Meaning: "Imaging procedure"}
	measurements   = dicomio.Code{Value: "126010", Scheme: "DCM", Meaning: "Imaging Measurements"}
	group          = dicomio.Code{Value: "125007", Scheme: "DCM", Meaning: "Measurement Group"}
	trackingName   = dicomio.Code{Value: "112039", Scheme: "DCM", Meaning: "Tracking Identifier"}
	trackingUID    = dicomio.Code{Value: "112040", Scheme: "DCM", Meaning: "Tracking Unique Identifier"}
	findingSite    = dicomio.Code{Value: "363698007", Scheme: "SCT", Meaning: "Finding Site"}
	laterality     = dicomio.Code{Value: "272741003", Scheme: "SCT", Meaning: "Laterality"}
	topographical  = dicomio.Code{Value: "106233006", Scheme: "SCT", Meaning: "Topographical modifier"}
	method         = dicomio.Code{Value: "370129005", Scheme: "SCT", Meaning: "Measurement Method"}
	comment        = dicomio.Code{Value: "121106", Scheme: "DCM", Meaning: "Comment"}
	uncertaintyOf  = dicomio.Code{Value: "371884006", Scheme: "SCT", Meaning: "+/-, range of measurement uncertainty"}
	failure        = dicomio.Code{Value: "114006", Scheme: "DCM", Meaning: "Measurement failure"}
	path           = dicomio.Code{Value: "121055", Scheme: "DCM", Meaning: "Path"}

	imageLibrary   = dicomio.Code{Value: "111028", Scheme: "DCM", Meaning: "Image Library"}
	libraryGroup   = dicomio.Code{Value: "126200", Scheme: "DCM", Meaning: "Image Library Group"}
	modality       = dicomio.Code{Value: "121139", Scheme: "DCM", Meaning: "Modality"}
	targetRegion   = dicomio.Code{Value: "123014", Scheme: "DCM", Meaning: "Target Region"}
	frameUID       = dicomio.Code{Value: "112227", Scheme: "DCM", Meaning: "Frame of Reference UID"}
	pixelRows      = dicomio.Code{Value: "110910", Scheme: "DCM", Meaning: "Pixel Data Rows"}
	pixelColumns   = dicomio.Code{Value: "110911", Scheme: "DCM", Meaning: "Pixel Data Columns"}
	spacingAcross  = dicomio.Code{Value: "111026", Scheme: "DCM", Meaning: "Horizontal Pixel Spacing"}
	spacingDown    = dicomio.Code{Value: "111066", Scheme: "DCM", Meaning: "Vertical Pixel Spacing"}
	spacingBetween = dicomio.Code{Value: "112226", Scheme: "DCM", Meaning: "Spacing between slices"}
	sourceImage    = dicomio.Code{Value: "260753009", Scheme: "SCT", Meaning: "Source"}

	depth  = dicomio.Code{Value: "131197000", Scheme: "SCT", Meaning: "Depth"}
	length = dicomio.Code{Value: "410668003", Scheme: "SCT", Meaning: "Length"}

	right = dicomio.Code{Value: "24028007", Scheme: "SCT", Meaning: "Right"}
	left  = dicomio.Code{Value: "7771000", Scheme: "SCT", Meaning: "Left"}
)

// Our own concepts.
var (
	verdict    = own("verdict", "Verdict")
	margin     = own("margin", "Margin")
	measuredTo = own("measured_to", "Measured to")
	caution    = own("caution", "Caution")
)

// own returns a code of our own scheme.
func own(value, meaning string) dicomio.Code {
	return dicomio.Code{Value: value, Scheme: dicomio.OwnScheme, Meaning: meaning}
}

// conceptOf is what a quantity measures.
func conceptOf(name quantity.Name) dicomio.Code { return dicomio.Code(quantity.Of(name).Concept) }

// methodOf is how a quantity is measured: docs/csv.md says of each how. No published scheme has these.
func methodOf(name quantity.Name, jaw measure.Jaw) dicomio.Code {
	return own(cmp.Or(quantity.Of(name).Short, string(name)), wordsOf(name, jaw))
}

// units are the UCUM codes of the table's units.
var units = map[string]dicomio.Code{
	"mm":  {Value: "mm", Scheme: "UCUM", Meaning: "millimeter"},
	"mm2": {Value: "mm2", Scheme: "UCUM", Meaning: "square millimeter"},
	"mm3": {Value: "mm3", Scheme: "UCUM", Meaning: "cubic millimeter"},
	"deg": {Value: "deg", Scheme: "UCUM", Meaning: "degree"},
	"1":   {Value: "1", Scheme: "UCUM", Meaning: "no units"},
}

var pixelUnit = dicomio.Code{Value: "{pixels}", Scheme: "UCUM", Meaning: "pixels"}

// modalities by their DICOM value. Source: CID 29.
var modalities = map[string]dicomio.Code{
	"CT": {Value: "CT", Scheme: "DCM", Meaning: "Computed Tomography"},
	"DX": {Value: "DX", Scheme: "DCM", Meaning: "Digital Radiography"},
}

// jawCode returns the code of the bone. The alveolar process of the maxilla has none in these
// dictionaries, so both jaws are named by their bone.
func jawCode(jaw measure.Jaw) dicomio.Code {
	if jaw == measure.Maxilla {
		return dicomio.Code{Value: "70925003", Scheme: "SCT", Meaning: "Maxilla"}
	}
	return dicomio.Code{Value: "91609006", Scheme: "SCT", Meaning: "Mandible"}
}

// regions are the tooth regions by the second digit of the designation. Source: CID 4017.
var regions = map[byte]dicomio.Code{
	'1': {Value: "699453001", Scheme: "SCT", Meaning: "Central incisor region"},
	'2': {Value: "699511000", Scheme: "SCT", Meaning: "Lateral incisor region"},
	'3': {Value: "699510004", Scheme: "SCT", Meaning: "Canine region"},
	'4': {Value: "699509009", Scheme: "SCT", Meaning: "First premolar region"},
	'5': {Value: "699508001", Scheme: "SCT", Meaning: "Second premolar region"},
	'6': {Value: "699507006", Scheme: "SCT", Meaning: "First molar region"},
	'7': {Value: "699505003", Scheme: "SCT", Meaning: "Second molar region"},
	'8': {Value: "699503005", Scheme: "SCT", Meaning: "Third molar region"},
}

// sides are the patient's sides.
var sides = map[measure.Side]dicomio.Code{measure.Left: left, measure.Right: right}

// regionOf returns the region of a tooth by its number in ISO 3950.
func regionOf(tooth string) (dicomio.Code, bool) {
	if len(tooth) != 2 || tooth[0] < '1' || tooth[0] > '4' {
		return dicomio.Code{}, false
	}
	region, known := regions[tooth[1]]
	return region, known
}
