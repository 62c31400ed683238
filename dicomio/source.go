package dicomio

import (
	"cmp"
	"strings"
)

// Source is the series that an object is about. Its UIDs go into the object replaced unless
// Identity is set, so that nothing leads back to the patient; the same UID is always replaced by
// the same one.
//
// Source: DICOM PS3.15 Annex E, Basic Application Level Confidentiality Profile (actions U, Z, X).
type Source struct {
	Study, Series, FrameOfReference string // UIDs; "" means none known: derived from Seed
	Class                           string // SOP Class UID of the images; "" means CT Image Storage
	Images                          []string
	Identity                        *Identity // nil: de-identified
	Label                           string    `json:"-"` // of the case: what a de-identified patient is called
	Pseudonym                       string    `json:"-"` // PatientID of a de-identified patient (see [Identity.Pseudonym]); "": the label
	Seed                            string    // what UIDs are derived from when the source has none: the series hash
	Replaced                        bool      // the UIDs are replaced ones already: they go in as they are
}

// Source returns the series as objects about it refer to it, UIDs and identity as found: see [Source.Deidentified].
func (s *Series) Source() Source {
	src := Source{Study: s.Study, Series: s.UID, FrameOfReference: s.FrameOfReference, Class: s.Class, Identity: &s.Identity}
	seen := map[string]bool{}
	for _, image := range s.Images {
		if image.SOP != "" && !seen[image.SOP] { // the frames of one file share its UID
			seen[image.SOP] = true
			src.Images = append(src.Images, image.SOP)
		}
	}
	return src
}

// Deidentified returns the source with every UID replaced and no identity: harmless to keep, and what objects written
// from it hold is what they would hold without Identity.
func (s Source) Deidentified() Source {
	s.Identity = nil
	out := s
	out.Replaced, out.Images = true, make([]string, len(s.Images))
	for i, uid := range s.Images {
		out.Images[i] = s.replaced(uid, "")
	}
	for _, uid := range []struct {
		to   *string
		what string
	}{{&out.Study, "study"}, {&out.Series, "source series"}, {&out.FrameOfReference, "frame of reference"}} {
		if *uid.to != "" {
			*uid.to = s.replaced(*uid.to, uid.what)
		}
	}
	return out
}

// replaced returns the UID that stands for uid, or, where there is none, the one that stands for what.
func (s Source) replaced(uid, what string) string {
	switch {
	case uid == "":
		return derivedUID(what, []byte(s.Seed))
	case s.Identity != nil || s.Replaced:
		return uid
	}
	return derivedUID("replaced", []byte(uid))
}

// refer returns the UID as it goes into an object. A study belongs to one patient: what has another PatientID refers to
// other UIDs.
//
// Source: DICOM PS3.3 A.1.2.
func (s Source) refer(uid, what string) string {
	uid = s.replaced(uid, what)
	if patient := s.named().PatientID; s.Identity == nil && patient != "" {
		return derivedUID("of patient "+patient, []byte(uid))
	}
	return uid
}

// Frame returns the UID of the frame of reference as objects about s refer to it.
func (s Source) Frame() string { return s.refer(s.FrameOfReference, "frame of reference") }

// Instances returns the UIDs of the images as objects about s refer to them.
func (s Source) Instances() []string {
	out := make([]string, len(s.Images))
	for i, uid := range s.Images {
		out[i] = s.refer(uid, "")
	}
	return out
}

// Modality returns the modality of the images, by their class. Source: DICOM PS3.3 A.3, A.38, C.8.21.1.
func (s Source) Modality() string {
	if s.Class == xray3DCranio {
		return "DX"
	}
	return "CT"
}

func (s Source) class() string { return cmp.Or(s.Class, ctImage) }

// longest is what an ID, or a name with its delimiter, has room for, characters. Source: DICOM PS3.5 6.2.
const longest = 64

// named returns who the patient of an object is: with identity the source's, else a label and a pseudonym.
func (s Source) named() Identity {
	if s.Identity != nil {
		return *s.Identity
	}
	name := s.Label
	if name != "" {
		name = strings.NewReplacer("^", " ", "=", " ").Replace(fitting(s.Label, longest-1)) + "^" // a family name: PS3.5 6.2.1
	}
	return Identity{PatientName: name, PatientID: fitting(cmp.Or(s.Pseudonym, s.Label), longest)}
}

// fitting returns a text as one value of most characters.
func fitting(text string, most int) string {
	runes := []rune(strings.ReplaceAll(text, `\`, " "))
	return string(runes[:min(len(runes), most)])
}
