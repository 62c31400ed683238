package desk

import (
	"fmt"
	"math"
	"net/http"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/practice"
)

// Answers to a section: what a line reads while it is laid, and the answer that is kept.

// lineAsked is a line that was laid on an item, its ends on the sheet.
type lineAsked struct {
	Item       string   `json:"item"`
	Line       [2]point `json:"line"`
	Certainty  int      `json:"certainty"`
	Unreadable bool     `json:"unreadable"` // no line: the section cannot be read
}

// line is the line with the digits that are kept: a thousandth of a millimetre.
func (a lineAsked) line() practice.Line {
	kept := func(p point) r3.Vec { return r3.Vec{X: digits(p[0], 3), Y: digits(p[1], 3)} }
	return practice.Line{A: kept(a.Line[0]), B: kept(a.Line[1]), OnSheet: true}
}

// offSheet is how far past a sheet's border an end may lie, mm: half a pixel, and what rounding adds.
const offSheet = 0.2

// digits rounds to so many decimals.
func digits(x float64, n int) float64 {
	scale := math.Pow10(n)
	return math.Round(x*scale) / scale
}

// value answers with what a line reads, while it is laid.
func (s *sitting) value(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[lineAsked](r)
	if err != nil {
		return err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	sheet, ok := s.find(asked.Item)
	if !ok {
		return fmt.Errorf("%w: no such section", ErrPractice)
	}
	return send(w, map[string]string{"value": valueWords(sheet.LineValue(asked.line()), sheet.Question.Unit())})
}

// answer takes an answer. It is kept before the page is told, with its truth where that may be told.
func (s *sitting) answer(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[lineAsked](r)
	if err != nil {
		return err
	}
	if err := s.take(asked); err != nil {
		return err
	}
	return s.send(w, r.Context(), asked.Item)
}

func (s *sitting) take(asked lineAsked) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	next := s.Session.Next()
	if next == nil || next.Sheet.Item != asked.Item {
		return fmt.Errorf("%w: another section is in hand", ErrPractice)
	}
	reading, err := s.reading(next.Sheet, asked)
	if err != nil {
		return err
	}
	before := *s.Session
	before.Answers = append([]practice.Answer(nil), s.Session.Answers...)
	if err = s.Session.Commit(reading, s.now()); err == nil {
		err = s.Keep(s.Session)
	}
	if err != nil { // it was not taken
		*s.Session = before
		return fmt.Errorf("%w: %w", ErrPractice, err)
	}
	return nil
}

// reading makes an answer of what the page sent.
func (s *sitting) reading(sheet practice.Sheet, asked lineAsked) (practice.Reading, error) {
	r := practice.Reading{Item: asked.Item, Question: sheet.Question, Certainty: asked.Certainty}
	switch {
	case asked.Unreadable && s.Study:
		r.Certainty, r.Unreadable = 0, true
		return r, nil
	case asked.Unreadable:
		return r, fmt.Errorf("%w: every section of practice can be read", ErrPractice)
	case asked.Certainty < 1 || asked.Certainty > 3:
		return r, fmt.Errorf("%w: say how sure you are", ErrPractice)
	case asked.Line[0] == asked.Line[1]:
		return r, fmt.Errorf("%w: the line has no length", ErrPractice)
	}
	line := asked.line()
	for _, p := range [...]r3.Vec{line.A, line.B} {
		if p.X < -offSheet || p.Y < -offSheet || p.X > sheet.Width+offSheet || p.Y > sheet.Height+offSheet {
			return r, fmt.Errorf("%w: an end of the line at (%.1f, %.1f) mm lies off the sheet", ErrPractice, p.X, p.Y)
		}
	}
	value := digits(sheet.LineValue(line), 2)
	r.Value, r.Line = &value, &line
	return r, nil
}
