package desk

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sync"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/practice"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
)

// Practice on the page: one bare section after the other is measured by eye, with callipers that do not snap. An answer is
// given, with how sure the reader is, before anything of its truth goes to the page; in a test nothing of it does before the
// last answer. What is answered stays so, and is kept before the page says that it was taken.
//
// A sitting of a study is the same without a truth. Every place that the page knows lies on the sheet, mm from its corner: a
// place in the patient would tell which sections are of one site.

// Practice is a row of sections and who reads them.
type Practice struct {
	Session *practice.Session
	Picture func(ctx context.Context, s practice.Sheet) (report.Picture, error) // of an item
	Keep    func(s *practice.Session) error                                     // after each answer, and when an item is first seen; when it fails the answer is not taken
	Study   bool                                                                // real cases: nobody knows a truth, and a section may be unreadable
	Key     *practice.Key                                                       // nil: nobody here knows the truth
	Test    bool                                                                // nothing is told before the end
	Rules   practice.Rules                                                      // of the marks
}

// sitting is a practice in hand. It may be used by several goroutines.
type sitting struct {
	Practice
	now func() time.Time

	mu      sync.Mutex
	shown   string // the item whose picture was made last
	picture report.Picture
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
	s.Session.Resume()
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
	Reader   string     `json:"reader"`
	Study    bool       `json:"study"`
	Test     bool       `json:"test"`
	Known    bool       `json:"known"` // the truth is known here
	Total    int        `json:"total"`
	Answered int        `json:"answered"`
	Caution  string     `json:"caution"`
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
	Axis      string    `json:"axis"` // what the axis is; "": it is not asked for
	Way       string    `json:"way"`  // in which the second ruler counts
	Unit      string    `json:"unit"`
	Sides     [4]string `json:"sides"` // left, right, top, bottom of the picture
	Body      []point   `json:"body"`  // corners of an implant that is asked about; empty: none
	Quantiles []float64 `json:"quantiles"`
}

// markView is one mark in words; points lie on the sheet, mm.
type markView struct {
	Item    string    `json:"item"`
	Ask     string    `json:"ask"`
	Sides   [4]string `json:"sides"`
	Yours   string    `json:"yours"`
	Truth   string    `json:"truth"`
	Error   string    `json:"error"`
	Verdict string    `json:"verdict"`
	Unsafe  bool      `json:"unsafe"`
	Parts   string    `json:"parts"` // which of it the line is, which the edges
	Notes   []string  `json:"notes"` // where it is unsafe, that first
	Why     string    `json:"why"`
	Line    [2]point  `json:"line"`
	True    [2]point  `json:"true"`
}

// practiceCaution stands on every page of practice.
const practiceCaution = "Synthetic sections, invented anatomy: they teach measuring, not diagnosis."

// studyCaution stands on every page of a sitting of a study.
const studyCaution = "Sections to be read for a study, their cases unnamed. Not a finding, and not a plan for a patient."

// send tells how the sitting stands; of names the item that was answered just now, "" for none.
func (s *sitting) send(w http.ResponseWriter, ctx context.Context, of string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	v := practiceView{Reader: s.Session.Reader, Study: s.Study, Test: s.Test, Known: s.Key != nil, Total: len(s.Session.Items), Answered: len(s.Session.Answers),
		Caution: map[bool]string{false: practiceCaution, true: studyCaution}[s.Study], Marks: []markView{}}
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
	p, err := s.load(ctx, sheet)
	if err != nil {
		return nil, err
	}
	ask, how := sheet.Question.Words(sheet.Jaw)
	v := &itemView{Name: sheet.Item, Number: number, Jaw: sheet.Jaw.String(), Tooth: sheet.Tooth, Ask: ask, How: how, Unit: sheet.Question.Unit(), Sides: sheet.Sides(), Way: sheet.Way(), Body: []point{}, Quantiles: quantilesOf(numbersIn(p.Grey))}
	if sheet.Question.OnAxis() {
		v.Axis = practice.AxisWords
	}
	if b := sheet.Body; b != nil {
		half := b.Diameter / 2
		for _, p := range []reformat.UV{{U: b.Top.U - half, V: b.Top.V}, {U: b.Top.U + half, V: b.Top.V}, {U: b.Top.U + half, V: b.Top.V - b.Length}, {U: b.Top.U - half, V: b.Top.V - b.Length}} {
			v.Body = append(v.Body, onSheet(p))
		}
	}
	return v, nil
}

// onSheet is a place on a sheet as the page has it.
func onSheet(p reformat.UV) point { return point{p.U, p.V, 0} }

// numbersIn returns the grey values that lie within the field.
func numbersIn(grey []float32) (out []float64) {
	for _, g := range grey {
		if g == g {
			out = append(out, float64(g))
		}
	}
	return out
}

// load returns the picture of an item, which stays until another is asked for. It is called with the lock held.
func (s *sitting) load(ctx context.Context, sheet practice.Sheet) (report.Picture, error) {
	if s.shown == sheet.Item {
		return s.picture, nil
	}
	p, err := s.Picture(ctx, sheet)
	if err == nil {
		s.shown, s.picture = sheet.Item, p
	}
	return p, err
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

// sheet answers with the section of an item as its sheet shows it: the patient's head up. The time of the item in hand begins
// when it is seen for the first time, which is kept first.
func (s *sitting) sheet(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	s.mu.Lock()
	defer s.mu.Unlock()
	sheet, ok := s.find(q.Get("item"))
	if !ok {
		return fmt.Errorf("%w: no such section", ErrPicture)
	}
	p, err := s.load(r.Context(), sheet)
	if err != nil {
		return err
	}
	before := *s.Session
	if next := s.Session.Next(); next != nil && next.Sheet.Item == sheet.Item && s.Session.Look(s.now()) {
		if err := s.Keep(s.Session); err != nil {
			*s.Session = before
			return fmt.Errorf("%w: %w", ErrPicture, err)
		}
	}
	grey := p.Grey
	at := volume.Plane{Origin: r3.Vec{X: p.First.U, Y: p.First.V}, StepX: r3.Vec{X: p.Step}, StepY: r3.Vec{Y: -p.Step}, Width: p.Width, Height: p.Height}
	if !sheet.Upright() {
		at.Origin.Y, at.StepY.Y = p.First.V-float64(p.Height-1)*p.Step, p.Step
		grey = slices.Clone(grey)
		flipRows(grey, p.Width)
	}
	b := buffers.Get().(*buffer)
	defer buffers.Put(b)
	b.write(w, r, grey, at)
	return nil
}
