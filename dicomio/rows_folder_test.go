//go:build unix

package dicomio

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ridgerule/dicomio/craft"
)

// The rows of the table of tricky series that concern folders.

func TestRow35DICOMDIR(t *testing.T) {
	dir := t.TempDir()
	os.Mkdir(filepath.Join(dir, "img"), 0o755)
	var ids []string
	for k, c := range craft.Stack(5) {
		os.WriteFile(filepath.Join(dir, "img", fmt.Sprintf("im%d.;1", k)), c.Bytes(), 0o600)
		ids = append(ids, fmt.Sprintf(`IMG\IM%d`, k))
	}
	os.WriteFile(filepath.Join(dir, "other.dcm"), craft.Slice(7).Set(0x0020000E, "UI", "9").Bytes(), 0o600) // not listed
	path := filepath.Join(dir, "dicomdir")
	os.WriteFile(path, craft.Directory(ids...), 0o600)
	_, s, v := through(t, opened(t, path))
	sameStack(t, v, 5)
	cautioned(t, s)

	os.WriteFile(path, craft.Directory(append(ids, `IMG\GONE`, `..\..\ETC\PASSWD`)...), 0o600)
	cat, s, v := through(t, opened(t, path))
	sameStack(t, v, 5)
	cautioned(t, s, "files_missing", "files_refused")
	text := fmt.Sprint(cat.Passed, s.Cautions)
	says(t, text, "missing", "GONE", "leaves the folder")

	os.WriteFile(path, craft.Directory(`A\B`), 0o600)
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
	for k, c := range craft.Stack(4) {
		os.WriteFile(filepath.Join(dir, fmt.Sprint(k)), c.Bytes(), 0o600)
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
	os.WriteFile(one, craft.Slice(0).Bytes(), 0o600)
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
