package dicomio

import (
	"strings"
	"testing"

	"ridgerule/dicomio/craft"
)

// What must be one in a series: patient, study, the way grey values are meant.

func TestTwoPatientsUnderOneSeriesAreRefused(t *testing.T) {
	for keyword, values := range map[string][3]string{ // VR, the first's value, the other's
		"PatientID":        {"LO", craft.PatientID, "SECRET-OTHER"},
		"PatientName":      {"PN", craft.PatientName, "Secret^Other"},
		"PatientBirthDate": {"DA", craft.PatientBirthDate, "19020304"},
		"PatientSex":       {"CS", "F", "M"},
		"StudyInstanceUID": {"UI", "1.2.3.7", "1.2.3.77"},
		"StudyDate":        {"DA", "20200102", "20200103"},
		"AccessionNumber":  {"SH", "SECRET-1", "SECRET-2"},
	} {
		for _, from := range []int{1, 3, 5} { // one after the first, half, the last alone
			files := craft.Stack(6)
			for k, c := range files {
				value := values[1]
				if k >= from {
					value = values[2]
				}
				c.Set(identityTags[keyword], values[0], value)
			}
			e := refused(t, folder(files...), "mixed", keyword, "has another", "by itself")
			if strings.Contains(e.Error(), values[2]) || e.Value != "" {
				t.Errorf("%s: the value is told: %v", keyword, e)
			}
		}
	}
}

var identityTags = map[string]uint32{"PatientID": 0x00100020, "PatientName": 0x00100010, "PatientBirthDate": 0x00100030,
	"PatientSex": 0x00100040, "StudyInstanceUID": 0x0020000D, "StudyDate": 0x00080020, "AccessionNumber": 0x00080050}

// Source of the ways to write one name: DICOM PS3.5 6.2.1.2; of the old form of a date: PS3.5 6.2.
func TestOnePatientWrittenInSeveralWaysIsOne(t *testing.T) {
	files := craft.Stack(6)
	files[1].Set(0x00100010, "PN", craft.PatientName+"^^")
	files[2].Set(0x00100010, "PN", strings.ToUpper(craft.PatientName)+"=")
	files[3].Set(0x00100030, "DA", "1901.02.03")
	files[4].Drop(0x00100010, 0x00100020, 0x00100030) // says nothing, contradicts nothing
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 6)
	cautioned(t, s)
}

// A table in the place of slope and intercept may turn grey values round. Source: DICOM PS3.3 C.11.1.
func TestModalityTableIsRefused(t *testing.T) {
	table := craft.Group(0x00283002, "US", "\x02\x00\x00\x00\x10\x00", 0x00283006, "OW", "\xff\xff\x00\x00", 0x00283004, "LO", "HU")
	files := craft.Stack(5)
	files[4].Drop(0x00281052, 0x00281053).Sequence(0x00283000, table)
	refused(t, folder(files...), "modality_lut", "ModalityLUTSequence", "RescaleSlope")
	files = craft.Stack(5)
	for _, c := range files { // beside a rescale, which it contradicts
		c.Sequence(0x00283000, table)
	}
	refused(t, folder(files...), "modality_lut", "ModalityLUTSequence")
	whole := craft.Frames(craft.EnhancedCT, craft.Stack(4), true).Sequence(0x00283000, table)
	refused(t, folder(whole), "modality_lut", "ModalityLUTSequence")
	nested := craft.Frames(craft.EnhancedCT, craft.Stack(4), true)
	nested.Sequence(0x52009229, nest(0x00289145, nest(0x00283000, table)))
	refused(t, folder(nested), "modality_lut", "ModalityLUTSequence")
}

func TestEmptyModalityTableSaysNothing(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Sequence(0x00283000)
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s)
}

// nest returns an item that holds one sequence of one item.
func nest(tag uint32, item map[uint32]craft.Element) map[uint32]craft.Element {
	return (&craft.File{Elements: map[uint32]craft.Element{}}).Sequence(tag, item).Elements
}

func TestMixedPhotometricInterpretationsAreRefused(t *testing.T) {
	for _, other := range []string{"MONOCHROME1", ""} { // one without says the usual, MONOCHROME2
		files := craft.Stack(5)
		for k, c := range files {
			if k < 4 && other == "" {
				c.Set(0x00280004, "CS", "MONOCHROME1")
			}
		}
		files[4].Set(0x00280004, "CS", other)
		refused(t, folder(files...), "mixed", "PhotometricInterpretation", "MONOCHROME1", "MONOCHROME2")
	}
}

func TestColourPictureAmongTheSlicesIsRefused(t *testing.T) {
	for _, kind := range []string{"RGB", "PALETTE COLOR", "YBR_FULL"} {
		files := craft.Stack(6)
		files[5].Set(0x00280004, "CS", kind)
		refused(t, folder(files...), "mixed", "PhotometricInterpretation", kind, "MONOCHROME2")
	}
}

func TestSliceOfAnotherKindAtTheEndIsCautioned(t *testing.T) {
	derived, burned := craft.Stack(6), craft.Stack(6)
	derived[5].Set(0x00080008, "CS", `DERIVED\SECONDARY\OTHER`)
	burned[0].Set(0x00280301, "CS", "YES")
	for word, files := range map[string][]*craft.File{"DERIVED": derived, "BurnedInAnnotation": burned} {
		s := only(t, folder(files...))
		cautioned(t, s, "left_out")
		says(t, s.Cautions[0].Text, "1 image(s)", word)
	}
}
