package dicomio

import (
	"crypto/sha256"
	"fmt"
	"math/big"
	"strings"
	"time"

	"ridgerule/dicomio/internal/walk"
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
	out.Replaced, out.Images = true, s.images()
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

// Made says what made an object and when.
type Made struct {
	Tool, Version string
	Date          time.Time // zero: an empty date where the standard allows one, else 1970
}

// object is one DICOM object in the writing.
type object struct {
	encoder
	src  Source
	made Made
	seed []byte // of the object's own UIDs: the hash of its content
}

// replaced returns the UID as it goes into the object.
func (s Source) replaced(uid, what string) string {
	switch {
	case uid == "":
		return derivedUID(what, []byte(s.Seed))
	case s.Identity != nil || s.Replaced:
		return uid
	}
	return derivedUID("replaced", []byte(uid))
}

// DerivedUID returns the UID of the 2.25 root that stands for what, within seed: the same two give
// the same UID.
func DerivedUID(what, seed string) string { return derivedUID(what, []byte(seed)) }

// derivedUID returns a UID of the 2.25 root from a hash.
//
// Source: DICOM PS3.5 B.2 (UUID derived UID); RFC 9562 5.8 (UUID version 8).
func derivedUID(what string, seed []byte) string {
	sum := sha256.Sum256(append([]byte(what+"\x00"), seed...))
	b := sum[:16]
	b[6], b[8] = b[6]&0x0F|0x80, b[8]&0x3F|0x80
	return "2.25." + new(big.Int).SetBytes(b).String()
}

// sequence appends a sequence of items with defined lengths.
func (e *encoder) sequence(tag uint32, items ...encoder) {
	n := 0
	for _, it := range items {
		n += 8 + len(it.b)
	}
	e.head(tag, "SQ", n)
	for _, it := range items {
		e.item(len(it.b))
		e.b = append(e.b, it.b...)
	}
}

func (e *encoder) item(length int) {
	e.b = append(e.b, 0xFE, 0xFF, 0x00, 0xE0, byte(length), byte(length>>8), byte(length>>16), byte(length>>24))
}

// free appends a text element of any content: what the value representation forbids is replaced.
func (e *encoder) free(tag uint32, vr, text string, most int) {
	multi := vr == "UT" || vr == "LT" || vr == "ST"
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f || r == '\\' && !multi || r == 0x1b {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most])
	}
	e.text(tag, vr, strings.TrimRight(text, " "))
}

// file returns the object's bytes: preamble, File Meta group, data set.
func (o *object) file(class, instance string) []byte {
	return append(metaGroup(class, instance, walk.Explicit), o.b...)
}

func (o *object) date() (day, clock string) {
	d := o.made.Date
	if d.IsZero() {
		d = time.Unix(0, 0)
	}
	return d.UTC().Format("20060102"), d.UTC().Format("150405")
}

// head0008 writes group 0008 up to the series description.
func (o *object) head0008(class, instance, modality, description string, more func()) {
	day, clock := o.date()
	id := o.identity()
	o.text(0x00080005, "CS", "ISO_IR 192")
	o.text(0x00080012, "DA", day)
	o.text(0x00080013, "TM", clock)
	o.text(0x00080016, "UI", class)
	o.text(0x00080018, "UI", instance)
	o.text(0x00080020, "DA", digits(id.StudyDate))
	o.text(0x00080023, "DA", day)
	o.text(0x00080030, "TM", "")
	o.text(0x00080033, "TM", clock)
	o.free(0x00080050, "SH", id.AccessionNumber, 16)
	o.text(0x00080060, "CS", modality)
	more()
	o.free(0x00080070, "LO", o.made.Tool, 64)
	o.text(0x00080090, "PN", "")
	if id.StudyDescription != "" {
		o.free(0x00081030, "LO", id.StudyDescription, 64)
	}
	o.free(0x0008103E, "LO", description, 64)
}

// identity returns what the user asked to have in the object: nothing by default.
func (o *object) identity() Identity {
	if o.src.Identity == nil {
		return Identity{}
	}
	return *o.src.Identity
}

// patient writes groups 0010 and 0012.
func (o *object) patient() {
	id := o.identity()
	name, number := id.PatientName, id.PatientID
	if o.src.Identity == nil {
		name, number = "De-identified^", "DE-IDENTIFIED"
	}
	o.free(0x00100010, "PN", name, 64)
	o.free(0x00100020, "LO", number, 64)
	o.text(0x00100030, "DA", digits(id.PatientBirthDate))
	o.text(0x00100040, "CS", sex(id.PatientSex))
	if o.src.Identity != nil {
		return
	}
	o.text(0x00120062, "CS", "YES")
	o.text(0x00120063, "LO", "PS3.15 Basic Profile: identity never copied")
	o.sequence(0x00120064, codeItem(Code{"113100", "DCM", "Basic Application Confidentiality Profile"}))
}

func sex(s string) string {
	if s == "M" || s == "F" || s == "O" {
		return s
	}
	return ""
}

// digits keeps a date only when it is one: eight digits.
func digits(date string) string {
	if len(date) != 8 || strings.Trim(date, "0123456789") != "" {
		return ""
	}
	return date
}

// group0020 writes study, series and their numbers.
func (o *object) group0020(series, number string) {
	o.text(0x0020000D, "UI", o.src.replaced(o.src.Study, "study"))
	o.text(0x0020000E, "UI", series)
	o.text(0x00200010, "SH", "")
	o.text(0x00200011, "IS", number)
	o.text(0x00200013, "IS", "1")
}

func (s Source) class() string {
	if s.Class == "" {
		return ctImage
	}
	return s.Class
}

// images returns the replaced instance UIDs of the source's images.
func (s Source) images() []string {
	out := make([]string, len(s.Images))
	for i, uid := range s.Images {
		out[i] = s.replaced(uid, fmt.Sprint("instance ", i))
	}
	return out
}
