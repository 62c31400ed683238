package dicomio

import (
	"fmt"
	"io"
	"io/fs"
	"path"
	"sort"
	"strings"

	"github.com/suyashkumar/dicom/pkg/tag"

	"ridgerule/dicomio/internal/walk"
)

// followDirectory replaces a DICOMDIR in d.Names by the files it lists; a file of another kind stays.
//
// Source: DICOM PS3.3 F.3 (directory records), PS3.10 8.2 (file IDs).
func (d *Input) followDirectory(name string, limits Limits) error {
	a, err := d.directory(name, limits)
	if a == nil {
		return err
	}
	d.Names = nil
	below := &Input{FS: d.FS}
	if err := below.search(".", limits); err != nil {
		return err
	}
	index := map[string]string{}
	for _, n := range below.Names {
		index[plainName(n)] = n
	}
	seen := map[string]bool{}
	for _, record := range a.items(tag.DirectoryRecordSequence) {
		id := strings.Join(record.texts(tag.ReferencedFileID), "/")
		if id == "" || seen[id] {
			continue
		}
		seen[id] = true
		d.list(id, index)
	}
	sort.Strings(d.Names)
	if len(d.Names) == 0 {
		return &SeriesError{Code: "files_missing", File: path.Base(name), Problem: fmt.Sprintf("lists %d file(s), none of which is there", len(seen)),
			Remedy: "point at the folder that holds the DICOM files"}
	}
	return nil
}

// list adds the file with one file ID: by its name in any case, never outside the folder.
func (d *Input) list(id string, index map[string]string) {
	if !fs.ValidPath(id) || strings.ContainsAny(id, ":\x00") {
		d.pass("listed by the DICOMDIR, but its name leaves the folder", printable(id, 200))
		d.refused = append(d.refused, "name")
		return
	}
	if found, ok := index[plainName(id)]; ok {
		d.Names = append(d.Names, found)
		return
	}
	d.pass("listed by the DICOMDIR, but missing", printable(id, 200))
	d.absent = append(d.absent, id)
}

// plainName is what names of one file on two file systems have in common: lower case, without the version and the
// trailing point that optical disks add.
func plainName(name string) string {
	name, _, _ = strings.Cut(strings.ToLower(name), ";")
	return strings.TrimSuffix(name, ".")
}

// directory returns the attributes of name when it is a DICOMDIR, nil when it is another file.
func (d *Input) directory(name string, limits Limits) (attrs, error) {
	f, err := d.FS.Open(name)
	if err != nil {
		return nil, pathError(name, err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, pathError(name, err)
	}
	at, _ := f.(io.ReaderAt)
	file, err := walk.Walk(walk.Source{R: f, At: at, Size: info.Size(), Inflated: limits.Inflated})
	if file.Class != mediaDirectory {
		if !isDirectory(name) || file.Pixels.Found {
			return nil, nil
		}
		err = fmt.Errorf("not a Media Storage Directory")
	}
	var a attrs
	if err == nil {
		a, err = parse(file.Sieved)
	}
	if err != nil {
		return nil, &SeriesError{Code: "malformed", File: path.Base(name), Problem: "the DICOMDIR cannot be read (" + printable(reason(err), 120) + ")",
			Remedy: "point at the folder that holds the DICOM files", Cause: err}
	}
	return a, nil
}
