package dicomio

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"ridgerule/dicomio/craft"
	"ridgerule/dicomio/internal/walk"
	"ridgerule/dicomio/volume"
)

// The rows of the table of tricky series that concern the ways in.

// opened opens a path and closes the input with the test.
func opened(t testing.TB, path string) *Input {
	t.Helper()
	input, err := Open(path, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { input.Close() })
	return input
}

// through scans, picks and reads what lies behind an input.
func through(t testing.TB, input *Input) (*Catalogue, *Series, *volume.Volume) {
	t.Helper()
	cat, err := Scan(t.Context(), input, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	s, err := cat.Pick("")
	if err != nil {
		t.Fatal(err)
	}
	v, err := s.Read(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	return cat, s, v
}

// archive writes a zip: the slices below dir, then whatever more adds.
func archive(t testing.TB, method uint16, dir string, slices []*craft.File, more func(w *zip.Writer)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "series.zip")
	data, err := craft.Zip(method, dir, slices, func(w *zip.Writer) error {
		if more != nil {
			more(w)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRow34ZipIsReadInPlace(t *testing.T) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		for _, syntax := range []string{walk.Explicit, walk.Deflated} {
			files := craft.Stack(6)
			for _, c := range files {
				c.Syntax = syntax
			}
			path := archive(t, method, "deep/er/", files, func(w *zip.Writer) { w.Create("deep/note.txt") })
			before, _ := os.ReadDir(filepath.Dir(path))
			cat, s, v := through(t, opened(t, path))
			sameStack(t, v, 6)
			cautioned(t, s)
			if len(cat.Passed) != 1 || cat.Passed[0].Count != 1 {
				t.Errorf("passed over %v", cat.Passed)
			}
			if after, _ := os.ReadDir(filepath.Dir(path)); len(after) != len(before) {
				t.Errorf("files appeared beside the archive: %v", after)
			}
		}
	}
}

// Names that are no UTF-8, as old exports have them, in a folder and in an archive.
func TestRow01NamesThatAreNoUTF8(t *testing.T) {
	dir := t.TempDir()
	for k, c := range craft.Stack(4) {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("schr\xE4g%d", k)), c.Bytes(), 0o600); err != nil {
			t.Skip("this file system takes UTF-8 names only")
		}
	}
	zipped := archive(t, zip.Deflate, "B\xFCrste/\xE4", craft.Stack(4), nil)
	for _, path := range []string{dir, zipped, filepath.Join(dir, "schr\xE4g0")} {
		cat, err := Scan(t.Context(), opened(t, path), Limits{})
		if err != nil || len(cat.Passed) != 0 {
			t.Fatalf("%q: %v, passed %v", path, err, cat)
		}
		if s, err := cat.Pick(""); err != nil || len(s.Images) == 4 && s.Err() != nil {
			t.Errorf("%q: %v, %v", path, err, s.Err())
		}
	}
}

func TestRow34HostileEntriesAreRefused(t *testing.T) {
	for name, header := range map[string]*zip.FileHeader{
		"parent":    {Name: "../evil.dcm"},
		"inside":    {Name: "a/../../evil.dcm"},
		"absolute":  {Name: "/etc/evil.dcm"},
		"backslash": {Name: `..\..\evil.dcm`},
		"drive":     {Name: `C:\evil.dcm`},
		"encrypted": {Name: "secret.dcm", Flags: 1},
	} {
		path := archive(t, zip.Deflate, "d/", craft.Stack(4), func(w *zip.Writer) {
			f, err := w.CreateRaw(header)
			if err != nil {
				t.Fatal(err)
			}
			_ = f
		})
		cat, s, v := through(t, opened(t, path))
		sameStack(t, v, 4)
		cautioned(t, s, "files_refused")
		if len(cat.Passed) != 1 || cat.Passed[0].First == "" {
			t.Errorf("%s: passed over %v", name, cat.Passed)
		}
	}
	link := archive(t, zip.Store, "d/", craft.Stack(4), func(w *zip.Writer) {
		h := &zip.FileHeader{Name: "link.dcm"}
		h.SetMode(fs.ModeSymlink | 0o777)
		f, _ := w.CreateHeader(h)
		f.Write([]byte("/etc/passwd"))
	})
	cat, _, v := through(t, opened(t, link))
	sameStack(t, v, 4)
	if cat.Passed[0].Reason != "a symbolic link, not followed" {
		t.Errorf("passed over %v", cat.Passed)
	}
}

func TestRow34EncryptedArchive(t *testing.T) {
	path := archive(t, zip.Store, "", nil, func(w *zip.Writer) {
		w.CreateRaw(&zip.FileHeader{Name: "a", Flags: 1})
		w.CreateRaw(&zip.FileHeader{Name: "b", Flags: 1})
	})
	_, err := Open(path, Limits{})
	if e, ok := err.(*SeriesError); !ok || e.Code != "encrypted" {
		t.Fatalf("got %v", err)
	}
	says(t, err.Error(), "encrypted", "password")
}

func TestRow34ZipBombs(t *testing.T) {
	claims := archive(t, zip.Store, "", nil, func(w *zip.Writer) {
		for i := range 3 {
			w.CreateRaw(&zip.FileHeader{Name: fmt.Sprint(i), Method: zip.Deflate, UncompressedSize64: 1 << 40})
		}
	})
	overlap := archive(t, zip.Store, "", nil, func(w *zip.Writer) {
		for i := range 3 {
			w.CreateRaw(&zip.FileHeader{Name: fmt.Sprint(i), Method: zip.Store, CompressedSize64: 1 << 20, UncompressedSize64: 1 << 20})
		}
	})
	for path, word := range map[string]string{claims: "unpack to", overlap: "overlap"} {
		_, err := Open(path, Limits{})
		if e, ok := err.(*SeriesError); !ok || e.Code != "hostile_archive" {
			t.Fatalf("got %v", err)
		}
		says(t, err.Error(), word, "series.zip")
	}
}

func TestRow34DamagedZip(t *testing.T) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		whole, _ := os.ReadFile(archive(t, method, "", craft.Stack(4), nil))
		path := filepath.Join(t.TempDir(), "x.zip")
		os.WriteFile(path, whole[:len(whole)-30], 0o600)
		if _, err := Open(path, Limits{}); !errors.Is(err, ErrSeries) {
			t.Errorf("a cut archive gave %v", err)
		}
	}
}

// A zip holds the CRC-32 of every entry: one bit flipped in any byte of any entry, image or not, is refused before a pixel
// is measured on. CRC-32 finds every single flipped bit. Source: APPNOTE.TXT 4.4.7 (CRC-32 of the uncompressed data).
func TestRow34FlippedBitInAnEntryIsRefused(t *testing.T) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		for _, syntax := range []string{walk.Explicit, walk.Deflated} {
			files := craft.Stack(4)
			for _, c := range files {
				c.Syntax = syntax
			}
			path := archive(t, method, "", files, func(w *zip.Writer) {
				note, _ := w.CreateHeader(&zip.FileHeader{Name: "note.txt", Method: method})
				note.Write([]byte("what came with the series"))
			})
			whole, _ := os.ReadFile(path)
			for at := range entryBytes(t, path) {
				bad := bytes.Clone(whole)
				bad[at] ^= 4
				os.WriteFile(path, bad, 0o600)
				if err := measurable(t, path); !errors.Is(err, ErrSeries) && !sameContent(t, whole, bad) {
					t.Fatalf("method %d, %s, byte %d: a flipped bit gave %v", method, walk.Name(syntax), at, err)
				}
			}
		}
	}
}

// entryBytes returns where the bytes of the entries of an archive lie, every seventh.
func entryBytes(t *testing.T, path string) map[int64]bool {
	t.Helper()
	z, err := zip.OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	out := map[int64]bool{}
	for _, f := range z.File {
		from, err := f.DataOffset()
		if err != nil {
			t.Fatal(err)
		}
		for at := from; at < from+int64(f.CompressedSize64); at += 7 {
			out[at] = true
		}
	}
	return out
}

// sameContent reports whether two archives unpack to the same bytes: not every bit of a compressed entry means something.
func sameContent(t *testing.T, a, b []byte) bool {
	t.Helper()
	var content [2][]byte
	for i, data := range [][]byte{a, b} {
		z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range z.File {
			r, err := f.OpenRaw()
			if err != nil {
				t.Fatal(err)
			}
			if f.Method == zip.Deflate {
				r = flate.NewReader(r)
			}
			unpacked, _ := io.ReadAll(r)
			content[i] = append(content[i], unpacked...)
		}
	}
	return bytes.Equal(content[0], content[1])
}

// measurable returns why what lies at path is not fit to measure, nil when it is.
func measurable(t *testing.T, path string) error {
	t.Helper()
	input, err := Open(path, Limits{})
	if err != nil {
		return err
	}
	defer input.Close()
	cat, err := Scan(t.Context(), input, Limits{})
	if err != nil {
		return err
	}
	s, err := cat.Pick("")
	if err != nil {
		return err
	}
	return s.Err()
}

// A bit flipped after the scan, the size and the time as before, is refused when the pixels are read.
func TestRow34BitFlippedBetweenScanAndReadIsRefused(t *testing.T) {
	for _, syntax := range []string{walk.Explicit, walk.Deflated} {
		files := craft.Stack(4)
		for _, c := range files {
			c.Syntax = syntax
		}
		path := archive(t, zip.Store, "", files, nil)
		cat, err := Scan(t.Context(), opened(t, path), Limits{})
		if err != nil {
			t.Fatal(err)
		}
		whole, _ := os.ReadFile(path)
		for at := range entryBytes(t, path) {
			bad := bytes.Clone(whole)
			bad[at] ^= 4
			os.WriteFile(path, bad, 0o600)
			if _, err := cat.Series[0].Read(t.Context(), nil); !errors.Is(err, ErrSeries) {
				t.Fatalf("%s, byte %d: %v", walk.Name(syntax), at, err)
			}
		}
	}
}
