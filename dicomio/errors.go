package dicomio

import (
	"errors"
	"fmt"
	"regexp"
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
// Every field but File is safe to print: none holds anything that identifies a patient. Error prints of File what
// cannot be a name.
type SeriesError struct {
	Code      string // machine-readable, e.g. "missing_slice"; the list is in docs/reading.md
	File      string // path inside the input, slash-separated; empty when the trouble is not in one file
	Attribute string // DICOM keyword, e.g. PixelSpacing; may be empty
	Value     string // as found, control characters removed and shortened; may be empty
	Problem   string // a clause: what is wrong
	Remedy    string // a clause: what to do
	Cause     error  // what a codec or the file system said; may be nil

	others map[string]bool // names of more files of the series that are wrong in the same way
	more   int             // further problems of the series
}

// Error joins the fields in one line:
//
//	dicomio: FILE: ATTRIBUTE VALUE: PROBLEM (and N more file(s)) (and N more problem(s)); REMEDY
func (e *SeriesError) Error() string {
	parts := []string{"dicomio"}
	if e.File != "" {
		parts = append(parts, called(e.File))
	}
	if about := strings.TrimSpace(e.Attribute + " " + e.Value); about != "" {
		parts = append(parts, about)
	}
	parts = append(parts, e.Problem)
	text := strings.Join(parts, ": ")
	if n := len(e.others); n > 0 {
		text += fmt.Sprintf(" (and %d more file(s))", n)
	}
	if e.more > 0 {
		text += fmt.Sprintf(" (and %d more problem(s))", e.more)
	}
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

// harmless is a part of a path that a program made: a usual word and a number, too short for an identifier or a date.
// Anything else may be a patient's name, as many exports have it; of that only a short number at the end is told.
var (
	harmless = regexp.MustCompile(`^(?i)((im|img|image|i|ct|slice|file|dicom|dcm|frame|pa|st|se|series|study|scan|z|vol|volume|export)[-_ ]?\d{0,6}|\d{1,5}|dicomdir)(\.(dcm|dicom|ima|img|zip))?$`)
	atEnd    = regexp.MustCompile(`(?i)(?:^|\D)(\d{1,4})?(\.(?:dcm|dicom|ima|img|zip))?$`)
)

// called returns a path as a message may say it: of parts that may name a patient no more than "…0042.dcm". The whole
// path is in [SeriesError.File] for those who may see it.
func called(path string) string {
	parts := strings.Split(path, "/")
	for i, p := range parts {
		if !harmless.MatchString(p) {
			parts[i] = "…" + strings.Join(append(atEnd.FindStringSubmatch(p), "", "", "")[1:3], "")
		}
	}
	return strings.Join(parts, "/")
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
