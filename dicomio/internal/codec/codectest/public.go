package codectest

import (
	"bytes"
	"encoding/binary"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"ridgerule/dicomio/internal/codec"
)

// Published names a published compressed file and its twin: a published native file, or what an outside command makes of it
// ("dcmdjpeg", "gdcmconv --raw").
type Published struct {
	File, Twin string
	Within     int // how far from the twin, grey values: 0 for a lossless encoding
}

// CheckPublished decodes each file's frames and compares them with their twins. Files or commands that are absent are skipped.
func CheckPublished(t *testing.T, decode Decoder, files []Published) {
	for _, p := range files {
		t.Run(p.File, func(t *testing.T) {
			for _, v := range p.frames(t) {
				Check(t, decode, v)
			}
		})
	}
}

// frames gives the file's frames with the pixels of its twin.
func (p Published) frames(t *testing.T) []Vector {
	root := filepath.Join(folder, "../../../shared/data")
	coded, err := os.ReadFile(filepath.Join(root, p.File))
	if err != nil {
		t.Skipf("needs the published file %s", p.File)
	}
	var native []byte
	if !strings.HasSuffix(p.Twin, ".dcm") {
		native = outside(t, p.Twin, filepath.Join(root, p.File))
	} else if native, err = os.ReadFile(filepath.Join(root, p.Twin)); err != nil {
		t.Skipf("needs the published file %s", p.Twin)
	}
	shape, frames := open(t, coded)
	_, whole := open(t, native)
	size := shape.Columns * shape.Rows * shape.Allocated / 8
	if len(whole) != 1 || len(whole[0]) < size*len(frames) {
		t.Fatalf("%s: %d pieces of native pixels", p.Twin, len(whole))
	}
	var all []Vector
	for i, frame := range frames {
		truth := words(whole[0][i*size:], shape)
		all = append(all, Vector{Name: p.File, Shape: shape, Frame: frame, Truth: truth, Original: truth, Within: p.Within, Near: p.Within,
			Tool: p.File})
	}
	return all
}

// outside runs command on a file and gives what it writes.
func outside(t *testing.T, command, file string) []byte {
	words := strings.Fields(command)
	if _, err := exec.LookPath(words[0]); err != nil {
		t.Skipf("needs %s", words[0])
	}
	out := filepath.Join(t.TempDir(), "native.dcm")
	if log, err := exec.Command(words[0], append(words[1:], file, out)...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v\n%s", command, err, log)
	}
	b, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// open finds the shape and the frames of an explicit little-endian file whose frames have one fragment each, or which has one
// frame; native pixels are one. It searches for the elements it needs: good enough for known files, and independent of the reader proper.
func open(t *testing.T, file []byte) (codec.Shape, [][]byte) {
	number := func(element uint16) int {
		at := bytes.Index(file, append(binary.LittleEndian.AppendUint16([]byte{0x28, 0}, element), 'U', 'S', 2, 0))
		if at < 0 {
			t.Fatalf("no element (0028,%04x)", element)
		}
		return int(binary.LittleEndian.Uint16(file[at+8:]))
	}
	s := codec.Shape{Columns: number(0x11), Rows: number(0x10), Allocated: number(0x100), Stored: number(0x101), Signed: number(0x103) == 1}
	at := max(bytes.LastIndex(file, []byte("\xe0\x7f\x10\x00OW\x00\x00")), bytes.LastIndex(file, []byte("\xe0\x7f\x10\x00OB\x00\x00"))) + 8
	length := binary.LittleEndian.Uint32(file[at:])
	if at += 4; length != 0xFFFFFFFF {
		return s, [][]byte{file[at : at+int(length)]}
	}
	var items [][]byte
	for binary.LittleEndian.Uint32(file[at:]) == 0xE000FFFE {
		n := int(binary.LittleEndian.Uint32(file[at+4:]))
		items = append(items, file[at+8:at+8+n])
		at += 8 + n
	}
	frames := 1
	if i := bytes.Index(file, []byte{0x28, 0, 8, 0, 'I', 'S'}); i >= 0 {
		n := int(file[i+6])
		frames, _ = strconv.Atoi(strings.Trim(string(file[i+8:i+8+n]), " \x00"))
	}
	if frames == 1 {
		return s, [][]byte{bytes.Join(items[1:], nil)}
	}
	if len(items) != 1+frames {
		t.Fatalf("%d fragments for %d frames", len(items)-1, frames)
	}
	return s, items[1:]
}
