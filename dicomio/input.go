package dicomio

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sort"
	"strings"
)

// Input is one way in to files, whatever they came in: the rest of the package sees only an [fs.FS].
type Input struct {
	FS     fs.FS    // slash-separated names below the path opened
	Names  []string // regular files to look at, sorted
	Passed []Passed // what was passed over on the way, by reason

	notRead []stray  // links and the like, passed over before they were opened
	absent  []string // listed by a DICOMDIR, not there
	refused []string // why entries of an archive or a DICOMDIR were refused
	close   func() error
}

// Passed counts files that were passed over for one reason.
type Passed struct {
	Reason string // a clause, e.g. "not DICOM"
	Count  int
	First  string // the first of them, by name
}

// Open opens path: a folder (searched through; symbolic links are not followed, FIFOs and devices are passed over, what
// cannot be read is said), a .zip (read in place, never unpacked to disk), a DICOMDIR (the files it lists) or one file.
// Close the input after the last Read.
//
// It returns an error wrapping [ErrPath] when path does not exist, and a [*SeriesError] when it cannot be opened or, for
// an archive, holds an entry that lies about its name or size.
func Open(path string, limits Limits) (*Input, error) {
	if path == "" { // which the file system takes for the current folder
		return nil, fmt.Errorf("%w: the path is empty; give a folder, a .zip, a DICOMDIR or a DICOM file", ErrPath)
	}
	limits = limits.withDefaults(runtime.GOMAXPROCS(0))
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return nil, pathError(path, err)
	}
	info, err := os.Stat(real)
	switch {
	case err != nil:
		return nil, pathError(path, err)
	case info.IsDir():
		return openFolder(real, limits)
	case !info.Mode().IsRegular():
		return nil, &SeriesError{Code: "unreadable", File: filepath.Base(path), Problem: "is neither a folder nor a regular file",
			Remedy: "give a folder, a .zip, a DICOMDIR or a DICOM file"}
	}
	return openFile(real, limits)
}

// NewInput returns an input to the regular files of fsys: for an archive or a store of one's own. Files whose fs.File is
// an [io.ReaderAt] are read by offset, others to their end, twice: what checks them at their end is heard.
func NewInput(fsys fs.FS, limits Limits) (*Input, error) {
	d := &Input{FS: fsys}
	return d, d.search(".", limits.withDefaults(1))
}

// Close releases what the input holds open.
func (d *Input) Close() error {
	if d.close == nil {
		return nil
	}
	return d.close()
}

func pathError(path string, err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%w: %s", ErrPath, called(filepath.ToSlash(path)))
	}
	return &SeriesError{Code: "unreadable", File: filepath.Base(path), Problem: "cannot be opened (" + reason(err) + ")",
		Remedy: "check the permissions, or copy it to a folder that you may read", Cause: err}
}

// reason returns what the operating system or the archive said, without any path: an archive's error wraps the error
// of its file.
func reason(err error) string {
	var pe *fs.PathError
	for errors.As(err, &pe) {
		err = pe.Err
	}
	if errors.Is(err, zip.ErrChecksum) {
		return "its bytes do not fit the checksum that the archive has of them"
	}
	return err.Error()
}

func openFolder(path string, limits Limits) (*Input, error) {
	root, err := os.OpenRoot(path)
	if err != nil {
		return nil, pathError(path, err)
	}
	d := &Input{FS: folderFS{root}, close: root.Close}
	if err := d.search(".", limits); err != nil {
		root.Close()
		return nil, err
	}
	return d, nil
}

// folderFS shows a folder as a file system that nothing leaves, whatever links say. Unlike [os.Root.FS] it takes names
// that are no UTF-8: old exports have them.
type folderFS struct{ root *os.Root }

func (f folderFS) Open(name string) (fs.File, error) { return f.root.Open(filepath.FromSlash(name)) }

func (f folderFS) ReadDir(name string) ([]fs.DirEntry, error) {
	dir, err := f.root.Open(filepath.FromSlash(name))
	if err != nil {
		return nil, err
	}
	defer dir.Close()
	entries, err := dir.ReadDir(-1)
	sort.Slice(entries, func(i, j int) bool { return entries[i].Name() < entries[j].Name() })
	return entries, err
}

// openFile opens one file: by its first bytes an archive, else by its name or content a DICOMDIR, else an image.
func openFile(path string, limits Limits) (*Input, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, pathError(path, err)
	}
	var magic [4]byte
	_, err = io.ReadFull(f, magic[:])
	if err == nil && (string(magic[:]) == "PK\x03\x04" || string(magic[:]) == "PK\x05\x06") {
		return openZip(f, limits)
	}
	f.Close()
	root, err := os.OpenRoot(filepath.Dir(path))
	if err != nil {
		return nil, pathError(path, err)
	}
	name := filepath.Base(path)
	d := &Input{FS: folderFS{root}, Names: []string{name}, close: root.Close}
	if err := d.followDirectory(name, limits); err != nil {
		root.Close()
		return nil, err
	}
	return d, nil
}

// search walks the tree below dir and notes its regular files. It does not follow symbolic links, so it ends.
func (d *Input) search(dir string, limits Limits) error {
	err := fs.WalkDir(d.FS, dir, func(name string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			d.pass("unreadable: "+reason(err), name)
			if entry != nil && entry.IsDir() {
				return fs.SkipDir
			}
		case entry.IsDir():
		case entry.Type()&fs.ModeSymlink != 0:
			d.pass("a symbolic link, not followed", name)
			d.notRead = append(d.notRead, stray{name: name, size: -1})
		case !entry.Type().IsRegular():
			d.pass("not a regular file", name)
			d.notRead = append(d.notRead, stray{name: name, size: -1})
		case len(d.Names) >= limits.Files:
			return &SeriesError{Code: "limit", Problem: fmt.Sprintf("more than %d files", limits.Files),
				Remedy: "point at a smaller folder, or raise the limit max-files"}
		default:
			d.Names = append(d.Names, name)
		}
		return nil
	})
	sort.Strings(d.Names)
	if err != nil && !errors.Is(err, ErrSeries) {
		return pathError(dir, err)
	}
	return err
}

// pass counts one file passed over.
func (d *Input) pass(reason, name string) { d.Passed = count(d.Passed, reason, name) }

// count adds one file to the entry of reason.
func count(passed []Passed, reason, name string) []Passed {
	for i := range passed {
		if passed[i].Reason == reason {
			passed[i].Count++
			if name < passed[i].First {
				passed[i].First = name
			}
			return passed
		}
	}
	return append(passed, Passed{Reason: reason, Count: 1, First: name})
}

// isDirectory reports whether name is what PS3.10 8.6 calls a DICOMDIR, in any case.
func isDirectory(name string) bool {
	return strings.EqualFold(filepath.Base(name), "DICOMDIR")
}
