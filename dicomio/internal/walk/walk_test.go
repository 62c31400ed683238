package walk

import (
	"bytes"
	"errors"
	"io"
	"reflect"
	"testing"

	"github.com/suyashkumar/dicom"
)

// head returns an Explicit VR Little Endian file up to its data set.
func head(syntax string) []byte {
	var s sieve
	out := s.file()
	return bytes.Replace(out, append([]byte("UI\x14\x00"), Explicit+"\x00"...), append([]byte{'U', 'I', byte(len(syntax)), 0}, syntax...), 1)
}

func seedFiles() [][]byte {
	var s sieve
	s.add(0x00080016, "UI", []byte("1.2.840.10008.5.1.4.1.1.2\x00"))
	at := s.open(0x52009230)
	item := s.open(tagItem)
	s.add(0x00200032, "DS", []byte(`1\2\3 `))
	s.close(item)
	s.close(at)
	set := s.data
	native := append([]byte("\xe0\x7f\x10\x00OW\x00\x00\x04\x00\x00\x00"), 1, 2, 3, 4)
	fragments := []byte("\xe0\x7f\x10\x00OB\x00\x00\xff\xff\xff\xff\xfe\xff\x00\xe0\x04\x00\x00\x00\x00\x00\x00\x00\xfe\xff\x00\xe0\x02\x00\x00\x00\xff\xd8\xfe\xff\xdd\xe0\x00\x00\x00\x00")
	private := []byte("\x09\x00\x10\x10UN\x00\x00\xff\xff\xff\xff\xfe\xff\x00\xe0\xff\xff\xff\xff\xfe\xff\x0d\xe0\x00\x00\x00\x00\xfe\xff\xdd\xe0\x00\x00\x00\x00")
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	return [][]byte{
		join(head(Explicit+"\x00"), set, native), join(head(JPEGSV1), set, fragments), join(head(Explicit+"\x00"), private, set, native),
		join(set, native), []byte("DICM"), nil,
	}
}

// FuzzWalk holds the walk to what its package comment says: our error or the whole of it, the same read by offset and as a
// stream, within bounds, and what is sieved parses.
func FuzzWalk(f *testing.F) {
	for _, data := range seedFiles() {
		f.Add(data)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		source := Source{R: bytes.NewReader(data), At: bytes.NewReader(data), Size: int64(len(data)), Inflated: 1 << 20}
		byOffset, err := Walk(source)
		var ours *Error
		if err != nil && !errors.As(err, &ours) {
			t.Fatalf("not our error: %v", err)
		}
		asStream, err2 := Walk(Source{R: io.MultiReader(bytes.NewReader(data)), Size: int64(len(data)), Inflated: 1 << 20})
		if (err == nil) != (err2 == nil) || err == nil && !reflect.DeepEqual(byOffset, asStream) {
			t.Fatalf("by offset %v, as a stream %v", err, err2)
		}
		if len(byOffset.Sieved) > maxKeptBytes+1<<17 || len(byOffset.Sieved) > 400+2*(len(data)+1<<20) {
			t.Fatalf("%d bytes sieved from %d", len(byOffset.Sieved), len(data))
		}
		for _, fr := range byOffset.Pixels.Fragments {
			if byOffset.Deflated == 0 && fr.Offset+fr.Length > int64(len(data)) {
				t.Fatalf("fragment %+v outside %d bytes", fr, len(data))
			}
		}
		if _, err := dicom.Parse(bytes.NewReader(byOffset.Sieved), int64(len(byOffset.Sieved)), nil, dicom.AllowUnknownSpecificCharacterSet()); err != nil {
			t.Fatalf("what was sieved does not parse: %v", err)
		}
	})
}

func TestSeedsWalk(t *testing.T) {
	for i, data := range seedFiles()[:4] {
		file, err := Walk(Source{R: bytes.NewReader(data), At: bytes.NewReader(data), Size: int64(len(data))})
		if err != nil || !file.Pixels.Found || !bytes.Contains(file.Sieved, []byte(`1\2\3`)) {
			t.Errorf("seed %d: %+v, %v", i, file, err)
		}
	}
}
