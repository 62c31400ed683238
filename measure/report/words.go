package report

import (
	"strings"

	"ridgerule/measure"
)

// The cautions. Every output carries the short one; the rest stand where they apply.
const (
	shortCaution     = "Measurements for review by a licensed clinician. Not a diagnosis, not a treatment decision, not cleared as a medical device."
	passCaution      = "Every value carries an uncertainty: a distance that passes here may not pass in the patient. A margin must also absorb drilling over-run and placement error."
	greyCaution      = "Relative grey values: not Hounsfield units, not a bone density class."
	thinCaution      = "thinner than this scan resolves: not a thickness, and not an absence of bone"
	sideCaution      = "Confirm the patient's side before use: in an axial view seen from below, patient left is at the right."
	shareCaution     = "A scan can show a face. De-identify before sharing."
	syntheticCaution = "Synthetic volume: invented anatomy."
	editedCaution    = "Changed by hand since it was measured."
)

// quantityWords are what a person reads for a quantity of the table.
var quantityWords = map[string]string{
	"ridge_height":           "Ridge height",
	"ridge_width":            "Ridge width",
	"ridge_tilt":             "Tilt of the ridge",
	"buccal_plate":           "Buccal plate",
	"lingual_plate":          "Lingual plate",
	"buccal_undercut":        "Buccal undercut",
	"lingual_undercut":       "Lingual undercut",
	"usable_crest_depth":     "Usable crest below crest",
	"usable_height":          "Height below usable crest",
	"levelled_depth":         "Crest levelled by",
	"levelled_height":        "Height below levelled crest",
	"levelled_width":         "Width below levelled crest",
	"levelled_buccal_plate":  "Buccal plate below levelled crest",
	"levelled_lingual_plate": "Lingual plate below levelled crest",
	"levelled_usable_depth":  "Usable crest below levelled crest",
	"levelled_usable_height": "Height below usable, levelled crest",
	"removed_area":           "Area of the section levelled away",
	"removed_volume":         "Bone levelled away",
	"restorative_space":      "Restorative space",
	"distal_extension":       "Distal extension",
	"grey_mean":              "Mean grey value",
	"grey_sd":                "SD of grey values",
	"platform_depth":         "Platform below crest",
	"implant_lean":           "Lean of the implant",
	"clearance":              "Clearance",
	"buccal_bone":            "Buccal bone beside implant",
	"lingual_bone":           "Lingual bone beside implant",
	"largest_diameter":       "Largest diameter that holds",
	"largest_length":         "Largest length that holds",
	"implant_angle":          "Angle between implants",
	"implant_spread_angle":   "Angle to mean axis",
	"grey_p05":               "5th percentile of grey values",
	"grey_p95":               "95th percentile of grey values",
	"platform_distance":      "Distance between platforms",
	"axis_correction":        "Angle to a common axis",
	"ap_spread":              "Anterior–posterior spread",
}

// quantity returns the words for a quantity; the inner side is palatal in the maxilla.
func quantity(name string, jaw measure.Jaw) string {
	words, known := quantityWords[name]
	if !known {
		words = strings.ReplaceAll(name, "_", " ")
	}
	if jaw == measure.Maxilla {
		words = strings.ReplaceAll(words, "Lingual", "Palatal")
	}
	return words
}

// inner names the side of the tongue or the palate.
func inner(jaw measure.Jaw) string {
	if jaw == measure.Maxilla {
		return "palatal"
	}
	return "lingual"
}

// plainName turns a name of the files into words: "nasal_floor" into "nasal floor".
func plainName(name string) string { return strings.ReplaceAll(name, "_", " ") }

// unitWord returns the unit as it stands behind a printed number.
func unitWord(unit string) string {
	switch unit {
	case "deg":
		return "°"
	case "1":
		return ""
	case "mm2":
		return "mm²"
	case "mm3":
		return "mm³"
	}
	return unit
}
