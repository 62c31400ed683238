package report

import "image"

// spot is a place on the paper, mm from the sheet's upper left corner; Y grows downward.
type spot struct{ X, Y float64 }

// sheet is one drawing: marks in mm of paper, drawn in order, by whichever pen.
type sheet struct {
	Title, About  string  // what it shows, for those who cannot see it
	Width, Height float64 // mm of paper
	Scale         float64 // mm of paper for one mm in the patient; 0: not to scale
	Edge          float64 // room on the right of what stands at the right edge, mm of paper
	marks         []func(pen)
}

// pen puts marks on one medium.
type pen interface {
	grey(picture)
	line(stroke)
	write(label)
}

// picture is an image on the paper.
type picture struct {
	At            spot // upper left corner
	Width, Height float64
	Image         *image.Gray
}

// ink is a grey or colour that holds up in black and white: every one is told from its neighbours
// by lightness and by line style.
type ink string

const (
	none   ink = ""
	black  ink = "#17212b"
	soft   ink = "#4a5560" // 7.6 : 1 on paper
	hair   ink = "#b9c0c7"
	paper  ink = "#ffffff"
	petrol ink = "#0b4f6c"
)

// stroke is a line or an area.
type stroke struct {
	Points []spot
	Closed bool
	Width  float64   // mm
	Dash   []float64 // on, off, on … mm; nil: solid
	Ink    ink
	Fill   ink     // none: an open line
	Casing float64 // mm of dark edge on each side, so that a light line shows on any grey
}

// weight is the cut of a letter.
type weight int

const (
	regular weight = iota
	bold
	italic
)

// anchor says which part of a label stands at its spot.
type anchor int

const (
	start anchor = iota
	middleOf
	end
)

// label is text on its base line.
type label struct {
	At     spot
	Text   string
	Size   float64 // of the letters, mm
	Weight weight
	Anchor anchor
	Ink    ink
	Halo   bool // a dark edge, for light letters on a picture
}

func (s *sheet) grey(p picture) { s.marks = append(s.marks, func(to pen) { to.grey(p) }) }
func (s *sheet) line(l stroke)  { s.marks = append(s.marks, func(to pen) { to.line(l) }) }
func (s *sheet) write(t label)  { s.marks = append(s.marks, func(to pen) { to.write(t) }) }

func (s *sheet) draw(to pen) {
	for _, m := range s.marks {
		m(to)
	}
}

// onPicture draws a light line with a dark edge, seen on any grey.
func (s *sheet) onPicture(points []spot, closed bool, width float64, dash ...float64) {
	s.line(stroke{Points: points, Closed: closed, Width: width, Dash: dash, Ink: paper, Casing: 0.22})
}

// namePicture writes light letters with a dark edge.
func (s *sheet) namePicture(at spot, text string, a anchor, size float64) {
	s.write(label{At: at, Text: text, Size: size, Anchor: a, Ink: paper, Halo: true, Weight: bold})
}

// rule draws a thin line on paper.
func (s *sheet) rule(a, b spot, width float64, colour ink) {
	s.line(stroke{Points: []spot{a, b}, Width: width, Ink: colour})
}

// disc returns the points of a circle.
func disc(at spot, radius float64) []spot {
	return ring(at, radius, radius)
}
