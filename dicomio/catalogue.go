package dicomio

import "context"

// Catalogue is what a door holds: the series found, and what was passed over.
type Catalogue struct {
	Series []*Series // in order of listing; Series[i].Number is i+1
	Passed []Passed  // files that are no part of a series, by reason
}

// Scan reads the header of every file behind the door, in parallel, and groups the images into series: by
// SeriesInstanceUID, then by geometry, so that two stacks under one UID are two series. Each is judged: see
// [Series.Verdict].
//
// It returns a [*SeriesError] when there is no DICOM image at all (the catalogue is then returned too, for what was
// passed over), and ctx's error when cancelled.
func Scan(ctx context.Context, door *Door, limits Limits) (*Catalogue, error) {
	return &Catalogue{}, &SeriesError{Problem: "not written yet"}
}

// Pick returns the series that selector names: a number of the listing, or a SeriesInstanceUID. An empty selector takes
// the only CT-like volume.
//
// It returns an error wrapping [ErrSelector] when nothing has that name, and a [*SeriesError] that lists the candidates
// when there are several. The series returned may still be unfit: see [Series.Err].
func (c *Catalogue) Pick(selector string) (*Series, error) { return nil, ErrSelector }
