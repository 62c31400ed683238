package dicomio

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"
)

// Identity is what points to a person, by DICOM keyword. It is never printed unless the user asks.
type Identity struct {
	PatientName, PatientID, PatientBirthDate, PatientSex string
	StudyDate, StudyDescription, SeriesDescription       string
	InstitutionName, AccessionNumber                     string
	StudyTime, StudyID, ReferringPhysicianName           string

	IssuerOfPatientID             string `json:",omitempty"`
	PatientBirthTime              string `json:",omitempty"`
	OtherPatientNames             string `json:",omitempty"`
	PatientAge                    string `json:",omitempty"`
	PatientSize                   string `json:",omitempty"` // m
	PatientWeight                 string `json:",omitempty"` // kg
	EthnicGroup                   string `json:",omitempty"`
	Occupation                    string `json:",omitempty"`
	AdditionalPatientHistory      string `json:",omitempty"`
	PatientComments               string `json:",omitempty"`
	PhysiciansOfRecord            string `json:",omitempty"`
	NameOfPhysiciansReadingStudy  string `json:",omitempty"`
	AdmittingDiagnosesDescription string `json:",omitempty"`
}

// attribute is one of patient or study.
type attribute struct {
	tag  tag.Tag
	vr   string
	must bool // it is in every object, if empty
	of   func(*Identity) *string
}

func (a attribute) number() uint32 { return uint32(a.tag.Group)<<16 | uint32(a.tag.Element) }

// identifying are the plain attributes of the modules Patient, General Study and Patient Study, in the order of their tags:
// what a series has of them goes into the objects about it, if identity is asked for.
//
// Source: DICOM PS3.3 C.7.1.1, C.7.2.1, C.7.2.2.
var identifying = []attribute{
	{tag.StudyDate, "DA", true, func(id *Identity) *string { return &id.StudyDate }},
	{tag.StudyTime, "TM", true, func(id *Identity) *string { return &id.StudyTime }},
	{tag.AccessionNumber, "SH", true, func(id *Identity) *string { return &id.AccessionNumber }},
	{tag.ReferringPhysicianName, "PN", true, func(id *Identity) *string { return &id.ReferringPhysicianName }},
	{tag.StudyDescription, "LO", false, func(id *Identity) *string { return &id.StudyDescription }},
	{tag.PhysiciansOfRecord, "PN", false, func(id *Identity) *string { return &id.PhysiciansOfRecord }},
	{tag.NameOfPhysiciansReadingStudy, "PN", false, func(id *Identity) *string { return &id.NameOfPhysiciansReadingStudy }},
	{tag.AdmittingDiagnosesDescription, "LO", false, func(id *Identity) *string { return &id.AdmittingDiagnosesDescription }},
	{tag.PatientName, "PN", true, func(id *Identity) *string { return &id.PatientName }},
	{tag.PatientID, "LO", true, func(id *Identity) *string { return &id.PatientID }},
	{tag.IssuerOfPatientID, "LO", false, func(id *Identity) *string { return &id.IssuerOfPatientID }},
	{tag.PatientBirthDate, "DA", true, func(id *Identity) *string { return &id.PatientBirthDate }},
	{tag.PatientBirthTime, "TM", false, func(id *Identity) *string { return &id.PatientBirthTime }},
	{tag.PatientSex, "CS", true, func(id *Identity) *string { return &id.PatientSex }},
	{tag.OtherPatientNames, "PN", false, func(id *Identity) *string { return &id.OtherPatientNames }},
	{tag.PatientAge, "AS", false, func(id *Identity) *string { return &id.PatientAge }},
	{tag.PatientSize, "DS", false, func(id *Identity) *string { return &id.PatientSize }},
	{tag.PatientWeight, "DS", false, func(id *Identity) *string { return &id.PatientWeight }},
	{tag.EthnicGroup, "SH", false, func(id *Identity) *string { return &id.EthnicGroup }},
	{tag.Occupation, "SH", false, func(id *Identity) *string { return &id.Occupation }},
	{tag.AdditionalPatientHistory, "LT", false, func(id *Identity) *string { return &id.AdditionalPatientHistory }},
	{tag.PatientComments, "LT", false, func(id *Identity) *string { return &id.PatientComments }},
	{tag.StudyID, "SH", true, func(id *Identity) *string { return &id.StudyID }},
}

func readIdentity(a attrs) Identity {
	id := Identity{SeriesDescription: a.text(tag.SeriesDescription), InstitutionName: a.text(tag.InstitutionName)}
	for _, at := range identifying {
		*at.of(&id) = a.whole(at.tag)
	}
	return id
}

// ErrNoPatient says that an identity names nobody.
var ErrNoPatient = errors.New("dicomio: the series names no patient: it has neither PatientID nor PatientName")

// Pseudonym returns what stands for the patient, 32 hexadecimal digits: the first 128 bits of the HMAC-SHA-256 under key
// of PatientID, IssuerOfPatientID, PatientName (in capitals, without empty components at the ends) and PatientBirthDate,
// parted by a zero byte. The same patient under the same key has the same; without the key nobody can tell whose it is,
// as long as it cannot be guessed. It returns [ErrNoPatient] where neither ID nor name is there: nobody is told apart by that.
//
// Source: RFC 2104 (HMAC), FIPS 180-4 (SHA-256).
func (id Identity) Pseudonym(key []byte) (string, error) {
	name := sameName(id.PatientName)
	if id.PatientID == "" && name == "" {
		return "", ErrNoPatient
	}
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(strings.Join([]string{id.PatientID, id.IssuerOfPatientID, name, sameDate(id.PatientBirthDate)}, "\x00")))
	return hex.EncodeToString(mac.Sum(nil)[:16]), nil
}
