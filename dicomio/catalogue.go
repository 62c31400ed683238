package dicomio

import (
	"fmt"
	"strconv"
	"strings"
)

// Catalogue is what an input holds: the series found, and what was passed over.
type Catalogue struct {
	Series []*Series // in order of listing; Series[i].Number is i+1
	Passed []Passed  // files that are no part of a series, by reason
}

// Pick returns the series that selector names: a number of the listing, or a SeriesInstanceUID. An empty selector takes
// the only CT-like volume.
//
// It returns an error wrapping [ErrSelector] when nothing has that name, and a [*SeriesError] that lists the candidates
// when there are several. The series returned may still be unfit: see [Series.Err].
func (c *Catalogue) Pick(selector string) (*Series, error) {
	if selector = strings.TrimSpace(selector); selector != "" {
		return c.named(selector)
	}
	var volumes, candidates []*Series
	for _, s := range c.Series {
		if s.candidate() {
			candidates = append(candidates, s)
			if len(s.planes) >= fewest {
				volumes = append(volumes, s)
			}
		}
	}
	for _, among := range [][]*Series{volumes, candidates, c.Series} {
		switch len(among) {
		case 0:
			continue
		case 1:
			return among[0], nil
		}
		return nil, several(among)
	}
	return nil, fmt.Errorf("%w: there is none", ErrSelector)
}

// named finds a series by number or UID.
func (c *Catalogue) named(selector string) (*Series, error) {
	var among []*Series
	for _, s := range c.Series {
		if strconv.Itoa(s.Number) == selector || s.UID == selector {
			among = append(among, s)
		}
	}
	switch len(among) {
	case 0:
		return nil, fmt.Errorf("%w: %q; there are %d, numbered from 1", ErrSelector, printable(selector, 64), len(c.Series))
	case 1:
		return among[0], nil
	}
	return nil, several(among)
}

// several lists the series among which a choice is needed, without any identity.
func several(among []*Series) error {
	var list []string
	for _, s := range among {
		list = append(list, fmt.Sprintf("%d: %d slices, %s, %s", s.Number, len(s.planes), s.Dimensions(), s.Facts.SOPClass))
	}
	return &SeriesError{Code: "several", Problem: fmt.Sprintf("%d series, which one? (%s)", len(among), shorten(list)),
		Remedy: "choose one by its number"}
}
