// Package craft builds DICOM files, right or wrong, element by element, for the tests of those that read them: dicomio,
// and the commands. It is written apart from what it tests: it shares no table with the reader and no function with the
// writer, and imports neither.
//
//	c := craft.Slice(2).Set(0x00280030, "DS", `0,3\0,4`) // slice 2 of a small series, its PixelSpacing spoilt
//	os.WriteFile(name, c.Bytes(), 0o600)
package craft

import (
	"encoding/binary"
	"fmt"
)

// Transfer syntaxes by UID. Source: DICOM PS3.5 A.
const (
	Implicit  = "1.2.840.10008.1.2"
	Explicit  = "1.2.840.10008.1.2.1"
	Deflated  = "1.2.840.10008.1.2.1.99"
	BigEndian = "1.2.840.10008.1.2.2"
	RLE       = "1.2.840.10008.1.2.5"
)

// SOP classes by UID. Source: DICOM PS3.4 B.5.
const (
	CTImage            = "1.2.840.10008.5.1.4.1.1.2"
	EnhancedCT         = "1.2.840.10008.5.1.4.1.1.2.1"
	LegacyEnhancedCT   = "1.2.840.10008.5.1.4.1.1.2.2"
	SecondaryCapture   = "1.2.840.10008.5.1.4.1.1.7"
	XRay3DCraniofacial = "1.2.840.10008.5.1.4.1.1.13.1.2"
)

// What every [Slice] says of its patient. None of it may appear in an output.
const (
	PatientName      = "Secret^Name"
	PatientID        = "SECRET-ID"
	PatientBirthDate = "19010203"
)

// File is one DICOM file in the making.
type File struct {
	Syntax    string // of the data set, and what the file declares
	Elements  map[uint32]Element
	Pixels    []uint16 // cells of a native Pixel Data
	CellBytes int      // bytes a cell, 1 or 2
	Fragments [][]byte // of an encapsulated Pixel Data, when not nil: the items after the offset table
	Offsets   []uint32 // its Basic Offset Table
	NoPixels  bool

	NoPreamble, NoMeta, NoGroupLength, NoSyntax bool
	GroupLength                                 uint32 // 0 means the right one
	Tail                                        []byte // after everything
}

// Element is one attribute: a value, or the encoded items of a sequence when Items is not nil.
type Element struct {
	VR    string
	Value []byte
	Items [][]byte
}

// Slice returns slice k of a small plain CT series: 6 × 5 pixels, 0.4 × 0.3 mm, 0.4 mm apart, signed 16 bit. Pixel i
// holds 100·k + i − 15, and its grey value is 1000 less.
func Slice(k int) *File {
	c := &File{Syntax: Explicit, Elements: map[uint32]Element{}, CellBytes: 2}
	c.Set(0x00080008, "CS", `ORIGINAL\PRIMARY\AXIAL`)
	c.Set(0x00080016, "UI", CTImage)
	c.Set(0x00080018, "UI", fmt.Sprintf("1.2.3.4.%d", k+1))
	c.Set(0x00080060, "CS", "CT")
	c.Set(0x00100010, "PN", PatientName)
	c.Set(0x00100020, "LO", PatientID)
	c.Set(0x00100030, "DA", PatientBirthDate)
	c.Set(0x0020000E, "UI", "1.2.3.9")
	c.Set(0x00200013, "IS", fmt.Sprint(k+1))
	c.Set(0x00200032, "DS", fmt.Sprintf(`-10\-20\%.1f`, 30+0.4*float64(k)))
	c.Set(0x00200037, "DS", `1\0\0\0\1\0`)
	c.Set(0x00200052, "UI", "1.2.3.8")
	c.Set(0x00280004, "CS", "MONOCHROME2")
	c.Set(0x00280030, "DS", `0.3\0.4`)
	c.Set(0x00281052, "DS", "-1000")
	c.Set(0x00281053, "DS", "1")
	for tag, v := range map[uint32]uint16{0x00280002: 1, 0x00280010: 5, 0x00280011: 6, 0x00280100: 16, 0x00280101: 16, 0x00280102: 15, 0x00280103: 1} {
		c.US(tag, v)
	}
	c.Pixels = make([]uint16, 30)
	for i := range c.Pixels {
		c.Pixels[i] = uint16(int16(100*k + i - 15))
	}
	return c
}

// Stack returns slices 0 to n − 1.
func Stack(n int) []*File {
	out := make([]*File, n)
	for k := range out {
		out[k] = Slice(k)
	}
	return out
}

// Set sets an attribute to text, made even in length.
func (c *File) Set(tag uint32, vr, value string) *File {
	if len(value)%2 == 1 {
		value += map[bool]string{true: "\x00", false: " "}[vr == "UI"]
	}
	return c.Raw(tag, vr, []byte(value))
}

// US sets an attribute to one unsigned 16-bit number.
func (c *File) US(tag uint32, v uint16) *File {
	return c.Raw(tag, "US", binary.LittleEndian.AppendUint16(nil, v))
}

// Raw sets an attribute to bytes, whatever they are.
func (c *File) Raw(tag uint32, vr string, value []byte) *File {
	c.Elements[tag] = Element{VR: vr, Value: value}
	return c
}

// Sequence sets a sequence of items, in Explicit VR Little Endian.
func (c *File) Sequence(tag uint32, items ...map[uint32]Element) *File {
	el := Element{VR: "SQ", Items: [][]byte{}}
	for _, item := range items {
		el.Items = append(el.Items, AppendElements(nil, Explicit, item))
	}
	c.Elements[tag] = el
	return c
}

// Drop takes attributes out.
func (c *File) Drop(tags ...uint32) *File {
	for _, t := range tags {
		delete(c.Elements, t)
	}
	return c
}

// Text returns the value of an attribute as text, as [File.Set] took it but for the padding.
func (c *File) Text(tag uint32) string {
	value := c.Elements[tag].Value
	for len(value) > 0 && (value[len(value)-1] == ' ' || value[len(value)-1] == 0) {
		value = value[:len(value)-1]
	}
	return string(value)
}

// Group returns the elements of one item from triples of tag, VR and text.
func Group(triples ...any) map[uint32]Element {
	c := &File{Elements: map[uint32]Element{}}
	for i := 0; i < len(triples); i += 3 {
		c.Set(uint32(triples[i].(int)), triples[i+1].(string), triples[i+2].(string))
	}
	return c.Elements
}
