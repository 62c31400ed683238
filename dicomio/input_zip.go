package dicomio

import (
	"archive/zip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"sort"
	"strings"
	"time"
)

// archiveFS shows a zip archive as a file system. Nothing is unpacked to disk: every entry, a stored one too, is a stream,
// at whose end the archive's checksum is held against the bytes. Entries have names of this program's own making, safe by
// construction.
type archiveFS struct {
	name    string // of the archive, for errors
	size    int64
	entries map[string]*zip.File
}

// openZip takes over f.
func openZip(f *os.File, limits Limits) (*Input, error) {
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, pathError(f.Name(), err)
	}
	d, err := newZipDoor(f, info.Size(), filepath.Base(f.Name()), limits)
	if err != nil {
		f.Close()
		return nil, err
	}
	d.close = f.Close
	return d, nil
}

func newZipDoor(f io.ReaderAt, size int64, archive string, limits Limits) (*Input, error) {
	z, err := zip.NewReader(f, size)
	if err != nil && !errors.Is(err, zip.ErrInsecurePath) {
		return nil, &SeriesError{Code: "bad_archive", File: archive, Problem: "the archive is damaged (" + printable(reason(err), 80) + ")",
			Remedy: "copy or download it again", Cause: err}
	}
	a := &archiveFS{name: archive, size: size, entries: map[string]*zip.File{}}
	d := &Input{FS: a}
	if err := a.bounds(z.File, limits); err != nil {
		return nil, err
	}
	for _, entry := range z.File {
		d.accept(a, entry, limits)
	}
	sort.Strings(d.Names)
	if len(d.Names) == 0 && len(d.refused) > 0 {
		return nil, d.allRefused(archive)
	}
	return d, nil
}

// bounds refuses an archive of too many entries, or one that would grow beyond reason: entries that overlap, or that
// claim more than the limit.
func (a *archiveFS) bounds(entries []*zip.File, limits Limits) error {
	var packed, unpacked uint64
	for _, e := range entries {
		packed += min(e.CompressedSize64, 1<<50)
		unpacked += min(e.UncompressedSize64, 1<<50)
	}
	limit := uint64(limits.total(a.size))
	name := a.name
	switch {
	case len(entries) > limits.Files:
		return &SeriesError{Code: "limit", File: name, Problem: fmt.Sprintf("more than %d entries", limits.Files), Remedy: "point at a smaller archive, or raise the limit max-files"}
	case packed > uint64(a.size):
		return &SeriesError{Code: "hostile_archive", File: name, Problem: "its entries overlap: they claim more bytes than the archive has", Remedy: "make the archive again"}
	case unpacked > limit:
		return &SeriesError{Code: "hostile_archive", File: name, Problem: fmt.Sprintf("it claims to unpack to %d MiB from %d bytes, more than the %d MiB allowed", unpacked>>20, a.size, limit>>20),
			Remedy: "unpack it yourself if you trust it, and point at the folder, or raise the limit max-inflated"}
	}
	return nil
}

// accept takes one entry in, or refuses it and says why.
func (d *Input) accept(a *archiveFS, e *zip.File, limits Limits) {
	name := strings.ToValidUTF8(strings.ReplaceAll(e.Name, `\`, "/"), "_")
	mode := e.Mode()
	reason := ""
	switch {
	case mode.IsDir() || strings.HasSuffix(name, "/"):
		return
	case !fs.ValidPath(name) || strings.ContainsAny(name, ":\x00"):
		reason = "an entry whose name leaves the archive"
	case mode&fs.ModeSymlink != 0:
		reason = "a symbolic link, not followed"
	case !mode.IsRegular():
		reason = "not a regular file"
	case e.Flags&1 != 0:
		reason = "encrypted"
	case e.Method != zip.Store && e.Method != zip.Deflate:
		reason = fmt.Sprintf("compressed by method %d", e.Method)
	case e.UncompressedSize64 > uint64(limits.total(int64(min(e.CompressedSize64, 1<<40)))):
		reason = "an entry that claims to grow beyond reason"
	case e.Method == zip.Store && e.UncompressedSize64 != e.CompressedSize64:
		reason = "an entry that lies about its size"
	}
	if reason != "" {
		d.pass(reason, printable(name, 200))
		d.refused = append(d.refused, reason)
		return
	}
	for base, n := name, 2; a.entries[name] != nil; n++ {
		name = fmt.Sprintf("%s#%d", base, n)
	}
	a.entries[name] = e
	d.Names = append(d.Names, name)
}

func (d *Input) allRefused(name string) error {
	e := &SeriesError{Code: "hostile_archive", File: name, Problem: fmt.Sprintf("no entry can be read; the first is %s", d.refused[0]),
		Remedy: "make the archive again from the folder of DICOM files"}
	if d.refused[0] == "encrypted" {
		e.Code, e.Problem, e.Remedy = "encrypted", "the archive is encrypted", "unpack it with its password, and point at the folder"
	}
	return e
}

// Open opens an entry by the name it was accepted under.
func (a *archiveFS) Open(name string) (fs.File, error) {
	e := a.entries[name]
	if e == nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	r, err := e.Open()
	if err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	return &entry{e, r}, nil
}

// entry is an open entry: its facts, from the central directory, and its bytes.
type entry struct {
	facts *zip.File
	io.ReadCloser
}

func (e *entry) Stat() (fs.FileInfo, error) { return e, nil }
func (e *entry) Name() string               { return path.Base(e.facts.Name) }
func (e *entry) Size() int64                { return int64(e.facts.UncompressedSize64) }
func (e *entry) Mode() fs.FileMode          { return 0o444 }
func (e *entry) ModTime() time.Time         { return e.facts.Modified }
func (e *entry) IsDir() bool                { return false }
func (e *entry) Sys() any                   { return nil }
