package report

import (
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// The cautions. Every output carries the short one; the rest stand where they apply.
const (
	shortCaution     = "Measurements for review by a licensed clinician. Not a diagnosis, not a treatment decision, not cleared as a medical device."
	passCaution      = "Every value carries an uncertainty: a distance that passes here may not pass in the patient. A margin must also absorb drilling over-run and placement error."
	greyCaution      = "Relative grey values: not Hounsfield units, not a bone density class."
	sideCaution      = "Confirm the patient's side before use: in an axial view seen from below, patient left is at the right."
	shareCaution     = "A scan can show a face. De-identify before sharing."
	syntheticCaution = "Synthetic volume: invented anatomy."
	editedCaution    = "Changed by hand since it was measured."
)

// reviewLines are what the reviewer fills in.
var reviewLines = []string{"Patient, side and jaw checked against the scan", "Arch, crest points and marked structures checked", "Sites accepted, sites refused and why", "Name, licence, date, signature"}

// wordsOf returns the words for a quantity; the inner side is palatal in the maxilla.
func wordsOf(name quantity.Name, jaw measure.Jaw) string { return forJaw(quantity.Of(name).Words, jaw) }

// forJaw calls the inner side palatal in the maxilla.
func forJaw(words string, jaw measure.Jaw) string {
	if jaw == measure.Maxilla {
		return strings.ReplaceAll(words, "Lingual", "Palatal")
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

// each maps a slice; nil stays nil.
func each[A, B any](in []A, f func(A) B) []B {
	if in == nil {
		return nil
	}
	out := make([]B, len(in))
	for i, a := range in {
		out[i] = f(a)
	}
	return out
}
