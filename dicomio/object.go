package dicomio

import (
	"cmp"
	"crypto/sha256"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"
	"time"

	"ridgerule/dicomio/internal/walk"
)

// Made says what made an object and when.
type Made struct {
	Tool, Version string
	Date          time.Time // zero: an empty date where the standard allows one, else 1970
}

// object is one DICOM object in the writing.
type object struct {
	encoder
	src      Source
	made     Made
	identity Identity // as it goes into the object
	copied   int      // how many of [identifying] are written
	seed     []byte   // of the object's own UIDs: the hash of its content
}

// newObject begins an object with this content.
func newObject(src Source, made Made, content ...any) *object {
	o := &object{src: src, made: made, identity: src.named()}
	sum := sha256.Sum256(fmt.Append(nil, src.Seed, src.Study, src.Series, made, o.identity, content))
	o.seed = sum[:]
	return o
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
		e.err = cmp.Or(e.err, it.err)
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

// free appends a text element of any content: what the value representation forbids is replaced, and all beyond most
// characters is cut off.
func (e *encoder) free(tag uint32, vr, text string, most int) {
	if !paragraphs[vr] {
		text = strings.ReplaceAll(text, `\`, " ")
	}
	text = cleaned(vr, text)
	if runes := []rune(text); len(runes) > most {
		text = string(runes[:most])
	}
	e.text(tag, vr, strings.TrimRight(text, " "))
}

// paragraphs are the value representations that may hold line ends, and for which a backslash parts no values.
//
// Source: DICOM PS3.5 6.1.3, 6.2.
var paragraphs = map[string]bool{"LT": true, "ST": true, "UT": true}

// cleaned returns text without the control characters that its value representation forbids.
func cleaned(vr, text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case paragraphs[vr] && strings.ContainsRune("\t\n\f\r", r):
			return r
		case r < ' ' || r >= 0x7f && r < 0xa0:
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
}

// write writes the object: preamble, File Meta group, data set.
func (o *object) write(w io.Writer, h head) error {
	if o.err != nil {
		return o.err
	}
	_, err := w.Write(append(metaGroup(h.class, h.instance, walk.Explicit), o.b...))
	return err
}

func (o *object) date() (day, clock string) {
	d := o.made.Date
	if d.IsZero() {
		d = time.Unix(0, 0)
	}
	return d.UTC().Format("20060102"), d.UTC().Format("150405")
}

// head is what the kinds of objects differ by in group 0008.
type head struct {
	class, instance, modality string
	description               string   // of the series: the same in all its objects
	conversion                string   // ConversionType; "": none
	scheme                    *encoder // item of the CodingSchemeIdentificationSequence; nil: none
}

// head0008 writes group 0008 up to the series description.
func (o *object) head0008(h head) {
	day, clock := o.date()
	o.text(0x00080005, "CS", "ISO_IR 192")
	o.text(0x00080012, "DA", day)
	o.text(0x00080013, "TM", clock)
	o.text(0x00080016, "UI", h.class)
	o.text(0x00080018, "UI", h.instance)
	o.copyTo(0x00080023)
	o.text(0x00080023, "DA", day)
	o.copyTo(0x00080033)
	o.text(0x00080033, "TM", clock)
	o.copyTo(0x00080060)
	o.text(0x00080060, "CS", h.modality)
	if h.conversion != "" {
		o.text(0x00080064, "CS", h.conversion)
	}
	o.free(0x00080070, "LO", o.made.Tool, 64)
	o.copyTo(0x00080110)
	if h.scheme != nil {
		o.sequence(0x00080110, *h.scheme)
	}
	o.copyTo(0x0008103E)
	o.free(0x0008103E, "LO", h.description, 64)
}

// copyTo writes the attributes of patient and study whose tags are less than tag and that are not written yet.
func (o *object) copyTo(tag uint32) {
	for ; o.copied < len(identifying) && identifying[o.copied].number() < tag; o.copied++ {
		a := identifying[o.copied]
		value := cleaned(a.vr, *a.of(&o.identity))
		if a.vr == "DA" {
			value = sameDate(value)
		}
		if value != "" || a.must {
			o.text(a.number(), a.vr, value)
		}
	}
}

// patient writes groups 0010 and 0012.
func (o *object) patient() {
	o.copyTo(0x00120062)
	if o.src.Identity != nil {
		return
	}
	o.text(0x00120062, "CS", "YES")
	o.text(0x00120063, "LO", "PS3.15 Basic Profile: identity never copied")
	o.sequence(0x00120064, codeItem(Code{"113100", "DCM", "Basic Application Confidentiality Profile"}))
}

// group0020 writes study, series and their numbers, and the object's own number in its series.
func (o *object) group0020(series, number string, instance int) {
	o.text(0x0020000D, "UI", o.src.refer(o.src.Study, "study"))
	o.text(0x0020000E, "UI", series)
	o.copyTo(0x00200011)
	o.text(0x00200011, "IS", number)
	o.text(0x00200013, "IS", strconv.Itoa(instance))
}
