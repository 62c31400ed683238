package report

import (
	"ridgerule/dicomio"
	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// The codes of the structured report. Every one stands in DICOM PS3.16 or its context groups; what
// has no code there is text. None is made up.
//
// Source: DICOM PS3.16, TID 1500, 1501, 300, 310, 1001, 1004, 1204; CID 42, 100, 225, 244, 4017, 7021, 7470.
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

	distance = dicomio.Code{Value: "121206", Scheme: "DCM", Meaning: "Distance"}
	height   = dicomio.Code{Value: "121207", Scheme: "DCM", Meaning: "Height"}
	width    = dicomio.Code{Value: "103355008", Scheme: "SCT", Meaning: "Width"}
	depth    = dicomio.Code{Value: "131197000", Scheme: "SCT", Meaning: "Depth"}
	diameter = dicomio.Code{Value: "81827009", Scheme: "SCT", Meaning: "Diameter"}
	length   = dicomio.Code{Value: "410668003", Scheme: "SCT", Meaning: "Length"}
	angle    = dicomio.Code{Value: "1483009", Scheme: "SCT", Meaning: "Angle"}

	right = dicomio.Code{Value: "24028007", Scheme: "SCT", Meaning: "Right"}
	left  = dicomio.Code{Value: "7771000", Scheme: "SCT", Meaning: "Left"}
)

// concepts are the quantities that have a code. A plate's thickness has none in CID 7470: it is a
// distance, and the method says which.
var concepts = map[quantity.Name]dicomio.Code{
	"ridge_height": height, "usable_height": height, "ridge_width": width,
	"buccal_undercut": depth, "lingual_undercut": depth, "usable_crest_depth": depth, "platform_depth": depth,
	"ridge_tilt": angle, "implant_lean": angle, "implant_angle": angle, "implant_spread_angle": angle, "axis_correction": angle,
	"largest_diameter": diameter, "largest_length": length,
	"clearance": distance, "buccal_plate": distance, "lingual_plate": distance, "buccal_bone": distance,
	"lingual_bone": distance, "ap_spread": distance, "platform_distance": distance,
}

// units are the UCUM codes of the table's units.
var units = map[string]dicomio.Code{
	"mm":  {Value: "mm", Scheme: "UCUM", Meaning: "millimeter"},
	"deg": {Value: "deg", Scheme: "UCUM", Meaning: "degree"},
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
