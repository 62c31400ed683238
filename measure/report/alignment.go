package report

import (
	"bytes"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"sync"

	_ "embed"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
	"ridgerule/measure/reformat"
)

//go:embed alignment.tmpl
var alignmentText string

//go:embed alignment.css
var alignmentStyle string

var alignmentPages = sync.OnceValue(func() *template.Template {
	return template.Must(template.Must(template.New("alignment").Parse(practiceText)).Parse(alignmentText))
})

type placeView struct{ Name, X, Y, Z, All string }

type boardView struct {
	Drawing template.HTML
	Words   string
}

type alignmentView struct {
	practicePage
	Heading, Answer, Closing   string
	Digest                     string // of the alignment: [AcceptedPage] knows its page by it
	Look                       string // how the boards are looked at
	Cautions                   []string
	Places                     []placeView
	Landmarks, Facts, Subjects []fact
	Boards                     []boardView
}

// AlignmentPage writes an alignment as one self-contained page to be looked at before it is accepted. at are the places of the
// first frame, mm, at which its uncertainty is told; boards may be none.
func AlignmentPage(w io.Writer, f align.File, at []r3.Vec, boards []align.Board) error {
	head, err := newPracticePage("Alignment", alignmentStyle)
	if err != nil {
		return err
	}
	digest, err := f.Digest()
	if err != nil {
		return err
	}
	v := alignmentView{practicePage: head, Digest: digest, Heading: alignmentHeading(f), Answer: acceptance(f, "the places below"), Cautions: f.Cautions, Look: lookWords(f),
		Closing: shortCaution + " How alignments are made, and when not to trust one: docs/alignment.md."}
	for i, p := range at {
		v.Places = append(v.Places, alignedPlace(i, p, f.Transform))
	}
	for _, l := range f.Landmarks {
		v.Landmarks = append(v.Landmarks, fact{l.Name, fmt.Sprintf("%.2f mm", l.Apart)})
	}
	for _, x := range f.Fit {
		v.Facts = append(v.Facts, fact(x))
	}
	v.Facts = append(v.Facts, fact{"turned by", fmt.Sprintf("%.2f°", f.Transform.Angle())})
	v.Subjects = append(subjectFacts("First", f.First), subjectFacts("Second", f.Second)...)
	for _, b := range boards {
		one, err := viewOfBoard(b)
		if err != nil {
			return err
		}
		v.Boards = append(v.Boards, one)
	}
	return alignmentPages().ExecuteTemplate(w, "alignment", v)
}

// AcceptedPage returns the page of an alignment with f's acceptance in the place of what it said about that; ok is false where
// page is no page of this alignment.
func AcceptedPage(page []byte, f align.File) (out []byte, ok bool) {
	digest, err := f.Digest()
	if err != nil {
		return nil, false
	}
	_, rest, ok := bytes.Cut(page, []byte(`data-alignment="`+digest+`">`))
	if !ok {
		return nil, false
	}
	_, after, ok := bytes.Cut(rest, []byte("</p>"))
	if !ok {
		return nil, false
	}
	opening := page[:len(page)-len(rest)]
	return slices.Concat(opening, []byte(template.HTMLEscapeString(acceptance(f, "the places below"))), []byte("</p>"), after), true
}

func alignmentHeading(f align.File) string {
	return map[string]string{align.KindScans: "Two scans in one frame", align.KindSurface: "A surface and a scan in one frame", align.KindPoints: "Two sets of points in one frame"}[f.Kind]
}

// lookWords say what must be seen on the boards.
func lookWords(f align.File) string {
	if f.Kind == align.KindSurface {
		return "The scan, and the surface as a line. On teeth that stand in both, the line must lie on the edge of the enamel all round; planned teeth have none. Where it lies off at several places, do not accept."
	}
	return "Squares of 4 mm, in turn of the first and of the second. Edges of bone and teeth must run on from square to square; where they jump at several places, do not accept."
}

// acceptance says whether an alignment counts, and of one that does not, what to look at.
func acceptance(f align.File, look string) string {
	if a := f.Accepted; a != nil {
		return fmt.Sprintf("Accepted by %s on %s.", a.By, a.At.Format("2006-01-02"))
	}
	return "Not accepted: whatever uses this alignment is at best uncertain. Look at " + look + "; if all is well, accept it with ridgerule align --accept FILE --by NAME."
}

func alignedPlace(i int, p r3.Vec, t align.Transform) placeView {
	q := t.Apply(p)
	say := func(mm float64) string {
		if math.IsNaN(mm) {
			return "not known"
		}
		return fmt.Sprintf("%.3f mm", mm)
	}
	return placeView{fmt.Sprintf("%d: %s", i+1, spotWords(p)), say(t.Std(q, r3.Vec{X: 1})), say(t.Std(q, r3.Vec{Y: 1})), say(t.Std(q, r3.Vec{Z: 1})), say(t.Std3(q))}
}

// spotWords writes a place in whole mm.
func spotWords(p r3.Vec) string {
	return "(" + rounded(p.X, 0) + ", " + rounded(p.Y, 0) + ", " + rounded(p.Z, 0) + ")"
}

func subjectFacts(name string, s align.Subject) []fact {
	if s.File != "" {
		return []fact{{name, s.File}}
	}
	return []fact{{name + " series", short(s.Series)}, {name + " voxels", fmt.Sprintf("%.3g × %.3g × %.3g mm", s.Voxel[0], s.Voxel[1], s.Voxel[2])}}
}

const (
	boardSquare = 4.0 // mm
	boardScale  = 1.9 // two beside each other on a page
)

// viewOfBoard draws a checkerboard: the two scans, each in its own range of greys, in turn.
func viewOfBoard(b align.Board) (boardView, error) {
	first := Picture{Step: b.Step, Width: b.Side, Height: b.Side, Grey: b.First}
	second := first
	second.Grey = b.Second
	one, other := windowOf([]Picture{first}).grey(first, false), windowOf([]Picture{second}).grey(second, false)
	for y := range b.Side {
		for x := range b.Side {
			if (int(float64(x)*b.Step/boardSquare)+int(float64(y)*b.Step/boardSquare))%2 == 1 {
				one.Pix[y*one.Stride+x] = other.Pix[y*other.Stride+x]
			}
		}
	}
	edge := float64(b.Side) * b.Step
	s := &sheet{Title: fmt.Sprintf("Place %d, %s", b.Place, b.Plane), About: "Squares of both scans in turn.", Scale: boardScale, Width: edge * boardScale, Height: edge * boardScale}
	s.grey(picture{Width: s.Width, Height: s.Height, Image: one})
	drawSurface(s, b)
	text, err := s.SVG()
	down := "down: to the back"
	if b.Plane == "coronal" {
		down = "down: to the feet"
	}
	of := "first"
	if b.Surface != nil {
		of = "scan"
	}
	return boardView{template.HTML(text), fmt.Sprintf("Place %d at %s mm of the %s, %s. Right: to the patient's left; %s. %.0f mm across.", b.Place, spotWords(b.At), of, b.Plane, down, edge)}, err
}

// drawSurface draws where the surface cuts the board; nothing where two scans are aligned.
func drawSurface(s *sheet, b align.Board) {
	if b.Surface == nil {
		return
	}
	s.About = "The scan, and the surface as a line."
	f := reformat.Frame{Origin: b.At, U: b.X, V: r3.Scale(-1, b.Y), T: r3.Cross(b.X, b.Y)}
	half := float64(b.Side) * b.Step / 2
	for _, line := range f.Cut(b.Surface.Points, b.Surface.Triangles) {
		var points []spot
		for _, p := range line {
			points = append(points, spot{(p.U + half) * s.Scale, (half - p.V) * s.Scale})
		}
		for _, piece := range clip(points, spot{}, spot{s.Width, s.Height}) {
			s.onPicture(piece, false, 0.3)
		}
	}
}
