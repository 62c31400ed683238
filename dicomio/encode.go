package dicomio

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
)

// ErrValue is wrapped when a number or a text has no place in the DICOM value that is to hold it.
var ErrValue = errors.New("dicomio: DICOM cannot hold a value")

// encoder appends data elements in Explicit VR Little Endian; the caller adds them in ascending order of tag.
//
// Source: DICOM PS3.5 7.1.2, 6.2 (padding: a blank, for UI a NUL).
type encoder struct {
	b   []byte
	err error // the first value that could not be held
}

// refuse keeps the first error.
func (e *encoder) refuse(format string, args ...any) {
	if e.err == nil {
		e.err = fmt.Errorf("%w: "+format, append([]any{ErrValue}, args...)...)
	}
}

// text appends a string element; several values are joined by backslashes.
func (e *encoder) text(tag uint32, vr string, values ...string) {
	v := strings.Join(values, `\`)
	if len(v)%2 == 1 && vr == "UI" {
		v += "\x00"
	} else if len(v)%2 == 1 {
		v += " "
	}
	e.head(tag, vr, len(v))
	e.b = append(e.b, v...)
}

// decimals appends a DS element. What is no number is refused.
func (e *encoder) decimals(tag uint32, values ...float64) {
	texts := make([]string, len(values))
	for i, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			e.refuse("%g in (%04X,%04X): a decimal string holds finite numbers", v, tag>>16, tag&0xFFFF)
		}
		texts[i] = decimalString(v)
	}
	e.text(tag, "DS", texts...)
}

// short appends one 16-bit value as US or SS.
func (e *encoder) short(tag uint32, vr string, v uint16) {
	e.head(tag, vr, 2)
	e.b = binary.LittleEndian.AppendUint16(e.b, v)
}

// head appends tag, VR and length.
func (e *encoder) head(tag uint32, vr string, length int) {
	e.b = binary.LittleEndian.AppendUint16(e.b, uint16(tag>>16))
	e.b = binary.LittleEndian.AppendUint16(e.b, uint16(tag))
	e.b = append(e.b, vr...)
	switch vr {
	case "OB", "OD", "OF", "OL", "OV", "OW", "SQ", "SV", "UC", "UN", "UR", "UT", "UV":
		e.b = append(e.b, 0, 0)
		e.b = binary.LittleEndian.AppendUint32(e.b, uint32(length))
	default:
		if length > 0xFFFE {
			e.refuse("%d bytes in (%04X,%04X) %s, at most 65534", length, tag>>16, tag&0xFFFF, vr)
		}
		e.b = binary.LittleEndian.AppendUint16(e.b, uint16(length))
	}
}

// metaGroup returns preamble, marker and File Meta group.
//
// Source: DICOM PS3.10 7.1.
func metaGroup(class, instance, syntax string) []byte {
	var meta encoder
	meta.head(0x00020001, "OB", 2)
	meta.b = append(meta.b, 0, 1)
	meta.text(0x00020002, "UI", class)
	meta.text(0x00020003, "UI", instance)
	meta.text(0x00020010, "UI", syntax)
	meta.text(0x00020012, "UI", implementation)
	meta.text(0x00020013, "SH", "RIDGERULE")
	e := encoder{b: make([]byte, 128, 512)}
	e.b = append(e.b, "DICM"...)
	e.head(0x00020000, "UL", 4)
	e.b = binary.LittleEndian.AppendUint32(e.b, uint32(len(meta.b)))
	return append(e.b, meta.b...)
}

// implementation is our Implementation Class UID, derived once from a random UUID. Source: DICOM PS3.5 B.2.
const implementation = "2.25.250911734162790213548790334122518746901"

// decimalString writes v, a finite number, in at most 16 characters, as many digits as fit.
//
// Source: DICOM PS3.5 6.2, DS.
func decimalString(v float64) string {
	if v == 0 || math.IsNaN(v) || math.IsInf(v, 0) {
		return "0"
	}
	best := ""
	bestError := math.Inf(1)
	for _, format := range []byte{'f', 'e'} {
		for digits := 17; digits >= 0; digits-- {
			s := trimDecimal(strconv.FormatFloat(v, format, digits, 64))
			if len(s) > 16 {
				continue
			}
			back, err := strconv.ParseFloat(s, 64)
			if err == nil && math.Abs(back-v) < bestError {
				best, bestError = s, math.Abs(back-v)
			}
			break
		}
	}
	return best
}

// trimDecimal drops trailing zeros of a fraction.
func trimDecimal(s string) string {
	mantissa, exponent, found := strings.Cut(s, "e")
	if strings.Contains(mantissa, ".") {
		mantissa = strings.TrimRight(strings.TrimRight(mantissa, "0"), ".")
	}
	if mantissa == "-0" {
		mantissa = "0"
	}
	if found {
		return mantissa + "e" + exponent
	}
	return mantissa
}
