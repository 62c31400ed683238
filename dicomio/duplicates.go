package dicomio

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// judgeDuplicates puts the planes in order and leaves one in each place: a second image of one place is dropped when its
// grey values are the same, and spoils the series when they are not.
func (s *Series) judgeDuplicates(ctx context.Context) error {
	if s.planes[0].row == (r3.Vec{}) {
		return nil
	}
	order(s.planes, s.planes[0].normal())
	var kept []*plane
	var pairs [][2]*plane
	for _, p := range s.planes {
		if n := len(kept); n > 0 && r3.Norm(r3.Sub(p.position, kept[n-1].position)) <= samePlace {
			pairs = append(pairs, [2]*plane{kept[n-1], p})
			continue
		}
		kept = append(kept, p)
	}
	s.planes = kept
	if len(pairs) == 0 || len(s.Problems) > 0 {
		return nil
	}
	differ := make([]bool, len(pairs))
	faults := make([]*SeriesError, len(pairs))
	err := each(ctx, s.limits.Workers, len(pairs), func(i int) error {
		differ[i], faults[i] = s.differ(pairs[i][0], pairs[i][1])
		return nil
	})
	if err != nil {
		return err
	}
	s.reportDuplicates(pairs, differ, faults)
	return nil
}

// differ reports whether two images hold different grey values.
func (s *Series) differ(a, b *plane) (bool, *SeriesError) {
	var values [2][]int16
	for i, p := range []*plane{a, b} {
		values[i] = make([]int16, p.src.pixels.rows*p.src.pixels.columns)
		r, err := s.input.openPixels(p.src)
		if err == nil {
			err = r.frame(p, values[i])
			r.Close()
		}
		if err != nil {
			return true, asSeriesError(err, p.src.name)
		}
	}
	ra, rb := newCells(a.src.pixels), newCells(b.src.pixels)
	return ra.rescale(a.rescale) != rb.rescale(b.rescale) || !slices.Equal(values[0], values[1]), nil
}

func (s *Series) reportDuplicates(pairs [][2]*plane, differ []bool, faults []*SeriesError) {
	dropped := 0
	var first string
	for i, pair := range pairs {
		switch {
		case faults[i] != nil:
			s.problem(faults[i])
			return
		case differ[i]:
			s.problem(&SeriesError{Code: "two_acquisitions", File: pair[1].src.name, Attribute: "ImagePositionPatient", Value: point(pair[1].position),
				Problem: fmt.Sprintf("the same position as %s, with other pixels (%d such pair(s)): two acquisitions in one series", pair[0].place(), trues(differ)),
				Remedy:  "export one acquisition (one phase, one reconstruction) by itself"})
			return
		}
		if dropped++; dropped == 1 {
			first = pair[1].src.name
		}
	}
	s.caution("duplicates", fmt.Sprintf("%d image(s) are in the folder twice, with the same pixels, and were read once; the first is %s", dropped, called(first)))
}

func trues(flags []bool) (n int) {
	for _, f := range flags {
		if f {
			n++
		}
	}
	return n
}

// asSeriesError returns err as our type.
func asSeriesError(err error, name string) *SeriesError {
	var e *SeriesError
	if errors.As(err, &e) {
		return e
	}
	return &SeriesError{Code: "unreadable", File: name, Problem: "cannot be read (" + printable(reason(err), 120) + ")", Remedy: "copy the file again", Cause: err}
}
