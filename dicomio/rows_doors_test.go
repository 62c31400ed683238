package dicomio

import (
	"archive/zip"
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ridgerule/dicomio/internal/walk"
	"ridgerule/dicomio/volume"
)

// The rows of the table of tricky series that concern the ways in.

// opened opens a path and closes the door with the test.
func opened(t testing.TB, path string) *Door {
	t.Helper()
	door, err := Open(path, Limits{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { door.Close() })
	return door
}

// through scans, picks and reads what lies behind a door.
func through(t testing.TB, door *Door) (*Catalogue, *Series, *volume.Volume) {
	t.Helper()
	cat, err := Scan(t.Context(), door, Limits{})
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
func archive(t testing.TB, method uint16, dir string, slices []*crafted, more func(w *zip.Writer)) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "series.zip")
	var b bytes.Buffer
	w := zip.NewWriter(&b)
	for k, c := range slices {
		f, err := w.CreateHeader(&zip.FileHeader{Name: fmt.Sprintf("%s%d", dir, k), Method: method})
		if err != nil {
			t.Fatal(err)
		}
		f.Write(c.bytes())
	}
	if more != nil {
		more(w)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestRow34ZipIsReadInPlace(t *testing.T) {
	for _, method := range []uint16{zip.Store, zip.Deflate} {
		for _, syntax := range []string{walk.Explicit, walk.Deflated} {
			files := stackOf(6)
			for _, c := range files {
				c.syntax = syntax
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
	for k, c := range stackOf(4) {
		if err := os.WriteFile(filepath.Join(dir, fmt.Sprintf("schr\xE4g%d", k)), c.bytes(), 0o600); err != nil {
			t.Skip("this file system takes UTF-8 names only")
		}
	}
	zipped := archive(t, zip.Deflate, "B\xFCrste/\xE4", stackOf(4), nil)
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
		path := archive(t, zip.Deflate, "d/", stackOf(4), func(w *zip.Writer) {
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
	link := archive(t, zip.Store, "d/", stackOf(4), func(w *zip.Writer) {
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
		whole, _ := os.ReadFile(archive(t, method, "", stackOf(4), nil))
		path := filepath.Join(t.TempDir(), "x.zip")
		os.WriteFile(path, whole[:len(whole)-30], 0o600)
		if _, err := Open(path, Limits{}); !errors.Is(err, ErrSeries) {
			t.Errorf("a cut archive gave %v", err)
		}
	}
	// One bit of a compressed pixel flipped: the archive's checksum tells.
	whole, _ := os.ReadFile(archive(t, zip.Deflate, "", stackOf(4), nil))
	path := filepath.Join(t.TempDir(), "x.zip")
	found := 0
	for at := 60; at < len(whole)-400; at += 7 {
		bad := bytes.Clone(whole)
		bad[at] ^= 4
		os.WriteFile(path, bad, 0o600)
		door, err := Open(path, Limits{})
		if err != nil {
			found++
			continue
		}
		cat, err := Scan(t.Context(), door, Limits{})
		if err == nil {
			var s *Series
			if s, err = cat.Pick(""); err == nil {
				var v *volume.Volume
				if v, err = s.Read(t.Context(), nil); err == nil {
					if len(cat.Passed) == 0 && len(cat.Series) == 1 { // else the marker or the UID was hit, and it is no slice of this series
						sameStack(t, v, 4) // the bit was in a name or a date
					}
					door.Close()
					continue
				}
			}
		}
		found++
		if !errors.Is(err, ErrSeries) {
			t.Errorf("a flipped bit gave %v", err)
		}
		door.Close()
	}
	if found == 0 {
		t.Error("no flipped bit was noticed")
	}
}

// directoryFile returns a DICOMDIR that lists files.
func directoryFile(ids ...string) []byte {
	c := &crafted{syntax: walk.Explicit, elements: map[uint32]craftedElement{}, noPixels: true}
	var records []map[uint32]craftedElement
	records = append(records, group(0x00041430, "CS", "PATIENT"))
	for _, id := range ids {
		records = append(records, group(0x00041430, "CS", "IMAGE", 0x00041500, "CS", id))
	}
	c.set(0x00041130, "CS", "TEST").sequence(0x00041220, records...)
	whole := c.bytes()
	class := "1.2.840.10008.1.3.10"
	el := append(appendHead(nil, walk.Explicit, 0x00020002, "UI", uint32(len(class))), class...)
	at := 132 + 12 + 14 // after preamble, group length and version
	out := append(append(append([]byte(nil), whole[:at]...), el...), whole[at:]...)
	binary.LittleEndian.PutUint32(out[140:], binary.LittleEndian.Uint32(out[140:])+uint32(len(el)))
	return out
}

func TestRow35DICOMDIR(t *testing.T) {
	dir := t.TempDir()
	os.Mkdir(filepath.Join(dir, "img"), 0o755)
	var ids []string
	for k, c := range stackOf(5) {
		os.WriteFile(filepath.Join(dir, "img", fmt.Sprintf("im%d.;1", k)), c.bytes(), 0o600)
		ids = append(ids, fmt.Sprintf(`IMG\IM%d`, k))
	}
	os.WriteFile(filepath.Join(dir, "other.dcm"), slice(7).set(0x0020000E, "UI", "9").bytes(), 0o600) // not listed
	path := filepath.Join(dir, "dicomdir")
	os.WriteFile(path, directoryFile(ids...), 0o600)
	_, s, v := through(t, opened(t, path))
	sameStack(t, v, 5)
	cautioned(t, s)

	os.WriteFile(path, directoryFile(append(ids, `IMG\GONE`, `..\..\ETC\PASSWD`)...), 0o600)
	cat, s, v := through(t, opened(t, path))
	sameStack(t, v, 5)
	cautioned(t, s, "files_missing", "files_refused")
	text := fmt.Sprint(cat.Passed, s.Cautions)
	says(t, text, "missing", "GONE", "leaves the folder")

	os.WriteFile(path, directoryFile(`A\B`), 0o600)
	_, err := Open(path, Limits{})
	if !errors.Is(err, ErrSeries) {
		t.Fatalf("got %v", err)
	}
	says(t, err.Error(), "none of which is there")

	_, _, v = through(t, opened(t, dir)) // the folder: the DICOMDIR is passed over
	sameStack(t, v, 5)
}

func TestRow36LinksPipesAndUnreadable(t *testing.T) {
	dir := t.TempDir()
	for k, c := range stackOf(4) {
		os.WriteFile(filepath.Join(dir, fmt.Sprint(k)), c.bytes(), 0o600)
	}
	if err := os.Symlink(dir, filepath.Join(dir, "loop")); err != nil {
		t.Skip("no symbolic links on this file system")
	}
	os.Symlink("/etc/passwd", filepath.Join(dir, "out"))
	if err := syscall.Mkfifo(filepath.Join(dir, "pipe"), 0o600); err != nil {
		t.Skip("no FIFO on this file system")
	}
	os.Mkdir(filepath.Join(dir, "locked"), 0o000)
	done := make(chan string, 1)
	go func() {
		cat, s, v := through(t, opened(t, dir))
		sameStack(t, v, 4)
		cautioned(t, s)
		done <- fmt.Sprint(cat.Passed)
	}()
	select {
	case text := <-done:
		says(t, text, "a symbolic link, not followed 2", "not a regular file 1 pipe")
		if os.Geteuid() != 0 {
			says(t, text, "unreadable")
		}
	case <-time.After(10 * time.Second):
		t.Fatal("hangs")
	}
	if _, err := Open(filepath.Join(dir, "pipe"), Limits{}); !errors.Is(err, ErrSeries) {
		t.Errorf("a FIFO gave %v", err)
	}
}

func TestRow44NothingToRead(t *testing.T) {
	dir := t.TempDir()
	if _, err := Open(filepath.Join(dir, "gone"), Limits{}); !errors.Is(err, ErrPath) || errors.Is(err, ErrSeries) {
		t.Errorf("a missing path gave %v, want ErrPath", err)
	}
	_, err := Scan(t.Context(), opened(t, dir), Limits{})
	if e, ok := err.(*SeriesError); !ok || e.Code != "empty" {
		t.Errorf("an empty folder gave %v", err)
	}
	os.WriteFile(filepath.Join(dir, "a.txt"), []byte("no DICOM here"), 0o600)
	cat, err := Scan(t.Context(), opened(t, dir), Limits{})
	if e, ok := err.(*SeriesError); !ok || e.Code != "no_dicom" || cat == nil {
		t.Errorf("a folder without DICOM gave %v", err)
	} else {
		says(t, err.Error(), "no DICOM image among 1 files", "1 not DICOM")
		if strings.Count(err.Error(), "\n") > 0 {
			t.Error("more than one line")
		}
	}
	one := filepath.Join(dir, "one.dcm")
	os.WriteFile(one, slice(0).bytes(), 0o600)
	cat, err = Scan(t.Context(), opened(t, one), Limits{})
	if err != nil {
		t.Fatal(err)
	}
	says(t, cat.Series[0].Err().Error(), "1 slice(s): not a volume")
	if os.Geteuid() == 0 {
		t.Skip("running as root: permissions do not apply")
	}
	os.Mkdir(filepath.Join(dir, "locked"), 0o000)
	if _, err := Open(filepath.Join(dir, "locked"), Limits{}); !errors.Is(err, ErrSeries) {
		t.Errorf("a locked folder gave %v", err)
	}
}
