package craft

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"maps"
	"slices"
)

// longVR are the value representations with a 32-bit length in explicit syntaxes. Source: DICOM PS3.5 7.1.2.
var longVR = map[string]bool{"OB": true, "OW": true, "SQ": true, "UN": true, "UT": true, "OF": true, "OD": true, "OV": true, "UC": true, "UR": true, "SV": true, "UV": true, "OL": true}

func order16(syntax string) binary.AppendByteOrder {
	if syntax == BigEndian {
		return binary.BigEndian
	}
	return binary.LittleEndian
}

// AppendHead appends tag, VR and length of an element as syntax writes them; items and delimiters are written as
// [Implicit] has them.
func AppendHead(b []byte, syntax string, tag uint32, vr string, length uint32) []byte {
	o := order16(syntax)
	b = o.AppendUint16(b, uint16(tag>>16))
	b = o.AppendUint16(b, uint16(tag))
	switch {
	case syntax == Implicit:
		return o.AppendUint32(b, length)
	case longVR[vr]:
		return o.AppendUint32(append(append(b, vr...), 0, 0), length)
	}
	return o.AppendUint16(append(b, vr...), uint16(length))
}

// AppendElements appends elements in the order of their tags.
func AppendElements(b []byte, syntax string, elements map[uint32]Element) []byte {
	for _, t := range slices.Sorted(maps.Keys(elements)) {
		el := elements[t]
		if el.Items != nil {
			var body []byte
			for _, item := range el.Items {
				body = append(AppendHead(body, Implicit, 0xFFFEE000, "", uint32(len(item))), item...)
			}
			b = append(AppendHead(b, syntax, t, "SQ", uint32(len(body))), body...)
			continue
		}
		b = append(AppendHead(b, syntax, t, el.VR, uint32(len(el.Value))), el.ordered(syntax)...)
	}
	return b
}

// ordered returns the value in the byte order of syntax.
func (el Element) ordered(syntax string) []byte {
	if syntax != BigEndian || el.VR != "US" && el.VR != "SS" {
		return el.Value
	}
	value := bytes.Clone(el.Value)
	for i := 0; i+1 < len(value); i += 2 {
		value[i], value[i+1] = value[i+1], value[i]
	}
	return value
}

// Bytes returns the whole file.
func (c *File) Bytes() []byte {
	var out []byte
	if !c.NoPreamble {
		out = append(make([]byte, 128), "DICM"...)
	}
	if !c.NoMeta {
		out = append(out, c.meta()...)
	}
	set := append(AppendElements(nil, c.encoding(), c.Elements), c.pixelData()...)
	if c.Syntax == Deflated {
		var z bytes.Buffer
		w, _ := flate.NewWriter(&z, 6)
		w.Write(set)
		w.Close()
		set = z.Bytes()
	}
	return append(append(out, set...), c.Tail...)
}

// encoding returns the syntax the data set is encoded in.
func (c *File) encoding() string {
	if c.Syntax == Implicit || c.Syntax == BigEndian {
		return c.Syntax
	}
	return Explicit
}

// meta returns the File Meta group.
func (c *File) meta() []byte {
	rest := append(AppendHead(nil, Explicit, 0x00020001, "OB", 2), 0, 1)
	if !c.NoSyntax {
		ts := c.Syntax
		if len(ts)%2 == 1 {
			ts += "\x00"
		}
		rest = append(AppendHead(rest, Explicit, 0x00020010, "UI", uint32(len(ts))), ts...)
	}
	if c.NoGroupLength {
		return rest
	}
	n := uint32(len(rest))
	if c.GroupLength != 0 {
		n = c.GroupLength
	}
	return append(binary.LittleEndian.AppendUint32(AppendHead(nil, Explicit, 0x00020000, "UL", 4), n), rest...)
}

func (c *File) pixelData() []byte {
	if c.NoPixels {
		return nil
	}
	if c.Fragments != nil {
		b := AppendHead(nil, Explicit, 0x7FE00010, "OB", 0xFFFFFFFF)
		b = AppendHead(b, Implicit, 0xFFFEE000, "", uint32(4*len(c.Offsets)))
		for _, o := range c.Offsets {
			b = binary.LittleEndian.AppendUint32(b, o)
		}
		for _, f := range c.Fragments {
			b = append(AppendHead(b, Implicit, 0xFFFEE000, "", uint32(len(f))), f...)
		}
		return AppendHead(b, Implicit, 0xFFFEE0DD, "", 0)
	}
	var cells []byte
	for _, v := range c.Pixels {
		if c.CellBytes == 1 {
			cells = append(cells, byte(v))
		} else {
			cells = order16(c.Syntax).AppendUint16(cells, v)
		}
	}
	if len(cells)%2 == 1 {
		cells = append(cells, 0)
	}
	return append(AppendHead(nil, c.encoding(), 0x7FE00010, "OW", uint32(len(cells))), cells...)
}
