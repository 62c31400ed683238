package walk

// Tags the walk itself acts on, group in the high half.
const (
	tagClass       = 0x00020002
	tagSyntax      = 0x00020010
	tagItem        = 0xFFFEE000
	tagItemEnd     = 0xFFFEE00D
	tagSequenceEnd = 0xFFFEE0DD
	tagPadding     = 0xFFFCFFFC
	tagPixels      = 0x7FE00010
)

type attribute struct {
	vr   string
	word int    // where its bit is in a [marks]
	bit  uint64 // its own among all attributes of its word
}

// marks says which attributes of one data set or item are kept already.
type marks [2]uint64

func (m *marks) has(a attribute) bool { return m[a.word]&a.bit != 0 }
func (m *marks) add(a attribute)      { m[a.word] |= a.bit }

// attributes are the ones that are kept, with the VR of the dictionary: a file's own VR may be wrong. PixelPaddingValue
// and its range (US or SS by PixelRepresentation) are kept as US.
//
// Source: DICOM PS3.6 6.
var attributes = numbered(map[uint32]string{
	0x00041220: "SQ", // DirectoryRecordSequence
	0x00041430: "CS", // DirectoryRecordType
	0x00041500: "CS", // ReferencedFileID
	0x00080005: "CS", // SpecificCharacterSet
	0x00080008: "CS", // ImageType
	0x00080016: "UI", // SOPClassUID
	0x00080018: "UI", // SOPInstanceUID
	0x00080020: "DA", // StudyDate
	0x00080030: "TM", // StudyTime
	0x00080050: "SH", // AccessionNumber
	0x00080060: "CS", // Modality
	0x00080080: "LO", // InstitutionName
	0x00080090: "PN", // ReferringPhysicianName
	0x00081030: "LO", // StudyDescription
	0x0008103E: "LO", // SeriesDescription
	0x00081048: "PN", // PhysiciansOfRecord
	0x00081060: "PN", // NameOfPhysiciansReadingStudy
	0x00081080: "LO", // AdmittingDiagnosesDescription
	0x00089007: "CS", // FrameType
	0x00100010: "PN", // PatientName
	0x00100020: "LO", // PatientID
	0x00100021: "LO", // IssuerOfPatientID
	0x00100030: "DA", // PatientBirthDate
	0x00100032: "TM", // PatientBirthTime
	0x00100040: "CS", // PatientSex
	0x00101001: "PN", // OtherPatientNames
	0x00101010: "AS", // PatientAge
	0x00101020: "DS", // PatientSize
	0x00101030: "DS", // PatientWeight
	0x00102160: "SH", // EthnicGroup
	0x00102180: "SH", // Occupation
	0x001021B0: "LT", // AdditionalPatientHistory
	0x00104000: "LT", // PatientComments
	0x00120063: "LO", // DeidentificationMethod
	0x00180050: "DS", // SliceThickness
	0x00180060: "DS", // KVP
	0x00180088: "DS", // SpacingBetweenSlices
	0x00181164: "DS", // ImagerPixelSpacing
	0x00189329: "SQ", // CTImageFrameTypeSequence
	0x00189504: "SQ", // XRay3DFrameTypeSequence
	0x0020000D: "UI", // StudyInstanceUID
	0x0020000E: "UI", // SeriesInstanceUID
	0x00200010: "SH", // StudyID
	0x00200013: "IS", // InstanceNumber
	0x00200032: "DS", // ImagePositionPatient
	0x00200037: "DS", // ImageOrientationPatient
	0x00200052: "UI", // FrameOfReferenceUID
	0x00201002: "IS", // ImagesInAcquisition
	0x00209056: "SH", // StackID
	0x00209111: "SQ", // FrameContentSequence
	0x00209113: "SQ", // PlanePositionSequence
	0x00209116: "SQ", // PlaneOrientationSequence
	0x00209128: "UL", // TemporalPositionIndex
	0x00280002: "US", // SamplesPerPixel
	0x00280004: "CS", // PhotometricInterpretation
	0x00280008: "IS", // NumberOfFrames
	0x00280010: "US", // Rows
	0x00280011: "US", // Columns
	0x00280030: "DS", // PixelSpacing
	0x00280100: "US", // BitsAllocated
	0x00280101: "US", // BitsStored
	0x00280102: "US", // HighBit
	0x00280103: "US", // PixelRepresentation
	0x00280120: "US", // PixelPaddingValue
	0x00280121: "US", // PixelPaddingRangeLimit
	0x00280301: "CS", // BurnedInAnnotation
	0x00281052: "DS", // RescaleIntercept
	0x00281053: "DS", // RescaleSlope
	0x00281054: "LO", // RescaleType
	0x00282110: "CS", // LossyImageCompression
	0x00283000: "SQ", // ModalityLUTSequence
	0x00289110: "SQ", // PixelMeasuresSequence
	0x00289145: "SQ", // PixelValueTransformationSequence
	0x52009229: "SQ", // SharedFunctionalGroupsSequence
	0x52009230: "SQ", // PerFrameFunctionalGroupsSequence
})

// numbered gives each attribute a bit; there are at most 128.
func numbered(vrs map[uint32]string) map[uint32]attribute {
	out := make(map[uint32]attribute, len(vrs))
	for tag, vr := range vrs {
		out[tag] = attribute{vr: vr, word: len(out) / 64, bit: 1 << (len(out) % 64)}
	}
	if len(out) > 64*len(marks{}) {
		panic("walk: more attributes than marks")
	}
	return out
}

// single are the binary attributes that hold exactly one value.
var single = map[uint32]bool{
	0x00280002: true, 0x00280010: true, 0x00280011: true, 0x00280100: true, 0x00280101: true,
	0x00280102: true, 0x00280103: true, 0x00280120: true, 0x00280121: true, 0x00209128: true,
}

// mayBeEmpty are the single ones that, empty, say no more than absent.
var mayBeEmpty = map[uint32]bool{0x00280120: true, 0x00280121: true, 0x00209128: true}

// binaryWidth is the size of one value of a binary VR that may stand for a kept one, in bytes.
var binaryWidth = map[string]int{"US": 2, "SS": 2, "UL": 4, "SL": 4}

// short are the VRs with a 16-bit length. Source: DICOM PS3.5 7.1.2.
var short = map[string]bool{
	"AE": true, "AS": true, "AT": true, "CS": true, "DA": true, "DS": true, "DT": true, "FL": true, "FD": true,
	"IS": true, "LO": true, "LT": true, "PN": true, "SH": true, "SL": true, "SS": true, "ST": true, "TM": true,
	"UI": true, "UL": true, "US": true,
}
