package dicomio

import "strings"

// SOP classes by UID. Source: DICOM PS3.4 B.5.
const (
	ctImage          = "1.2.840.10008.5.1.4.1.1.2"
	enhancedCT       = "1.2.840.10008.5.1.4.1.1.2.1"
	legacyEnhancedCT = "1.2.840.10008.5.1.4.1.1.2.2"
	xray3DCranio     = "1.2.840.10008.5.1.4.1.1.13.1.2"
	mediaDirectory   = "1.2.840.10008.1.3.10"
)

// ctClasses are the classes that are measured on.
var ctClasses = map[string]string{
	ctImage:          "CT Image Storage",
	enhancedCT:       "Enhanced CT Image Storage",
	legacyEnhancedCT: "Legacy Converted Enhanced CT Image Storage",
	xray3DCranio:     "X-Ray 3D Craniofacial Image Storage",
}

var otherClasses = map[string]string{
	"1.2.840.10008.5.1.4.1.1.1":      "Computed Radiography Image Storage",
	"1.2.840.10008.5.1.4.1.1.1.1":    "Digital X-Ray Image Storage",
	"1.2.840.10008.5.1.4.1.1.1.3":    "Digital Intra-Oral X-Ray Image Storage",
	"1.2.840.10008.5.1.4.1.1.4":      "MR Image Storage",
	"1.2.840.10008.5.1.4.1.1.4.1":    "Enhanced MR Image Storage",
	"1.2.840.10008.5.1.4.1.1.6.1":    "Ultrasound Image Storage",
	"1.2.840.10008.5.1.4.1.1.13.1.1": "X-Ray 3D Angiographic Image Storage",
	"1.2.840.10008.5.1.4.1.1.128":    "Positron Emission Tomography Image Storage",
	"1.2.840.10008.5.1.4.1.1.481.2":  "RT Dose Storage",
	"1.2.840.10008.5.1.4.1.1.66.4":   "Segmentation Storage",
}

const secondaryCapture = "1.2.840.10008.5.1.4.1.1.7"

// className returns the name of a SOP class, or its UID when it has no name here.
func className(uid string) string {
	if n := ctClasses[uid]; n != "" {
		return n
	}
	if n := otherClasses[uid]; n != "" {
		return n
	}
	if isSecondaryCapture(uid) {
		return "Secondary Capture Image Storage"
	}
	return printable(uid, 64)
}

func isSecondaryCapture(uid string) bool {
	return uid == secondaryCapture || strings.HasPrefix(uid, secondaryCapture+".")
}
