package dicomio

import (
	"errors"
	"strconv"
	"strings"
)

// Sentinels; test for them with [errors.Is].
var (
	// ErrSeries is wrapped by every [*SeriesError]: the series cannot be read, or is unfit to measure. Exit status 3.
	ErrSeries = errors.New("dicomio: series cannot be read or is unfit to measure")
	// ErrPath: the path given does not exist. Exit status 2.
	ErrPath = errors.New("dicomio: no such path")
	// ErrSelector: the series asked for is not among those found. Exit status 2.
	ErrSelector = errors.New("dicomio: no such series")
)

// SeriesError says why a series, or one file of it, cannot be measured on, with the evidence and the remedy.
// Every field is safe to print: none holds anything that identifies a patient, unless a file's own name does.
type SeriesError struct {
	Code      string // machine-readable, e.g. "missing_slice"; the list is in docs/reading.md
	File      string // path inside the door, slash-separated; empty when the trouble is not in one file
	Attribute string // DICOM keyword, e.g. PixelSpacing; may be empty
	Value     string // as found, control characters removed and shortened; may be empty
	Problem   string // a clause: what is wrong
	Remedy    string // a clause: what to do
	Cause     error  // what a codec or the file system said; may be nil
}

// Error joins the fields in one line:
//
//	dicomio: FILE: ATTRIBUTE VALUE: PROBLEM; REMEDY
func (e *SeriesError) Error() string {
	parts := []string{"dicomio"}
	if e.File != "" {
		parts = append(parts, printable(e.File, 200))
	}
	if about := strings.TrimSpace(e.Attribute + " " + e.Value); about != "" {
		parts = append(parts, about)
	}
	parts = append(parts, e.Problem)
	text := strings.Join(parts, ": ")
	if e.Remedy != "" {
		text += "; " + e.Remedy
	}
	return text
}

// Unwrap makes errors.Is(err, ErrSeries) true, and the cause reachable.
func (e *SeriesError) Unwrap() []error {
	if e.Cause == nil {
		return []error{ErrSeries}
	}
	return []error{ErrSeries, e.Cause}
}

// printable returns s without control characters, at most limit bytes long: text from a file never reaches a terminal raw.
func printable(s string, limit int) string {
	if len(s) > limit {
		s = s[:limit] + "…"
	}
	var b strings.Builder
	for _, r := range strings.ToValidUTF8(s, "?") {
		if !strconv.IsPrint(r) {
			r = '?'
		}
		b.WriteRune(r)
	}
	return b.String()
}
