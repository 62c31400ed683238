package dicomio

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ridgerule/dicomio/volume"
)

// Verdict says whether a series is fit to measure.
type Verdict int

// The verdicts, from best to worst.
const (
	Fit Verdict = iota
	FitWithCautions
	Unfit
)

// String returns "fit", "fit with cautions" or "unfit".
func (v Verdict) String() string { return [...]string{"fit", "fit with cautions", "unfit"}[v] }

// Caution is something the reader of every output must know.
type Caution struct {
	Code string // machine-readable, e.g. "lossy"; the list is in docs/reading.md
	Text string // a sentence
}

// Series is one stack of slices and what its headers say of it.
type Series struct {
	Number int         // in the listing, from 1
	UID    string      // SeriesInstanceUID as found; not to be printed unasked
	Part   int         // 0, or 1, 2, … when one UID held several stacks
	Grid   volume.Grid // size and place of the volume; Check fails when the geometry could not be had
	Images []Image     // one a slice, in slice order (ascending along the normal); duplicates are left out

	Study            string // StudyInstanceUID as found; not to be printed unasked
	FrameOfReference string // FrameOfReferenceUID as found; not to be printed unasked
	Class            string // SOP Class UID of the images
	Synthetic        bool   // every file says that there is no patient, in the words of [WriteCT]

	Facts    Facts
	Cautions []Caution
	Problems []*SeriesError // why it is unfit; empty when it is not
	Identity Identity       // never printed unless asked for

	input   *Input
	limits  Limits
	planes  []*plane // in slice order once judged
	lost    []*plane // images of the series without a place
	misfits []*plane // images of another matrix or spacing
	leftOut string   // why it is no stack but was found beside one
	blank   *int16
	remap   map[*source]padding // files whose padding is another value than blank, or a range
}

// Image says where one slice came from.
type Image struct {
	File  string // path inside the input
	Frame int    // 0-based frame in the file
	SOP   string // SOPInstanceUID
}

// Facts are harmless to print.
type Facts struct {
	Modality       string  // e.g. CT
	SOPClass       string  // name, e.g. "CT Image Storage"; the UID when it has no name here
	Encoding       string  // name of the transfer syntax
	Lossy          bool    // pixels passed a lossy compression, now or before
	Photometric    string  // MONOCHROME1 or MONOCHROME2
	Invert         bool    // MONOCHROME1: dark means more; for display only, grey values are as stored
	BitsStored     int     // bits
	Signed         bool    // stored values are two's complement
	RescaleType    string  // unit of the grey values as the file claims it; may be empty
	KVP            float64 // tube voltage, kV; 0: not said
	SliceThickness float64 // mm; 0: not said. Never used for geometry
	Orientation    string  // in words, e.g. "axial: columns toward Left, rows toward Posterior, slices toward Superior"
	Files          int     // files the slices come from
	Bytes          int64   // bytes of those files
}

// Verdict returns [Unfit] when the series has a problem, else [FitWithCautions] when it has a caution, else [Fit].
func (s *Series) Verdict() Verdict {
	switch {
	case len(s.Problems) > 0:
		return Unfit
	case len(s.Cautions) > 0:
		return FitWithCautions
	}
	return Fit
}

// Err returns nil when the series is fit, else its first problem; the message counts the others.
func (s *Series) Err() error {
	if len(s.Problems) == 0 {
		return nil
	}
	first := *s.Problems[0]
	first.more = len(s.Problems) - 1
	return &first
}

// Spacing returns the distances between columns, rows and slices, mm; NaN where one is not known: between the slices of
// fewer than two, and everywhere in images without a place.
func (s *Series) Spacing() [3]float64 {
	d := s.Grid.Spacing()
	for axis, mm := range d {
		if mm == 0 || axis == 2 && s.Grid.Size[2] < 2 {
			d[axis] = math.NaN()
		}
	}
	return d
}

// Dimensions words the size of the volume and of its voxels:
//
//	512 × 512 × 300 voxels of 0.25 × 0.25 × 0.25 mm
//
// with "unknown" for what is not known.
func (s *Series) Dimensions() string {
	var size, spacing [3]string
	for axis, mm := range s.Spacing() {
		size[axis], spacing[axis] = "unknown", "unknown"
		if n := s.Grid.Size[axis]; n > 0 {
			size[axis] = strconv.Itoa(n)
		}
		if !math.IsNaN(mm) {
			spacing[axis] = fmt.Sprintf("%.3g", mm)
		}
	}
	return strings.Join(size[:], " × ") + " voxels of " + strings.Join(spacing[:], " × ") + " mm"
}

// Bytes returns the memory its volume takes, in bytes.
func (s *Series) Bytes() int64 {
	n := s.Grid.Size
	return 2 * int64(n[0]) * int64(n[1]) * int64(n[2])
}
