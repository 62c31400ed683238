package main

import (
	"context"
	"errors"
	"runtime/debug"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
)

// opened is a series that was picked, with the input it came through still open.
type opened struct {
	*dicomio.Series
	input *dicomio.Input
}

// open finds the series that selector names behind path. Close its input after the last read.
func (a *app) open(ctx context.Context, path, selector string) (*opened, error) {
	input, err := dicomio.Open(path, a.limits)
	if err != nil {
		return nil, err
	}
	s, err := a.pick(ctx, input, selector)
	if err != nil {
		return nil, errors.Join(err, input.Close())
	}
	return &opened{s, input}, nil
}

func (a *app) pick(ctx context.Context, input *dicomio.Input, selector string) (*dicomio.Series, error) {
	found, err := dicomio.Scan(ctx, input, a.limits)
	if err != nil {
		return nil, err
	}
	s, err := found.Pick(selector)
	if err != nil {
		return nil, named(err)
	}
	return s, s.Err()
}

// named gives the remedy of a choice not made the name it has here.
func named(err error) error {
	var e *dicomio.SeriesError
	if errors.As(err, &e) && e.Code == "several" {
		e.Remedy = "choose one with --series and its number"
	}
	return err
}

// volume reads the pixels.
func (a *app) volume(ctx context.Context, s *opened) (*volume.Volume, error) {
	step, end := a.progress("reading")
	defer end()
	v, err := s.Read(ctx, step)
	if err == nil {
		tightenMemory(2 * len(v.Stored))
	}
	return v, err
}

// garbage is how much may be left lying about beside a volume before it is collected, bytes.
const garbage = 40 << 20

// tightenMemory has the collector run each time about [garbage] bytes have gathered, not each time
// the heap has doubled: a volume holds no pointers, so that a run costs next to nothing, and doubled
// it would not fit where it was measured to fit.
func tightenMemory(volume int) {
	if percent := 100 * garbage / (volume + garbage); percent < 100 {
		debug.SetGCPercent(max(5, percent))
	}
}

// scanOf returns the facts about a series that a result carries.
func scanOf(s *dicomio.Series, v *volume.Volume) measure.Scan {
	scan := measure.Scan{
		SeriesHash: s.Hash(v), FrameHash: s.FrameHash(), Size: v.Size, Spacing: v.Spacing(), Encoding: s.Facts.Encoding,
		Orientation: s.Facts.Orientation, Verdict: s.Verdict().String(),
	}
	for _, c := range s.Cautions {
		scan.Cautions = append(scan.Cautions, measure.Caution{Code: c.Code, Text: c.Text, Severity: measure.SeverityCaution})
	}
	return scan
}
