package desk

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"ridgerule/dicomio/temporary"
	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/plan"
)

// Scan is what a desk shows.
type Scan struct {
	Volume    *volume.Volume
	Facts     measure.Scan
	Synthetic bool     // there is no patient
	Identity  []string // of the patient, for the page to show; nil: nobody asked for it
}

// ErrStale says that an act was meant for another state of the plan than it has.
var ErrStale = errors.New("desk: the plan is another by now")

// conflict is an act and a change outside that are about the same place of the plan.
type conflict struct {
	Path   string `json:"path"`
	Yours  string `json:"yours"`
	Theirs string `json:"theirs"`
}

func (c *conflict) Error() string {
	return fmt.Sprintf("%s was changed outside the page to %s; you were to make it %s", c.Path, c.Theirs, c.Yours)
}

// session is a plan on its scan. It may be used by several goroutines.
type session struct {
	scan      Scan
	path      string
	now       func() time.Time
	quantiles []float64 // of the scan's grey values
	measured  measured
	proposals proposals
	snaps     snaps
	boards    boards

	mu       sync.Mutex
	journal  *journal        // nil: read-only
	lock     *temporary.Held //
	readOnly string          // why; empty: it is not
	draft    *draft          // of the text as it stands
	saved    time.Time
	changed  chan struct{} // closed when the draft becomes another
	notice   string        // of the beginning, for the page
}

// openSession takes up the plan at path, or begins one.
func openSession(scan Scan, path string, readOnly bool, now func() time.Time) (*session, error) {
	s := &session{scan: scan, path: path, now: now, changed: make(chan struct{}), quantiles: quantiles(scan.Volume)}
	if err := s.readable(); err != nil {
		return nil, err
	}
	if readOnly {
		s.readOnly = "opened to look only"
	} else if err := s.hold(); err != nil {
		return nil, err
	}
	if s.readOnly == "" {
		if err := s.begin(); err != nil {
			return nil, errors.Join(err, s.lock.Release())
		}
		j, torn, err := openJournal(path)
		if err != nil {
			return nil, errors.Join(err, s.lock.Release())
		}
		if s.journal = j; torn {
			s.notice = "the last act before the program ended was not whole and was dropped"
		}
		s.saved = now()
		s.draft = s.read(j.text)
		return s, nil
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	s.draft = s.read(text)
	return s, nil
}

// readable returns the faults of a plan of which nothing can be read, for then there is nothing to show and no act could mend it,
// and of a place where no plan can be.
func (s *session) readable() error {
	text, err := os.ReadFile(s.path)
	switch {
	case err == nil:
		if p, _, faults := s.parse(text); p == nil {
			return faults
		}
	case errors.Is(err, fs.ErrNotExist):
		if _, err := os.Stat(filepath.Dir(s.path)); err != nil {
			return plan.Errors{{File: filepath.Base(s.path), What: "its folder does not exist", Remedy: "make the folder, or give another place for the plan"}}
		}
	}
	return nil // another error is told where it is met
}

// hold takes the plan's lock, or says who has it.
func (s *session) hold() error {
	lock, by, err := temporary.Hold(s.path, s.now())
	if err != nil {
		return err
	}
	s.lock = lock
	if by != "" {
		s.readOnly = "held by " + by
	}
	return nil
}

// begin writes the first lines of a plan that is not there yet: the scan that it is made for, and a label that is not
// the patient's.
func (s *session) begin() error {
	if _, err := os.Stat(s.path); !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	text := []byte("format: 1\n")
	label := strings.TrimSuffix(filepath.Base(s.path), filepath.Ext(s.path))
	text, err := plan.Set(text, "case", label)
	if s.scan.Facts.SeriesHash != "" && err == nil {
		made := plan.Map{{Key: "series", Value: s.scan.Facts.SeriesHash}}
		if s.scan.Facts.FrameHash != "" {
			made = append(made, plan.Entry{Key: "frame", Value: s.scan.Facts.FrameHash})
		}
		text, err = plan.Set(text, "for", made)
	}
	if err != nil {
		return err
	}
	f, err := os.OpenFile(s.path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = f.Write(text)
	return errors.Join(err, f.Sync(), f.Close())
}

// close gives everything up.
func (s *session) close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	var err error
	if s.journal != nil {
		err = s.journal.Close()
	}
	return errors.Join(err, s.lock.Release())
}

// current returns the plan as it stands, what another program wrote into its file included, and what tells of the next
// change.
func (s *session) current() (*draft, <-chan struct{}) {
	s.mu.Lock()
	defer s.mu.Unlock()
	_, _ = s.look()
	return s.draft, s.changed
}

// look takes up what another program wrote, and returns the plan's text before it; nil where nothing was. A text that
// cannot be read yet, as of an editor in the middle of a line, is left until it can. What the plan names is read anew where
// it was changed.
func (s *session) look() ([]byte, error) {
	text, err := os.ReadFile(s.path)
	if err != nil {
		return nil, err
	}
	if bytes.Equal(text, s.draft.text) {
		if s.draft.stamp != s.stamp(s.draft.plan) {
			s.show(text)
		}
		return nil, nil
	}
	before := s.draft.text
	if _, err := plan.Differences(before, text); err != nil {
		return nil, fmt.Errorf("%w: the plan's file was changed outside the page and cannot be read: %w", ErrAct, err)
	}
	if s.journal != nil {
		if err := s.journal.TakeOutside(text, s.now()); err != nil {
			return nil, err
		}
	}
	s.show(text)
	return before, nil
}

// show makes text what the page sees.
func (s *session) show(text []byte) {
	s.draft, s.saved = s.read(text), s.now()
	close(s.changed)
	s.changed = make(chan struct{})
}

// do does an act that was meant for the plan with this tag, and returns the plan after it. When another program changed
// the plan since, the act is done to what it wrote, unless both are about the same place: then the error is a *[conflict],
// and the plan as the other left it stands.
func (s *session) do(words, tag string, edits []edit) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.mayWrite(); err != nil {
		return err
	}
	if tag != s.draft.tag {
		return ErrStale
	}
	before, err := s.look()
	if err != nil {
		return err
	}
	text, err := apply(s.draft.text, edits, places{s.scan.Volume.Grid, s.draft.voxels})
	if before != nil {
		if clash := clashOf(before, s.draft.text, edits); clash != nil {
			return clash
		}
	}
	if err != nil {
		return err
	}
	if err := s.journal.Do(words, text, s.now()); err != nil {
		return err
	}
	s.show(text)
	return nil
}

// isAt reports, with the lock held, that the plan may be written and is as whoever asks has seen it.
func (s *session) isAt(tag string) error {
	if err := s.mayWrite(); err != nil {
		return err
	}
	if before, err := s.look(); err != nil || before != nil || tag != s.draft.tag {
		return errors.Join(ErrStale, err)
	}
	return nil
}

// wordsReview are the words of the act that records a review.
const wordsReview = "review recorded"

// voidSince returns when the first act after the last review was done; zero where none was.
func (s *session) voidSince() (at time.Time) {
	if s.journal == nil {
		return at
	}
	for _, a := range slices.Backward(s.journal.acts) {
		if a.Words == wordsReview {
			return at
		}
		at = a.Time
	}
	return time.Time{}
}

// record writes the record of a review into the plan.
func (s *session) record(tag string, review plan.Map) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.isAt(tag); err != nil {
		return err
	}
	text, err := plan.Set(s.draft.text, "review", review)
	if err == nil {
		err = s.journal.Do(wordsReview, text, s.now())
	}
	if err != nil {
		return err
	}
	s.show(text)
	return nil
}

// turn takes the last act back, or does it again.
func (s *session) turn(verb, tag string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if err := s.isAt(tag); err != nil {
		return err
	}
	if err := s.journal.Turn(verb, s.now()); err != nil {
		return err
	}
	s.show(s.journal.text)
	return nil
}

func (s *session) mayWrite() error {
	if s.readOnly != "" {
		return fmt.Errorf("%w: the plan is %s", ErrAct, s.readOnly)
	}
	return nil
}

// clashOf returns the first place that an act and a change outside are both about; nil: none.
func clashOf(before, after []byte, edits []edit) *conflict {
	paths, err := plan.Differences(before, after)
	if err != nil {
		return nil
	}
	for _, e := range edits {
		for _, p := range paths {
			if within(p, e.Path) || within(e.Path, p) {
				return &conflict{Path: e.Path, Yours: string(e.Value), Theirs: plan.At(after, e.Path)}
			}
		}
	}
	return nil
}

// within reports whether a path is another, or leads to a part of it.
func within(path, whole string) bool {
	rest, ok := strings.CutPrefix(path, whole)
	return ok && (rest == "" || rest[0] == '.' || rest[0] == '[')
}
