package dicomio

import "strings"

// single is an attribute that has one value in a whole series.
type single struct {
	attribute string // DICOM keyword
	so        string // a clause: what two values mean
	remedy    string
	told      bool // its values point to no patient and may be printed
	value     func(*plane) string
}

const (
	eachAcquisition = "export each acquisition by itself"
	eachPatient     = "take the files of the other out of the folder, or export each patient's study by itself; never measure on both"
	twoPatients     = "two patients in one series"
	twoStudies      = "two studies in one series"
)

// oneInSeries are the attributes that are held to be one in a series. Patient and study are: a series belongs to one
// study, a study to one patient.
//
// Source: DICOM PS3.3 A.1.2 (the hierarchy of patient, study and series).
var oneInSeries = []single{
	{"PatientID", twoPatients, eachPatient, false, func(p *plane) string { return p.src.identity.PatientID }},
	{"PatientName", twoPatients, eachPatient, false, func(p *plane) string { return sameName(p.src.identity.PatientName) }},
	{"PatientBirthDate", twoPatients, eachPatient, false, func(p *plane) string { return sameDate(p.src.identity.PatientBirthDate) }},
	{"PatientSex", twoPatients, eachPatient, false, func(p *plane) string { return strings.ToUpper(p.src.identity.PatientSex) }},
	{"StudyInstanceUID", twoStudies, eachPatient, false, func(p *plane) string { return p.src.study }},
	{"StudyDate", twoStudies, eachPatient, false, func(p *plane) string { return sameDate(p.src.identity.StudyDate) }},
	{"AccessionNumber", twoStudies, eachPatient, false, func(p *plane) string { return p.src.identity.AccessionNumber }},
	{"FrameOfReferenceUID", "positions cannot be compared", eachAcquisition, false, func(p *plane) string { return p.src.frameOfReference }},
	{"RescaleType", "grey values of two units", eachAcquisition, true, func(p *plane) string {
		if p.rescaleType == "" && p.rescaled {
			return "HU" // what a CT image means by saying nothing: PS3.3 C.8.2.1
		}
		return p.rescaleType
	}},
	{"PhotometricInterpretation", "light and dark are exchanged between slices", eachAcquisition, true, func(p *plane) string {
		if p.src.pixels.photometric == "" {
			return "MONOCHROME2" // as an image without one is shown
		}
		return p.src.pixels.photometric
	}},
}

// sameName returns what two ways of writing one name have in common: upper case, without blanks and empty components at
// the ends. Source: DICOM PS3.5 6.2.1.2 (trailing delimiters may be left out).
func sameName(name string) string {
	groups := strings.Split(strings.ToUpper(name), "=")
	for i, group := range groups {
		parts := strings.Split(group, "^")
		for j, part := range parts {
			parts[j] = strings.Join(strings.Fields(part), " ")
		}
		groups[i] = strings.TrimRight(strings.Join(parts, "^"), "^")
	}
	return strings.TrimRight(strings.Join(groups, "="), "=")
}

// sameDate returns a date without the points that an old form has. Source: DICOM PS3.5 6.2, DA.
func sameDate(date string) string { return strings.ReplaceAll(date, ".", "") }
