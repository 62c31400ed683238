package practice

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"time"
)

// Session is one reader's sitting: items in an order, each answered once. A sitting of practice and one of a study are
// the same; a session holds no truth. For a set whose truth is known [MarkReadings] takes what [Session.Readings] returns.
//
//	s := NewSession("r07", set.Sheets)        or Arrange(subjects, options)
//	for it := s.Next(); it != nil; it = s.Next() {
//		s.Show(now)                       // it.Sheet is shown
//		err := s.Commit(reading, now)     // and answered, before anything else is told
//	}
//
// It is written as JSON between sittings, and goes on where it was.
type Session struct {
	Format  int       `json:"format"`
	Reader  string    `json:"reader"`                // a code
	List    string    `json:"list_sha256,omitempty"` // of the list that the items were taken from; "": of none
	Seed    uint64    `json:"seed,string"`           // of the order
	Salt    Salt      `json:"salt"`                  // of names and places
	Items   []Item    `json:"items"`                 // in the order of reading
	Answers []Answer  `json:"answers"`               // in the order given
	Shown   time.Time `json:"shown"`                 // when the next item was shown; zero: it was not, or nobody knows for how long
	Seen    string    `json:"seen,omitempty"`        // the item that was looked at last on a screen
}

// Item is one item of a session.
type Item struct {
	Sheet     Sheet  `json:"sheet"`
	Case      string `json:"case,omitempty"`
	Site      string `json:"site,omitempty"`
	Replicate string `json:"replicate,omitempty"`
	Listed    int    `json:"listed"` // its place in the list that it was taken from
}

// Answer is what was read, and when.
type Answer struct {
	Reading   Reading   `json:"reading"`
	At        time.Time `json:"at"`
	Corrected bool      `json:"corrected,omitempty"` // changed after it had been given
}

// ErrSession is wrapped by every error about a session: an answer that it cannot take, a file that is none.
var ErrSession = errors.New("practice: session")

// NewSession is a session of a set's sheets, in the set's own order.
func NewSession(reader string, sheets []Sheet) *Session {
	s := &Session{Format: keyFormat, Reader: reader}
	for i, sheet := range sheets {
		s.Items = append(s.Items, Item{Sheet: sheet, Listed: i})
	}
	return s
}

// Next returns the first item without an answer; nil when all have one.
func (s *Session) Next() *Item {
	for i := range s.Items {
		if s.answer(s.Items[i].Sheet.Item) == nil {
			return &s.Items[i]
		}
	}
	return nil
}

// Show notes that the next item is shown: its time begins.
func (s *Session) Show(now time.Time) { s.Shown = now }

// Resume says that the session goes on after a break: nobody knows how long the item in hand was looked at before it.
func (s *Session) Resume() { s.Shown = time.Time{} }

// Look notes that the next item is on the screen, and reports whether that is its first time: its time begins. One that was
// looked at before the session was broken off has none.
func (s *Session) Look(now time.Time) bool {
	next := s.Next()
	if next == nil || s.Seen == next.Sheet.Item {
		return false
	}
	s.Seen = next.Sheet.Item
	s.Show(now)
	return true
}

// longestShown is how long an item may be shown before its time is taken for a break, not a reading: our choice.
const longestShown = time.Hour

// Commit takes the answer of an item, and with it the time since the item was shown, unless the reading has its own.
// An answer stays as it was given: a second one of an item is refused, with an error wrapping [ErrSession], as is one of
// an item that is not in the session and one of which something else was asked.
func (s *Session) Commit(r Reading, now time.Time) error {
	it, err := s.asked(r)
	if err != nil {
		return err
	}
	if s.answer(r.Item) != nil {
		return fmt.Errorf("%w: %s has its answer; it stays as it was given", ErrSession, r.Item)
	}
	r.Question = it.Sheet.Question
	if r.Value == nil && !r.Unreadable {
		r.Value = lineValue(it.Sheet, r.Line)
	}
	if r.Value == nil && !r.Unreadable {
		return fmt.Errorf("%w: %s: no value; read it, or say that it cannot be read (%s)", ErrSession, r.Item, unreadable)
	}
	if took := now.Sub(s.Shown); r.Seconds == nil && !s.Shown.IsZero() && took >= 0 && took <= longestShown {
		seconds := took.Seconds()
		r.Seconds = &seconds
	}
	s.Answers = append(s.Answers, Answer{Reading: r, At: now})
	s.Shown = time.Time{}
	return nil
}

// Take commits what is new in a list of readings, as a worksheet's file has them, and returns how many were new. The
// time since the item was shown is that of a single new answer alone. What was answered before must read as it did,
// unless correct says that it may be changed; a corrected answer is marked as such. Nothing is taken where anything is
// refused; the error joins all reasons.
func (s *Session) Take(list []Reading, now time.Time, correct bool) (fresh int, err error) {
	var news, changed []Reading
	var faults []error
	for _, r := range list {
		it, err := s.asked(r)
		before := s.answer(r.Item)
		switch {
		case err != nil:
			faults = append(faults, err)
		case r.Empty() && before == nil:
		case before == nil:
			news = append(news, r)
		case !before.Reading.says(it.Sheet, r):
			changed = append(changed, r)
			if !correct {
				faults = append(faults, fmt.Errorf("%w: row %d: %s was answered otherwise before; put the answer back as it was, or give --correct", ErrSession, r.Row, r.Item))
			}
		}
	}
	next := *s
	next.Answers = append([]Answer(nil), s.Answers...)
	if len(news) != 1 {
		next.Shown = time.Time{}
	}
	for _, r := range news {
		faults = append(faults, next.Commit(r, now))
	}
	for _, r := range changed {
		faults = append(faults, next.correct(r))
	}
	if err := errors.Join(faults...); err != nil {
		return 0, err
	}
	*s = next
	return len(news), nil
}

// correct changes an answer; its times stay.
func (s *Session) correct(r Reading) error {
	it, _ := s.asked(r)
	if r.Value == nil {
		r.Value = lineValue(it.Sheet, r.Line)
	}
	if r.Empty() {
		return fmt.Errorf("%w: row %d: %s had an answer and has none now; put one in, or %s where it cannot be read", ErrSession, r.Row, r.Item, unreadable)
	}
	a := s.answer(r.Item)
	r.Question, r.Seconds = it.Sheet.Question, a.Reading.Seconds
	a.Reading, a.Corrected = r, true
	return nil
}

// says reports whether a reading of the same item gives the same answer.
func (r Reading) says(sheet Sheet, o Reading) bool {
	if o.Value == nil {
		o.Value = lineValue(sheet, o.Line)
	}
	same := (r.Value == nil) == (o.Value == nil) && (r.Value == nil || *r.Value == *o.Value)
	return same && r.Unreadable == o.Unreadable && r.Certainty == o.Certainty
}

// asked finds the item of a reading.
func (s *Session) asked(r Reading) (*Item, error) {
	for i := range s.Items {
		it := &s.Items[i]
		switch {
		case it.Sheet.Item != r.Item:
		case !it.Sheet.Question.same(r.Question):
			return nil, fmt.Errorf("%w: row %d: item %s was asked for %s, not %s", ErrSession, r.Row, r.Item, it.Sheet.Question, r.Question)
		default:
			return it, nil
		}
	}
	return nil, fmt.Errorf("%w: row %d: item %q is of another set or sitting; put back the file that was made with this one", ErrSession, r.Row, r.Item)
}

func (s *Session) answer(item string) *Answer {
	for i := range s.Answers {
		if s.Answers[i].Reading.Item == item {
			return &s.Answers[i]
		}
	}
	return nil
}

// Readings returns the answers in the order given.
func (s *Session) Readings() []Reading {
	out := make([]Reading, len(s.Answers))
	for i, a := range s.Answers {
		out[i] = a.Reading
	}
	return out
}

// Write writes the session as JSON.
func (s *Session) Write(w io.Writer) error { return json.NewEncoder(w).Encode(s) }

// ReadSession reads what [Session.Write] wrote. Its errors wrap [ErrSession].
func ReadSession(r io.Reader) (*Session, error) {
	s := &Session{}
	if err := decode(r, s, ErrSession); err != nil {
		return nil, err
	}
	if s.Format != keyFormat {
		return nil, fmt.Errorf("%w: format %d; this program reads %d", ErrSession, s.Format, keyFormat)
	}
	for _, it := range s.Items {
		if _, known := measurands[it.Sheet.Question.Quantity]; !known {
			return nil, fmt.Errorf("%w: item %s asks for %q", ErrSession, it.Sheet.Item, it.Sheet.Question.Quantity)
		}
	}
	for _, a := range s.Answers {
		if _, err := s.asked(a.Reading); err != nil {
			return nil, err
		}
	}
	return s, nil
}
