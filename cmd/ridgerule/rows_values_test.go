package main

import (
	"fmt"
	"slices"
	"strings"

	"ridgerule/dicomio/craft"
)

// rowsOfValues are the rows that concern what the pixels are and what they mean.
func rowsOfValues() []tricky {
	each := func(change func(c *craft.File)) maker { return whole(func(_ int, c *craft.File) { change(c) }) }
	cells := func(bits, high, signed uint16, garbage uint16) maker { // 12 bits hold the ridge's 0 to 1500
		return each(func(c *craft.File) {
			c.US(0x00280101, bits).US(0x00280102, high).US(0x00280103, signed)
			for i, v := range c.Pixels {
				c.Pixels[i] = v<<(high+1-bits) | garbage
			}
		})
	}
	bytewise := each(func(c *craft.File) { // 250 steps of 6
		c.US(0x00280100, 8).US(0x00280101, 8).US(0x00280102, 7).US(0x00280103, 0).Set(0x00281053, "DS", "6")
		c.CellBytes = 1
		for i, v := range c.Pixels {
			c.Pixels[i] = v / 6
		}
	})
	varying := whole(func(k int, c *craft.File) { // every second slice in steps of half a grey value
		if k%2 == 1 {
			c.Set(0x00281053, "DS", "0.5")
			for i := range c.Pixels {
				c.Pixels[i] *= 2
			}
		}
	})
	padded := func(value uint16, set func(c *craft.File)) maker { // around the field, as a round one has it
		return each(func(c *craft.File) {
			set(c)
			for i := range slabMatrix {
				for j := range 4 {
					c.Pixels[j*slabMatrix+i], c.Pixels[(slabMatrix-1-j)*slabMatrix+i] = value, value
				}
			}
		})
	}
	return slices.Concat([]tricky{
		read(19, "12 bits, unsigned", cells(12, 11, 0, 0)),
		read(19, "12 bits, signed, garbage above", cells(12, 11, 1, 0xA000)),
		read(19, "12 bits at the top, garbage below", cells(12, 15, 0, 0x000F)),
		read(19, "8 bits", bytewise).near(0.01),
		refuse(19, "17 bits in 16", each(func(c *craft.File) { c.US(0x00280101, 17).US(0x00280102, 16) }), "Bits", "17"),
		read(20, "no rescale", each(func(c *craft.File) { c.Drop(0x00281052, 0x00281053) })).near(0.001),
		read(20, "rescale by slice", varying).near(0.001).caution("rescale_varies").list("caution: "),
		refuse(20, "slope of 0", one(func(c *craft.File) { c.Set(0x00281053, "DS", "0") }), "52: RescaleSlope 0"),
		read(21, "padding value", padded(0xF830, func(c *craft.File) { c.US(0x00280120, 0xF830) })),
		read(21, "padding range", padded(4005, func(c *craft.File) {
			c.US(0x00280103, 0).US(0x00280101, 12).US(0x00280102, 11).US(0x00280120, 4095).US(0x00280121, 4000)
		})),
		read(22, "MONOCHROME1", attribute(0x00280004, "CS", "MONOCHROME1")),
		read(37, "character sets", each(func(c *craft.File) {
			c.Set(0x00080005, "CS", `ISO 2022 IR 999\x`).Raw(0x00100010, "PN", []byte("\x1b$B\xFF\xFE\x80^\xC3\x28\x1b(B=")).Raw(0x00081030, "LO", []byte("\xff\xfe\xfd\x81"))
		})),
		read(37, "GB18030", attribute(0x00080005, "CS", "GB18030")),
		read(38, "private, UN and wrong VR", each(private38)),
	}, rowsOfKind())
}

// private38 adds what private parties add, the patient's name within.
func private38(c *craft.File) {
	name := craft.Group(0x00100010, "PN", craft.PatientName)
	c.Set(0x00091001, "LO", craft.PatientName).Raw(0x00091002, "UN", []byte{1, 2, 3, 4, 5, 6}).Raw(0x00091005, "ZZ", make([]byte, 4))
	c.Elements[0x00091006] = craft.Element{VR: "SQ", Items: [][]byte{craft.AppendElements(nil, craft.Explicit, name)}}
	c.Elements[0x00091007] = craft.Element{VR: "SQ", Items: [][]byte{craft.AppendElements(nil, craft.Implicit, name)}}
	c.Raw(0x00280030, "UN", []byte(`0.5\0.5 `)).Raw(0x00281053, "LO", []byte("1 "))
}

// rowsOfKind are pictures that are no original CT slices: alone they are refused, beside a stack listed and left out.
func rowsOfKind() (rows []tricky) {
	for name, change := range map[string]func(*craft.File){
		"ImageType DERIVED":             func(c *craft.File) { c.Set(0x00080008, "CS", `DERIVED\PRIMARY\MPR`) },
		"SOPClassUID Secondary Capture": func(c *craft.File) { c.Set(0x00080016, "UI", craft.SecondaryCapture) },
		"PhotometricInterpretation RGB": func(c *craft.File) { c.US(0x00280002, 3).Set(0x00280004, "CS", "RGB") },
		"BurnedInAnnotation YES":        func(c *craft.File) { c.Set(0x00280301, "CS", "YES") },
		"SOPClassUID MR Image":          func(c *craft.File) { c.Set(0x00080016, "UI", "1.2.840.10008.5.1.4.1.1.4") },
	} {
		changed := func() *craft.File { c := plainSlice(2); change(c); return c }
		rows = append(rows,
			refuse(11, name, whole(func(_ int, c *craft.File) { change(c) }), name, "export the original slices"),
			read(11, "beside, "+name, beside(changed)).list("unfit: ", name))
	}
	return rows
}

// rowsOfEncoding are the rows that concern transfer syntaxes and multi-frame files.
func rowsOfEncoding() []tricky {
	each := func(change func(c *craft.File)) maker { return whole(func(_ int, c *craft.File) { change(c) }) }
	syntax := func(uid string) maker { return each(func(c *craft.File) { c.Syntax = uid }) }
	fragments := func(pieces func(frame []byte) [][]byte) maker {
		return each(func(c *craft.File) { c.Syntax, c.Fragments = craft.RLE, pieces(craft.RLEFrame(c.Pixels)) })
	}
	single := func(frame []byte) [][]byte { return [][]byte{frame} }
	split := func(f []byte) [][]byte { return [][]byte{f[:10], f[10:71], f[71:]} }
	return slices.Concat([]tricky{
		read(23, "Implicit", syntax(craft.Implicit)).list("Implicit VR Little Endian"),
		read(23, "Big Endian", syntax(craft.BigEndian)).list("Big Endian"),
		read(23, "Deflated", syntax(craft.Deflated)).list("Deflated"),
		read(24, "RLE", fragments(single)).list("RLE"),
		read(25, "compressed with loss", each(func(c *craft.File) {
			c.Set(0x00282110, "CS", "01").Set(0x00080008, "CS", `DERIVED\PRIMARY\AXIAL`)
		})).caution("lossy"),
		refuse(25, "12-bit JPEG", each(func(c *craft.File) {
			c.Syntax, c.Fragments = "1.2.840.10008.1.2.4.51", [][]byte{{0xFF, 0xD8, 0xFF, 0xD9}}
		}), "TransferSyntaxUID", "lossy 12-bit JPEG is not read"),
		read(28, "a frame in three fragments", fragments(split)),
		read(28, "odd padding", fragments(func(f []byte) [][]byte { return [][]byte{append(f, 0, 0, 0)} })),
		late(28, "fragments that cannot be told apart", framed(craft.EnhancedCT, true, func(c *craft.File) {
			c.Syntax, c.Offsets = craft.RLE, []uint32{0, 5, 9, 1 << 30}
			for frame := range slices.Chunk(c.Pixels, slabMatrix*slabMatrix) {
				c.Fragments = append(c.Fragments, split(craft.RLEFrame(frame))...)
			}
		}), "PixelData", "78 fragments cannot be told apart into 26 frames"),
		read(30, "trailing padding and garbage", whole(func(k int, c *craft.File) {
			c.Tail = [][]byte{make([]byte, 700), []byte("garbage \xFF\xFE\x00"), {0}}[k%3]
		})),
		read(30, "longer pixel data", each(func(c *craft.File) { c.Pixels = append(c.Pixels, 1, 2, 3) })).caution("extra_pixels"),
		read(31, "no preamble", each(func(c *craft.File) { c.NoPreamble = true })),
		read(31, "no preamble, no meta", each(func(c *craft.File) { c.NoPreamble, c.NoMeta = true, true })).caution("syntax_inferred"),
		read(32, "meta group length wrong", each(func(c *craft.File) { c.GroupLength = 1000 })),
		read(32, "meta group length missing", each(func(c *craft.File) { c.NoGroupLength = true })),
		read(32, "transfer syntax missing", each(func(c *craft.File) { c.NoSyntax = true })).caution("syntax_inferred"),
		refuse(32, "transfer syntax unknown", syntax("1.2.3.4"), "TransferSyntaxUID 1.2.3.4", "dcmconv"),
	}, rowsOfFrames())
}

func rowsOfFrames() []tricky {
	plain := func(change func(c *craft.File)) maker {
		return among(func(all []*craft.File) []*craft.File {
			c := plainSlice(0).Set(0x00280008, "IS", fmt.Sprint(len(all))).Set(0x00180088, "DS", "0.5").Set(0x00180050, "DS", "0.5")
			for _, more := range all[1:] {
				c.Pixels = append(c.Pixels, more.Pixels...)
			}
			change(c)
			return []*craft.File{c}
		})
	}
	rows := []tricky{
		read(27, "plain multi-frame, all stated", plain(func(*craft.File) {})).caution("frame_direction"),
		refuse(27, "plain multi-frame, spacing not stated", plain(func(c *craft.File) { c.Drop(0x00180088) }), "SpacingBetweenSlices", "is missing", "SliceThickness is no substitute"),
		refuse(27, "plain multi-frame, no position", plain(func(c *craft.File) { c.Drop(0x00200032) }), "ImagePositionPatient", "is missing"),
	}
	for class, name := range map[string]string{craft.EnhancedCT: "Enhanced CT", craft.LegacyEnhancedCT: "Legacy Converted Enhanced CT", craft.XRay3DCraniofacial: "X-Ray 3D Craniofacial"} {
		for _, shared := range []bool{true, false} {
			r := read(26, fmt.Sprintf("%s, shared %v", name, shared), framed(class, shared, func(*craft.File) {})).list(name)
			if strings.HasPrefix(name, "X-Ray") {
				r = r.near(0.001) // no rescale: the grey values are others
			}
			rows = append(rows, r)
		}
	}
	return rows
}

// framed makes one multi-frame file, its frames in no order.
func framed(class string, shared bool, change func(c *craft.File)) maker {
	return among(func(all []*craft.File) []*craft.File {
		var frames []*craft.File
		for k := range all {
			frames = append(frames, all[(k*7+3)%len(all)])
		}
		c := craft.Frames(class, frames, shared)
		change(c)
		return []*craft.File{c}
	})
}
