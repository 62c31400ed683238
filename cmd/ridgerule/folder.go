package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"ridgerule/dicomio/temporary"
)

// folder is an output folder in the making. It grows beside its final place, readable to its
// owner only, and appears there whole with commit, or not at all.
type folder struct {
	final string // where it will stand, absolute, links resolved
	temp  string // where it grows
	place *temporary.Place
	old   bool // commit replaces a folder that holds something
}

// outputs are the names a folder of ours has on its top level.
var outputs = []string{"measurements.csv", "sites.csv", "result.json", "datapackage.json",
	"report.html", "sections", "pictures", "panoramic.png", "arch.svg", "plan.yaml", "truth.json", "scan", "scan2", "second.json",
	"report.pdf", "day-sheet.pdf", "dicom", "surfaces", "identity.json",
	"agreement.csv", "agreement.json", "methods.md", "plots",
	"worksheet.html", "worksheet.pdf", "readings.csv", "answers.csv", "items.csv", "scans", "key", "marks.csv", "class.csv",
	"positions.csv", "positions.json", "export", "positions", "surfaces.json", "changes.csv", "changes.json", "placed.csv"}

// newFolder prepares the output folder path. It is refused when it holds something and replace is
// false, and when it stands inside one of the inputs or around one.
func newFolder(path string, replace bool, inputs ...string) (*folder, error) {
	if path == "" {
		return nil, usagef("no output folder; name one with -o DIR")
	}
	final, err := resolve(path)
	if err != nil {
		return nil, err
	}
	f := &folder{final: final}
	for _, in := range inputs {
		if err := f.apart(in); err != nil {
			return nil, err
		}
	}
	if err := f.vacant(path, replace); err != nil {
		return nil, err
	}
	return f, f.begin()
}

// resolve returns path absolute, with the links of what exists of it followed.
func resolve(path string) (string, error) {
	abs, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	rest := ""
	for dir := abs; ; dir = filepath.Dir(dir) {
		if real, err := filepath.EvalSymlinks(dir); err == nil {
			return filepath.Join(real, rest), nil
		}
		if dir == filepath.Dir(dir) {
			return abs, nil
		}
		rest = filepath.Join(filepath.Base(dir), rest)
	}
}

// apart refuses an output that would change its own input: inside an input folder, or around any.
func (f *folder) apart(input string) error {
	in, err := resolve(input)
	if err != nil {
		return err
	}
	info, err := os.Stat(in)
	if err != nil {
		return nil // the one who reads it says what is wrong with it
	}
	if info.IsDir() && within(f.final, in) {
		return usagef("the output folder lies inside the input; choose another place") // whose path may name a patient
	}
	if within(in, f.final) {
		return usagef("the output folder holds the input; choose another place")
	}
	return nil
}

// within reports whether path is dir or below it; both are resolved.
func within(path, dir string) bool {
	rel, err := filepath.Rel(dir, path)
	return err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator))
}

func (f *folder) vacant(path string, replace bool) error {
	entries, err := os.ReadDir(f.final)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		if info, statErr := os.Stat(f.final); statErr == nil && !info.IsDir() {
			return usagef("output folder %s is a file; choose another place", path)
		}
		return usagef("output folder %s cannot be read: %v", path, reason(err))
	case len(entries) == 0:
		return nil
	case !replace:
		return usagef("output folder %s is not empty; choose another or add --replace", path)
	}
	if here, err := os.Getwd(); err == nil && within(here, f.final) {
		return usagef("output folder %s holds the folder you are in; choose another place", path)
	}
	f.old = true
	return nil
}

// begin makes the growing folder beside the final one.
func (f *folder) begin() (err error) {
	if f.place, err = temporary.Folder(filepath.Dir(f.final)); err != nil {
		return usagef("output folder cannot be made: %v", err)
	}
	f.temp = f.place.Path
	return nil
}

// path returns where the output name (with slashes) grows.
func (f *folder) path(name string) string { return filepath.Join(f.temp, filepath.FromSlash(name)) }

// create opens the output name (with slashes) for writing. Closing it brings it to the disk.
func (f *folder) create(name string) (io.WriteCloser, error) {
	if !filepath.IsLocal(filepath.FromSlash(name)) {
		return nil, fmt.Errorf("output name %q leaves its folder", name)
	}
	path := f.path(name)
	var file *os.File
	err := temporary.Make(func() (err error) {
		if err = os.MkdirAll(filepath.Dir(path), 0o700); err == nil {
			file, err = os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
		}
		return err
	})
	return synced{file}, err
}

// synced is a file that is on the disk once it is closed.
type synced struct{ *os.File }

func (s synced) Close() error { return errors.Join(s.Sync(), s.File.Close()) }

// write fills the output name by fill.
func (f *folder) write(name string, fill func(io.Writer) error) error {
	w, err := f.create(name)
	if err != nil {
		return err
	}
	return errors.Join(fill(w), w.Close())
}

// commit puts the folder in its place. What stood there before is removed only once the new one
// stands; a folder that is none of ours is kept beside it, and its new path is returned.
func (f *folder) commit() (kept string, err error) {
	if err := syncDirs(f.temp); err != nil {
		return "", err
	}
	aside := ""
	if err := f.place.Commit(func() (err error) { aside, err = f.swap(); return err }); err != nil {
		return "", err
	}
	if err := temporary.SyncFolder(filepath.Dir(f.final)); err != nil || aside == "" {
		return "", err
	}
	if !ours(aside) {
		return aside, nil
	}
	return "", discard(aside)
}

// swap moves the folder to its place and what stood there aside; it returns where that is, "" when nothing stood there.
func (f *folder) swap() (aside string, err error) {
	if !f.old {
		if err := os.Remove(f.final); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return "", fmt.Errorf("%s was filled meanwhile: %w", f.final, reason(err))
		}
		return "", os.Rename(f.temp, f.final)
	}
	if aside, err = freeName(f.final + ".old"); err != nil {
		return "", err
	}
	if err := os.Rename(f.final, aside); err != nil {
		return "", err
	}
	if err := os.Rename(f.temp, f.final); err != nil {
		return "", errors.Join(err, os.Rename(aside, f.final))
	}
	return aside, nil
}

// discard removes a folder that is no longer needed: hidden first, so that no half of it is ever seen.
func discard(dir string) error {
	bin, err := temporary.Folder(filepath.Dir(dir))
	if err != nil {
		return os.RemoveAll(dir)
	}
	defer bin.Remove()
	return os.Rename(dir, filepath.Join(bin.Path, "old"))
}

// abandon removes what has grown. After commit it does nothing, so that it may be deferred.
func (f *folder) abandon() {
	if f.place != nil {
		f.place.Remove()
	}
}

// writeFile writes a file whole or not at all, for its owner's eyes.
func writeFile(name string, data []byte) error {
	if err := temporary.WriteFile(name, data); err != nil {
		return usagef("%s cannot be made: %w; name a file in a folder that exists", name, reason(err))
	}
	return nil
}

// freeFile refuses a file that exists already; replace lets one file stand in for another. No name is free.
func freeFile(name string, replace bool) error {
	if at, err := os.Lstat(name); name != "" && err == nil && (!replace || at.IsDir()) {
		return usagef("%s exists; name another file, or give --replace for a file of yours", name)
	}
	return nil
}

// ours reports whether a folder holds nothing but what this program writes.
func ours(dir string) bool {
	entries, err := os.ReadDir(dir)
	return err == nil && !slices.ContainsFunc(entries, func(e fs.DirEntry) bool {
		return !slices.Contains(outputs, e.Name()) && !(strings.HasPrefix(e.Name(), "axial-") && strings.HasSuffix(e.Name(), "mm.png"))
	})
}

// freeName returns name, or name with the first number at which nothing stands.
func freeName(name string) (string, error) {
	try := name
	for i := 2; i < 1000; i++ {
		if _, err := os.Lstat(try); errors.Is(err, fs.ErrNotExist) {
			return try, nil
		}
		try = fmt.Sprintf("%s-%d", name, i)
	}
	return "", fmt.Errorf("%s and 999 more like it exist; remove some", name)
}

func syncDirs(root string) error {
	return filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		return temporary.SyncFolder(path)
	})
}

// reason returns what the file system said, without the path that the message names already.
func reason(err error) error {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err
	}
	return err
}

// private takes the rights of others from a tree that was written by another room.
func private(path string) error {
	root, err := os.OpenRoot(path)
	if err != nil {
		return err
	}
	defer root.Close()
	return fs.WalkDir(root.FS(), ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir():
			return root.Chmod(name, 0o700)
		}
		return root.Chmod(name, 0o600)
	})
}
