package dicomio

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"slices"
	"testing"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
)

// The rows of the table of tricky series that concern encodings.

func TestRow23NativeSyntaxes(t *testing.T) {
	var hash string
	for _, syntax := range []string{walk.Implicit, walk.Explicit, walk.BigEndian, walk.Deflated} {
		files := craft.Stack(5)
		for _, c := range files {
			c.Syntax = syntax
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 5)
		cautioned(t, s)
		if s.Facts.Encoding != walk.Name(syntax) {
			t.Errorf("encoding %q, want %q", s.Facts.Encoding, walk.Name(syntax))
		}
		if h := s.Hash(v); hash == "" {
			hash = h
		} else if h != hash {
			t.Errorf("%s: the hash moved with the encoding", s.Facts.Encoding)
		}
	}
}

func TestRow25LossyIsCautioned(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Set(0x00282110, "CS", "01")
	}
	s, _ := readOnly(t, folder(files...))
	cautioned(t, s, "lossy")
	for _, c := range files { // compressing alone makes a slice DERIVED; computing one does too, and is refused
		c.Set(0x00080008, "CS", `DERIVED\PRIMARY\AXIAL`)
	}
	s, _ = readOnly(t, folder(files...))
	cautioned(t, s, "lossy")
	for _, types := range []string{`DERIVED\SECONDARY\AXIAL`, `DERIVED\PRIMARY\MPR`, `DERIVED\PRIMARY\AXIAL\MIP`} {
		for _, c := range files {
			c.Set(0x00080008, "CS", types)
		}
		refused(t, folder(files...), "derived")
	}
	for _, c := range files {
		c.Set(0x00080008, "CS", `ORIGINAL\PRIMARY\AXIAL`)
		c.Syntax = walk.JPEGExtended
		c.Fragments = [][]byte{{0xFF, 0xD8, 0xFF, 0xD9}}
	}
	refused(t, folder(files...), "syntax", "lossy 12-bit JPEG is not read")
}

func TestRow31NoPreambleNoMeta(t *testing.T) {
	for _, syntax := range []string{walk.Explicit, walk.Implicit, walk.BigEndian} {
		for _, preamble := range []bool{true, false} {
			files := craft.Stack(4)
			for _, c := range files {
				c.Syntax, c.NoMeta, c.NoPreamble = syntax, true, preamble
			}
			s, v := readOnly(t, folder(files...))
			sameStack(t, v, 4)
			cautioned(t, s, "syntax_inferred")
		}
	}
	files := craft.Stack(4)
	for _, c := range files {
		c.NoPreamble = true // the meta group is there
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s)
}

func TestRow32MetaGroupWrong(t *testing.T) {
	for _, length := range []uint32{1, 7, 1000, 0xFFFFFFFF} {
		files := craft.Stack(4)
		for _, c := range files {
			c.GroupLength = length
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 4)
		cautioned(t, s)
	}
	files := craft.Stack(4)
	for _, c := range files {
		c.NoGroupLength = true
	}
	_, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	for _, c := range files {
		c.NoSyntax = true
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s, "syntax_inferred")
	for _, uid := range []string{"1.2.3.4", "1.2.840.10008.1.2.4.201", "1.2.840.113619.5.2"} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Syntax = uid
		}
		refused(t, folder(files...), "syntax", uid, "TransferSyntaxUID", "dcmconv")
	}
	files = craft.Stack(4) // declared explicit, encoded implicit
	fsys := folder(files...)
	for name := range fsys {
		b := craft.Slice(1)
		b.Syntax = walk.Implicit
		wrong := bytes.Replace(b.Bytes(), []byte("1.2.840.10008.1.2\x00"), []byte("1.2.840.10008.1.2\x00"), 1)
		i := bytes.Index(wrong, []byte("1.2.840.10008.1.2\x00"))
		meta := append([]byte(nil), wrong[:i-2]...)
		meta = append(binary.LittleEndian.AppendUint16(meta, 20), "1.2.840.10008.1.2.1\x00"...)
		add(fsys, name, append(meta, wrong[i+18:]...))
	}
	_, err := scanned(t, fsys)
	if e, ok := err.(*SeriesError); !ok {
		t.Errorf("contradicting encoding gave %v", err)
	} else {
		says(t, e.Error(), "Implicit", "declares")
	}
}

func TestRow37CharacterSetsNeverFail(t *testing.T) {
	for _, set := range []string{`ISO_IR 100`, `\ISO 2022 IR 87`, "GB18030", "ISO_IR 192", "NONSENSE", `ISO 2022 IR 999\x`, ""} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Set(0x00080005, "CS", set).Raw(0x00100010, "PN", []byte("\x1b$B\xFF\xFE\x80^\xC3\x28\x1b(B=")).Raw(0x00081030, "LO", []byte("\xff\xfe\xfd\x81"))
		}
		s, v := readOnly(t, folder(files...))
		sameStack(t, v, 4)
		cautioned(t, s)
	}
}

func TestRow38PrivateUnknownAndWrongVR(t *testing.T) {
	files := craft.Stack(4)
	for _, c := range files {
		c.Set(0x00091001, "LO", "private").Raw(0x00091002, "UN", []byte{1, 2, 3, 4, 5, 6})
		c.Raw(0x00091003, "OB", make([]byte, 9000)).Raw(0x00091004, "OV", make([]byte, 16)).Raw(0x00091005, "ZZ", make([]byte, 4))
		c.Elements[0x00091006] = craft.Element{VR: "SQ", Items: [][]byte{craft.AppendElements(nil, walk.Explicit, craft.Group(0x00100010, "PN", "Secret^Name"))}}
		c.Raw(0x00280030, "UN", []byte(`0.3\0.4 `)) // dictionary VR: DS
		c.Raw(0x00281053, "LO", []byte("1 "))
		c.Raw(0x00400275, "UN", nil).Raw(0x00280120, "US", nil).Raw(0x00280121, "SS", nil)
		c.Elements[0x00091007] = craft.Element{VR: "SQ", Items: [][]byte{craft.AppendElements(nil, walk.Implicit, craft.Group(0x00100010, "PN", "Secret^Name"))}}
	}
	s, v := readOnly(t, folder(files...))
	sameStack(t, v, 4)
	cautioned(t, s)
}

// UN of undefined length holds Implicit VR Little Endian items, in an explicit file too. Source: DICOM PS3.5 6.2.2.
func TestRow38UnknownOfUndefinedLength(t *testing.T) {
	inner := craft.AppendElements(nil, walk.Implicit, craft.Group(0x00100010, "PN", "Secret^Name"))
	var sq []byte
	sq = craft.AppendHead(sq, walk.Implicit, 0xFFFEE000, "", 0xFFFFFFFF)
	sq = append(sq, inner...)
	sq = craft.AppendHead(sq, walk.Implicit, 0xFFFEE00D, "", 0)
	sq = craft.AppendHead(sq, walk.Implicit, 0xFFFEE0DD, "", 0)
	for _, vr := range []string{"UN", "SQ", "SQ, implicit"} { // the last is wrong, and met
		fsys := folder()
		for k, c := range craft.Stack(4) {
			whole := c.Bytes()
			body := sq
			if vr == "SQ" {
				body = bytes.Replace(sq, inner, craft.AppendElements(nil, walk.Explicit, craft.Group(0x00100010, "PN", "Secret^Name")), 1)
			}
			el := append(craft.AppendHead(nil, walk.Explicit, 0x00091010, vr[:2], 0xFFFFFFFF), body...)
			at := bytes.Index(whole, []byte{0x10, 0, 0x10, 0, 'P', 'N'})
			add(fsys, fmt.Sprint(k), slices.Concat(whole[:at], el, whole[at:]))
		}
		s, v := readOnly(t, fsys)
		sameStack(t, v, 4)
		cautioned(t, s)
	}
}
