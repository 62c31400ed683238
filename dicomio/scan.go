package dicomio

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"strings"
	"sync/atomic"

	"github.com/suyashkumar/dicom/pkg/tag"
	"golang.org/x/sync/errgroup"

	"ridgerule/dicomio/internal/walk"
)

// found is what the scan made of one file.
type found struct {
	planes []*plane
	passed string       // why it is no part of a series; empty when it is
	broken *SeriesError // it is DICOM, and damaged
	source *source      // of a damaged file: what could still be read
	size   int64        // bytes, of a file passed over
	image  bool         // it was passed over for what it is, not for being unreadable
}

// Scan reads the header of every file behind the input, in parallel, and groups the images into series: by
// SeriesInstanceUID, then by geometry, so that two stacks under one UID are two series. Each is judged: see
// [Series.Verdict]. No pixel is read, except where two images lie in one place and must be told apart.
//
// It returns a [*SeriesError] when there is no DICOM image at all (the catalogue is then returned too, for what was
// passed over), and ctx's error when cancelled.
func Scan(ctx context.Context, input *Input, limits Limits) (*Catalogue, error) {
	limits = limits.withDefaults(runtime.GOMAXPROCS(0))
	results := make([]found, len(input.Names))
	err := each(ctx, limits.Workers, len(results), func(i int) error {
		results[i] = input.look(input.Names[i], limits)
		return nil
	})
	if err != nil {
		return nil, err
	}
	cat := &Catalogue{Passed: append([]Passed(nil), input.Passed...)}
	g := grouper{input: input, limits: limits}
	for i, r := range results {
		switch {
		case r.broken != nil:
			g.damaged = append(g.damaged, r)
			cat.Passed = count(cat.Passed, "damaged", input.Names[i])
		case r.passed != "":
			cat.Passed = count(cat.Passed, r.passed, input.Names[i])
			g.noImages = append(g.noImages, r.stray(input.Names[i]))
		default:
			g.planes = append(g.planes, r.planes...)
		}
	}
	g.noImages = append(g.noImages, input.notRead...)
	g.unreadable = cat.unreadable()
	if cat.Series, err = g.series(ctx); err != nil {
		return nil, err
	}
	return cat, cat.nothing(len(input.Names), g.damaged)
}

// unreadable words what could not be opened, whatever the system said of each; empty when everything could.
func (c *Catalogue) unreadable() string {
	n, first := 0, ""
	for _, p := range c.Passed {
		if strings.HasPrefix(p.Reason, "unreadable") {
			if n += p.Count; first == "" || p.First < first {
				first = p.First
			}
		}
	}
	if n == 0 {
		return ""
	}
	return fmt.Sprintf("%d file(s) or folder(s) could not be opened, the first is %s", n, called(first))
}

// nothing returns the error for a catalogue without series, nil when there is one.
func (c *Catalogue) nothing(files int, damaged []found) error {
	switch {
	case len(c.Series) > 0:
		return nil
	case len(damaged) > 0:
		return damaged[0].broken
	case files == 0 && len(c.Passed) == 0:
		return &SeriesError{Code: "empty", Problem: "the folder is empty", Remedy: "give the folder that holds the DICOM files"}
	}
	text := ""
	for _, p := range c.Passed {
		text += fmt.Sprintf(", %d %s", p.Count, p.Reason)
	}
	return &SeriesError{Code: "no_dicom", Problem: fmt.Sprintf("no DICOM image among %d files%s", files, text),
		Remedy: "give the folder that holds the DICOM files"}
}

// each calls do for 0 … n−1 from up to workers goroutines, until one fails or ctx is done.
func each(ctx context.Context, workers, n int, do func(i int) error) error {
	group, ctx := errgroup.WithContext(ctx)
	var next atomic.Int64
	for range min(workers, n) {
		group.Go(func() error {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return nil
				}
				if err := ctx.Err(); err != nil {
					return err
				}
				if err := do(i); err != nil {
					return err
				}
			}
		})
	}
	return group.Wait()
}

// look reads one file's header.
func (d *Input) look(name string, limits Limits) found {
	f, err := d.FS.Open(name)
	if err != nil {
		return found{passed: "unreadable: " + reason(err)}
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return found{passed: "not a regular file"}
	}
	src := &source{name: name, size: info.Size(), when: info.ModTime(), limits: limits}
	at, seek := f.(io.ReaderAt)
	src.seek = seek
	file, err := walk.Walk(walk.Source{R: f, At: at, Size: src.size, Inflated: limits.Inflated + growth*src.size})
	src.walked = file
	if !seek { // a header that was changed may say another series: the whole entry is held against its checksum
		if _, damage := io.Copy(io.Discard, f); damage != nil {
			err = damage
		}
	}
	out := src.sort(err)
	out.size, out.image = src.size, src.walked.DICM
	return out
}

// stray returns what is known of a file that was passed over.
func (r found) stray(name string) stray {
	return stray{name: name, size: r.size, told: r.image}
}

// sort decides what a walked file is.
func (src *source) sort(walkErr error) found {
	var broken *walk.Error
	if walkErr != nil && !errors.As(walkErr, &broken) { // an I/O error, or a corrupt archive entry: it may be a slice
		return found{broken: &SeriesError{Code: "unreadable", File: src.name, Problem: "cannot be read (" + printable(reason(walkErr), 120) + ")",
			Remedy: "copy or export the file again", Cause: walkErr}, source: src}
	}
	if broken != nil && !src.walked.DICM {
		return found{passed: "not DICOM"}
	}
	a, err := src.readHeader()
	if out, sorted := src.aside(broken, err); sorted {
		return out
	}
	var out found
	if src.checkPixels(); len(src.problems) == 0 {
		out.planes = planes(src, a)
	}
	if out.planes == nil { // one frame stands for all, and for the file's problems
		g := groups{own: first(a.items(tag.PerFrameFunctionalGroupsSequence)), shared: a.item(tag.SharedFunctionalGroupsSequence), root: a}
		out.planes = []*plane{readPlane(src, 0, g)}
	}
	return out
}

// aside sorts out a file that is no image: broken in its elements or in its header, or something else.
func (src *source) aside(broken *walk.Error, header error) (out found, sorted bool) {
	switch {
	case broken != nil && (src.class == "" || isImage(src.class)):
		return found{broken: src.damage(broken), source: src}, true
	case header != nil:
		return found{broken: &SeriesError{Code: "malformed", File: src.name, Problem: "malformed header (" + printable(reason(header), 160) + ")",
			Remedy: "copy or export the file again"}, source: src}, true
	case src.class == mediaDirectory:
		return found{passed: "a DICOMDIR"}, true
	case src.class == "" && !src.walked.DICM:
		return found{passed: "not DICOM"}, true
	case !src.walked.Pixels.Found && (src.class == "" || isImage(src.class)):
		return found{broken: &SeriesError{Code: "no_pixels", File: src.name, Attribute: "PixelData", Problem: "is missing, or the file is cut short before it",
			Remedy: "copy or export the file again"}, source: src}, true
	case !src.walked.Pixels.Found:
		return found{passed: "DICOM without an image"}, true
	}
	return found{}, false
}

// isImage reports whether damage in a file of this class can spoil a series: of the images read here, or unknown.
func isImage(class string) bool {
	return ctClasses[class] != "" || otherClasses[class] != "" || isSecondaryCapture(class)
}

// damage words what the walk found.
func (src *source) damage(e *walk.Error) *SeriesError {
	out := &SeriesError{Code: "malformed", File: src.name, Problem: "malformed: " + e.Error(), Remedy: "copy or export the file again", Cause: e}
	if e.Missing > 0 {
		out.Code = "truncated"
		out.Problem = fmt.Sprintf("the file is cut short: at least %d bytes are missing (%s)", e.Missing, e.Error())
	}
	return out
}
