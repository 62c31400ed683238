package dicomio

import "io/fs"

// Door is one way in to files, whatever they came in: the rest of the package sees only an [fs.FS].
type Door struct {
	FS     fs.FS    // slash-separated names below the path opened
	Names  []string // regular files to look at, sorted
	Passed []Passed // what was passed over on the way, by reason
}

// Passed counts files that were passed over for one reason.
type Passed struct {
	Reason string // a clause, e.g. "not DICOM"
	Count  int
	First  string // the first of them, by name
}

// Open opens path: a folder (searched through; symbolic links are not followed, FIFOs and devices are passed over, what
// cannot be read is said), a .zip (read in place, never unpacked to disk), a DICOMDIR (the files it lists) or one file.
// Close the door after the last Read.
//
// It returns an error wrapping [ErrPath] when path does not exist, and a [*SeriesError] when it cannot be opened or, for
// an archive, holds an entry that lies about its name or size.
func Open(path string, limits Limits) (*Door, error) { return nil, ErrPath }

// Close releases what the door holds open.
func (d *Door) Close() error { return nil }
