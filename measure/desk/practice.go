package desk

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"sync"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/practice"
	"ridgerule/measure/reformat"
)

// Practice on the page: one bare section after the other is measured by eye, with callipers that do not snap. An answer is
// given, with how sure the reader is, before anything of its truth goes to the page; in a test nothing of it does before the
// last answer. What is answered stays so, and is kept before the page says that it was taken.

// Practice is a set of sections and who reads them.
type Practice struct {
	Session *practice.Session
	Load    func(ctx context.Context, item string) (*volume.Volume, error) // the scan of an item
	Keep    func(s *practice.Session) error                                // after each answer; when it fails the answer is not taken
	Key     *practice.Key                                                  // nil: nobody here knows the truth
	Test    bool                                                           // nothing is told before the end
	Rules   practice.Rules                                                 // of the marks
}

// sitting is a practice in hand. It may be used by several goroutines.
type sitting struct {
	Practice
	now func() time.Time

	mu    sync.Mutex
	shown string // the item whose picture was made last
	scan  *volume.Volume
}

// ErrPractice is wrapped by the errors of answers that are not taken.
var ErrPractice = errors.New("desk: not taken")

// OpenPractice serves a practice on the loopback interface, as [Open] does a plan. Close it by ending the context of
// [Desk.Serve].
func OpenPractice(p Practice, o Options) (*Desk, error) {
	d, files, err := newDesk(o)
	if err != nil {
		return nil, err
	}
	files["/"] = files["/practice.html"]
	s := &sitting{Practice: p, now: d.options.Now}
	return d, d.listen(files, s.calls(d), func() error { return nil })
}

func (s *sitting) calls(d *Desk) http.Handler {
	mux := http.NewServeMux()
	call := func(pattern string, f func(w http.ResponseWriter, r *http.Request) error) {
		mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) { answer(w, r, f(w, r)) })
	}
	call("POST "+enterPath, d.enter)
	call("GET /api/practice", func(w http.ResponseWriter, r *http.Request) error { return s.send(w, r.Context(), "") })
	call("GET /api/sheet", s.sheet)
	call("POST /api/value", s.value)
	call("POST /api/answer", s.answer)
	return mux
}

// practiceView is what the page is told: the item in hand, and of truth what may be told by now.
type practiceView struct {
	Test     bool       `json:"test"`
	Known    bool       `json:"known"` // the truth is known here
	Total    int        `json:"total"`
	Answered int        `json:"answered"`
	Caution  string     `json:"caution"`
	Axis     string     `json:"axis_words"`
	Item     *itemView  `json:"item"`  // nil: all are answered
	Last     *markView  `json:"last"`  // of the answer just given; nil: none, or not to be told yet
	Marks    []markView `json:"marks"` // of all; empty before the end
}

type itemView struct {
	Name      string    `json:"name"`
	Number    int       `json:"number"` // from 1
	Jaw       string    `json:"jaw"`
	Tooth     int       `json:"tooth"`
	Ask       string    `json:"ask"`
	How       string    `json:"how"`
	Unit      string    `json:"unit"`
	Sides     [2]string `json:"sides"` // at the left and the right of the picture
	Body      []point   `json:"body"`  // corners of an implant that is asked about; empty: none
	Quantiles []float64 `json:"quantiles"`
}

// markView is one mark in words; points are of the patient, mm.
type markView struct {
	Item    string   `json:"item"`
	Ask     string   `json:"ask"`
	Yours   string   `json:"yours"`
	Truth   string   `json:"truth"`
	Error   string   `json:"error"`
	Verdict string   `json:"verdict"`
	Unsafe  bool     `json:"unsafe"`
	Parts   string   `json:"parts"` // which of it the line is, which the edges
	Note    string   `json:"note"`
	Why     string   `json:"why"`
	Line    [2]point `json:"line"`
	True    [2]point `json:"true"`
}

// practiceCaution stands on every page of practice.
const practiceCaution = "Synthetic sections, invented anatomy: they teach measuring, not diagnosis."

// send tells how the sitting stands; of names the item that was answered just now, "" for none.
func (s *sitting) send(w http.ResponseWriter, ctx context.Context, of string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	v := practiceView{Test: s.Test, Known: s.Key != nil, Total: len(s.Session.Items), Answered: len(s.Session.Answers), Caution: practiceCaution, Axis: practice.AxisWords, Marks: []markView{}}
	next := s.Session.Next()
	if next != nil {
		item, err := s.item(ctx, next.Sheet, v.Answered+1)
		if err != nil {
			return err
		}
		v.Item = item
	}
	if s.Key != nil && (next == nil || !s.Test) {
		marks, err := s.marks(next == nil, of)
		if err != nil {
			return err
		}
		if next == nil {
			v.Marks = marks
		}
		for i := range marks {
			if marks[i].Item == of {
				v.Last = &marks[i]
			}
		}
	}
	return send(w, v)
}

// item tells of the item in hand what its sheet says.
func (s *sitting) item(ctx context.Context, sheet practice.Sheet, number int) (*itemView, error) {
	scan, err := s.load(ctx, sheet.Item)
	if err != nil {
		return nil, err
	}
	ask, how := sheet.Question.Words(sheet.Jaw)
	v := &itemView{Name: sheet.Item, Number: number, Jaw: sheet.Jaw.String(), Tooth: sheet.Tooth, Ask: ask, How: how, Unit: sheet.Question.Unit(), Sides: [2]string{"lingual", "buccal"}, Body: []point{}, Quantiles: quantiles(scan)}
	switch {
	case sheet.View != practice.Across:
		v.Sides = [2]string{"distal", "mesial"}
	case v.Jaw == "maxilla":
		v.Sides[0] = "palatal"
	}
	if b := sheet.Body; b != nil {
		half := b.Diameter / 2
		for _, p := range []reformat.UV{{U: b.Top.U - half, V: b.Top.V}, {U: b.Top.U + half, V: b.Top.V}, {U: b.Top.U + half, V: b.Top.V - b.Length}, {U: b.Top.U - half, V: b.Top.V - b.Length}} {
			v.Body = append(v.Body, pointOf(sheet.Frame.Patient(p)))
		}
	}
	return v, nil
}

// load returns the scan of an item, which stays until another is asked for. It is called with the lock held.
func (s *sitting) load(ctx context.Context, item string) (*volume.Volume, error) {
	if s.shown == item {
		return s.scan, nil
	}
	v, err := s.Load(ctx, item)
	if err == nil {
		s.shown, s.scan = item, v
	}
	return v, err
}

// find returns an item's sheet that may be shown: the one in hand, and one that is answered where its truth may be told.
func (s *sitting) find(name string) (practice.Sheet, bool) {
	next := s.Session.Next()
	if next != nil && next.Sheet.Item == name {
		return next.Sheet, true
	}
	if next != nil && s.Test {
		return practice.Sheet{}, false
	}
	for _, a := range s.Session.Readings() {
		for _, it := range s.Session.Items {
			if a.Item == name && it.Sheet.Item == name {
				return it.Sheet, true
			}
		}
	}
	return practice.Sheet{}, false
}

// sheet answers with the section of an item as its sheet shows it: the patient's head up.
func (s *sitting) sheet(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	s.mu.Lock()
	sheet, ok := s.find(q.Get("item"))
	if !ok {
		s.mu.Unlock()
		return fmt.Errorf("%w: no such section", ErrPicture)
	}
	if next := s.Session.Next(); next != nil && next.Sheet.Item == sheet.Item && s.Session.Shown.IsZero() {
		s.Session.Show(s.now()) // its time begins when it is seen
	}
	v, err := s.load(r.Context(), sheet.Item)
	s.mu.Unlock()
	if err != nil {
		return err
	}
	f, step := sheet.Frame, number(q, "step", leastPixel, largestStep, 0.1)
	top, down := sheet.Height-step/2, r3.Scale(-step, f.V)
	if f.V.Z < 0 { // the crest points to the feet
		top, down = step/2, r3.Scale(step, f.V)
	}
	p := volume.Plane{Origin: f.Patient(reformat.UV{U: step / 2, V: top}), StepX: r3.Scale(step, f.U), StepY: down,
		Width: pixels(sheet.Width-step, step), Height: pixels(sheet.Height-step, step)}
	b := buffers.Get().(*buffer)
	defer buffers.Put(b)
	if err := b.slab(r.Context(), v, p, f.T, []float64{0}); err != nil {
		return err
	}
	b.write(w, r, b.sum, p)
	return nil
}

// lineAsked is a line that was laid on an item.
type lineAsked struct {
	Item      string   `json:"item"`
	Line      [2]point `json:"line"`
	Certainty int      `json:"certainty"`
}

// line is the line with the digits that are kept: a thousandth of a millimetre.
func (a lineAsked) line() practice.Line {
	kept := func(p point) r3.Vec { return r3.Vec{X: digits(p[0], 3), Y: digits(p[1], 3), Z: digits(p[2], 3)} }
	return practice.Line{A: kept(a.Line[0]), B: kept(a.Line[1])}
}

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
	switch {
	case next == nil || next.Sheet.Item != asked.Item:
		return fmt.Errorf("%w: another section is in hand", ErrPractice)
	case asked.Certainty < 1 || asked.Certainty > 3:
		return fmt.Errorf("%w: say how sure you are", ErrPractice)
	case asked.Line[0] == asked.Line[1]:
		return fmt.Errorf("%w: the line has no length", ErrPractice)
	}
	line := asked.line()
	value := digits(next.Sheet.LineValue(line), 2)
	before := *s.Session
	before.Answers = append([]practice.Answer(nil), s.Session.Answers...)
	err := s.Session.Commit(practice.Reading{Item: asked.Item, Question: next.Sheet.Question, Value: &value, Certainty: asked.Certainty, Line: &line}, s.now())
	if err == nil {
		err = s.Keep(s.Session)
	}
	if err != nil { // it was not taken
		*s.Session = before
		return fmt.Errorf("%w: %w", ErrPractice, err)
	}
	return nil
}
