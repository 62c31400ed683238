package desk

import (
	"bytes"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/temporary"
	"ridgerule/dicomio/volume"
	"ridgerule/measure/align"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/solid"
)

// The alignment of the planned teeth: looked at on the scan at six places, and accepted by name. Accepting writes what
// ridgerule align --accept writes; the plan's text is not changed.

// alignmentView is what the page is told of it.
type alignmentView struct {
	File      string         `json:"file"` // as the plan names it; "": the plan has no planned teeth that can be read
	Tag       string         `json:"tag"`  // stands for the file's bytes
	By        string         `json:"by"`   // who accepted it; "": nobody
	At        string         `json:"at"`
	Fit       []align.Fact   `json:"fit"`
	Cautions  []string       `json:"cautions"`
	Landmarks []markedApart  `json:"landmarks"`
	Places    []placeDoubt   `json:"places"`
	Boards    []boardOutline `json:"boards"`
	Why       string         `json:"why"` // it cannot be accepted here; "": it can
}

type markedApart struct {
	Name  string  `json:"name"`
	Apart float64 `json:"apart_mm"`
}

type placeDoubt struct {
	At point    `json:"at_mm"`
	U  *float64 `json:"u_mm"` // standard, in space; null: not known
}

// boardOutline is a plane through the scan, with the lines along which it cuts the planned teeth, patient mm.
type boardOutline struct {
	Place int       `json:"place"`
	Plane string    `json:"plane"`
	Lines [][]point `json:"lines"`
}

// boards keeps what was sampled for a state of the plan.
type boards struct {
	mu   sync.Mutex
	tag  string
	at   []r3.Vec // patient, mm
	list []align.Board
}

// of returns the boards of a draft's planned teeth, sampled once.
func (b *boards) of(d *draft, v *volume.Volume) ([]r3.Vec, []align.Board, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.tag == d.tag {
		return b.at, b.list, nil
	}
	var points []r3.Vec
	var triangles [][3]int
	for _, s := range d.plan.Restoration.Surfaces {
		first := len(points)
		points = append(points, s.Sheet.Points...)
		for _, t := range s.Sheet.Triangles {
			triangles = append(triangles, [3]int{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	sheet, err := solid.NewSheet(points, triangles)
	if err != nil {
		return nil, nil, fmt.Errorf("%w: %w", ErrPicture, err)
	}
	b.at, b.list = align.SurfaceBoards(v, sheet, align.Identity("patient")) // the plan has them where the alignment puts them
	b.tag = d.tag
	return b.at, b.list, nil
}

// planned returns the planned teeth of a draft; nil where it has none that can be read whole.
func planned(d *draft) *plan.Restoration {
	if d.plan == nil || d.plan.Restoration == nil {
		return nil
	}
	r := d.plan.Restoration
	if r.Align.Kind == "" || len(r.Surfaces) == 0 {
		return nil
	}
	for _, s := range r.Surfaces {
		if s.Sheet == nil {
			return nil
		}
	}
	return r
}

// alignment answers with the alignment of the planned teeth.
func (d *Desk) alignment(w http.ResponseWriter, _ *http.Request) error {
	now, _ := d.session.current()
	out := alignmentView{Fit: []align.Fact{}, Cautions: []string{}, Landmarks: []markedApart{}, Places: []placeDoubt{}, Boards: []boardOutline{}}
	r := planned(now)
	if r == nil {
		return send(w, out)
	}
	data, err := os.ReadFile(d.session.alignmentPath(r))
	if err != nil {
		return fmt.Errorf("%w: %w", ErrAct, err)
	}
	f := r.Align
	out.File, out.Tag, out.Why = r.File, hashOf(data), d.session.whyNot(f)
	out.Fit, out.Cautions = append(out.Fit, f.Fit...), append(out.Cautions, f.Cautions...)
	if f.Accepted != nil {
		out.By, out.At = f.Accepted.By, f.Accepted.At.Format("2006-01-02")
	}
	for _, l := range f.Landmarks {
		out.Landmarks = append(out.Landmarks, markedApart{l.Name, l.Apart})
	}
	at, list, err := d.session.boards.of(now, d.session.scan.Volume)
	if err != nil {
		return err
	}
	for _, p := range at {
		one := placeDoubt{At: pointOf(p)}
		if u := f.Transform.Std3(p); !math.IsNaN(u) {
			one.U = &u
		}
		out.Places = append(out.Places, one)
	}
	for _, b := range list {
		out.Boards = append(out.Boards, boardOutline{b.Place, b.Plane, cuts(b)})
	}
	return send(w, out)
}

// cuts returns the lines along which a board cuts its surface, as far as they lie on it.
func cuts(b align.Board) [][]point {
	f := reformat.Frame{Origin: b.At, U: b.X, V: r3.Scale(-1, b.Y), T: r3.Cross(b.X, b.Y)}
	half := float64(b.Side) * b.Step / 2
	out := [][]point{}
	for _, line := range f.Cut(b.Surface.Points, b.Surface.Triangles) {
		var run []point
		for _, p := range append(line, reformat.UV{U: math.Inf(1)}) {
			if math.Abs(p.U) <= half && math.Abs(p.V) <= half {
				run = append(run, pointOf(f.Patient(p)))
				continue
			}
			if len(run) > 1 {
				out = append(out, run)
			}
			run = nil
		}
	}
	return out
}

// board answers with the scan on one of the boards.
func (d *Desk) board(w http.ResponseWriter, r *http.Request) error {
	now, _ := d.session.current()
	if planned(now) == nil {
		return fmt.Errorf("%w: the plan has no planned teeth", ErrPicture)
	}
	_, list, err := d.session.boards.of(now, d.session.scan.Volume)
	if err != nil {
		return err
	}
	n := int(number(r.URL.Query(), "n", 0, float64(len(list)), 0))
	if n >= len(list) {
		return fmt.Errorf("%w: there are %d boards", ErrPicture, len(list))
	}
	b := list[n]
	half := float64(b.Side-1) / 2 * b.Step
	p := volume.Plane{Origin: r3.Sub(b.At, r3.Scale(half, r3.Add(b.X, b.Y))), StepX: r3.Scale(b.Step, b.X), StepY: r3.Scale(b.Step, b.Y), Width: b.Side, Height: b.Side}
	to := buffers.Get().(*buffer)
	defer buffers.Put(to)
	to.write(w, r, b.First, p)
	return nil
}

// alignmentPath is where the alignment that the plan names lies.
func (s *session) alignmentPath(r *plan.Restoration) string {
	return filepath.Join(filepath.Dir(s.path), filepath.FromSlash(r.File))
}

// whyNot says why an alignment cannot be accepted here; "": it can.
func (s *session) whyNot(f align.File) string {
	if s.readOnly != "" {
		return "the plan is " + s.readOnly
	}
	if f.Second.Series != "" && s.scan.Facts.SeriesHash != "" && f.Second.Series != s.scan.Facts.SeriesHash {
		return "it was made with another scan than the one that is open: align the planned teeth with this one"
	}
	return ""
}

// acceptAlignment accepts the alignment as it was shown, by name.
func (d *Desk) acceptAlignment(w http.ResponseWriter, r *http.Request) error {
	asked, err := body[struct {
		By  string `json:"by"`
		Tag string `json:"tag"`
	}](r)
	if err != nil {
		return err
	}
	if err := d.session.accept(asked.By, asked.Tag); err != nil {
		return err
	}
	return d.alignment(w, r)
}

// accept writes the alignment's file again, accepted, where it still is what was shown.
func (s *session) accept(by, tag string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	r := planned(s.draft)
	if r == nil {
		return fmt.Errorf("%w: the plan has no planned teeth", ErrAct)
	}
	path := s.alignmentPath(r)
	data, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("%w: %w", ErrAct, err)
	}
	if hashOf(data) != tag {
		return fmt.Errorf("%w: %s was changed since it was shown: look at it again", ErrAct, r.File)
	}
	f, err := align.ReadFile(bytes.NewReader(data))
	if err != nil {
		return fmt.Errorf("%w: %s: %w", ErrAct, r.File, err)
	}
	if why := s.whyNot(f); why != "" {
		return fmt.Errorf("%w: %s", ErrAct, why)
	}
	if f, err = f.Accept(by, s.now()); err != nil {
		return fmt.Errorf("%w: say who has looked at it", ErrAct)
	}
	var out bytes.Buffer
	if err := f.Write(&out); err != nil {
		return err
	}
	if err := temporary.WriteFile(path, out.Bytes()); err != nil {
		return fmt.Errorf("%w: %s cannot be written: %w", ErrAct, r.File, err)
	}
	s.show(s.draft.text)
	return nil
}
