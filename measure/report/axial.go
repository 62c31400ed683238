package report

import (
	"math"
)

// Axials draws horizontal pictures of one scan, all in the same range of grey values, for somebody who writes a plan: a
// point's x and y stand at the edges, its z in the title.
type Axials struct {
	Synthetic bool // there is no patient, and each picture says so

	window window
}

// NewAxials returns what draws the pictures of a scan; sample are some of them, in any resolution.
func NewAxials(sample []Picture) Axials { return Axials{window: windowOf(sample)} }

const (
	axialSide, axialTop, axialBottom = 12.0, 21.0, 21.0 // room for coordinates and text, mm of paper
	axialRoom                        = 170.0            // most that a picture takes of the paper, mm
	axialScale                       = 2.0              // most that one is enlarged; more makes letters too small for the pixels

	gridInk ink = "#828a92" // told from black and from white: 5.3 : 1 and 3.5 : 1
)

// Drawing returns the picture at the patient's z, mm. Of p, u is the patient's x and v is −y, mm: the patient is seen from
// the feet, face up. It returns an error when the numbers of p do not fit together.
func (a Axials) Drawing(z float64, p Picture) (Drawing, error) {
	if err := p.check("axial"); err != nil {
		return Drawing{}, err
	}
	width, height := float64(p.Width)*p.Step, float64(p.Height)*p.Step
	scale := math.Min(axialScale, paperScale(width, height, axialRoom, axialRoom))
	title := "Axial section at z = " + rounded(z, 1) + " mm"
	s := &sheet{
		Title: title, About: title + ", with a grid in patient coordinates.", Scale: scale, Edge: axialSide,
		Width: axialSide + width*scale + axialSide, Height: axialTop + height*scale + axialBottom,
	}
	frame := [2]spot{{axialSide, axialTop}, {axialSide + width*scale, axialTop + height*scale}}
	s.grey(picture{At: frame[0], Width: width * scale, Height: height * scale, Image: a.window.grey(p, false)})
	x0, y0 := p.First.U-p.Step/2, -p.First.V-p.Step/2
	s.coordinates(x0, x0+width, middleOf, middleOf, func(mm float64, side int, out float64) spot {
		return spot{frame[0].X + (mm-x0)*scale, frame[side].Y + outward(side, out)}
	})
	s.coordinates(y0, y0+height, end, start, func(mm float64, side int, out float64) spot {
		return spot{frame[side].X + outward(side, out), frame[0].Y + (mm-y0)*scale}
	})
	s.sides(frame)
	a.words(s, title)
	return Drawing{"axial", s}, nil
}

// outward returns how far a place that lies out mm beyond a side of the frame (0: upper or left, 1: lower or right) is from
// that side, mm of paper.
func outward(side int, out float64) float64 {
	if side == 0 {
		return -out
	}
	return out
}

// coordinates draws one axis on both sides of the picture: a tick every millimetre, a dotted line across every 5, a line
// and its coordinate every 10. at gives the place of a coordinate beyond a side.
func (s *sheet) coordinates(from, to float64, first, second anchor, at func(mm float64, side int, out float64) spot) {
	for mm := math.Ceil(from); mm <= to; mm++ {
		long := 0.8
		switch {
		case math.Mod(mm, 10) == 0:
			long = 2
			s.rule(at(mm, 0, 0), at(mm, 1, 0), 0.13, gridInk)
		case math.Mod(mm, 5) == 0:
			long = 1.4
			s.line(stroke{Points: []spot{at(mm, 0, 0), at(mm, 1, 0)}, Width: 0.13, Dash: []float64{0.3, 0.9}, Ink: gridInk})
		}
		for side, anchor := range [2]anchor{first, second} {
			s.rule(at(mm, side, 0), at(mm, side, long), 0.15, soft)
			if long < 2 {
				continue
			}
			name := at(mm, side, 3.6)
			name.Y += 0.35 * small // letters stand on their base line
			s.write(label{At: name, Text: rounded(mm, 0), Size: small, Anchor: anchor, Ink: black})
		}
	}
}

// sides writes the letters of the patient's sides on the picture's edges.
func (s *sheet) sides(frame [2]spot) {
	const size, in = 5.0, 2.0
	x, y := (frame[0].X+frame[1].X)/2+3*in, (frame[0].Y+frame[1].Y)/2-in // beside the lines of round coordinates
	s.namePicture(spot{frame[0].X + in, y}, "R", start, size)
	s.namePicture(spot{frame[1].X - in, y}, "L", end, size)
	s.namePicture(spot{x, frame[0].Y + in + 0.7*size}, "A", middleOf, size)
	s.namePicture(spot{x, frame[1].Y - in}, "P", middleOf, size)
}

// words writes what stands above and below the picture.
func (a Axials) words(s *sheet, title string) {
	below := s.Height - axialBottom + 9.5
	s.write(label{At: spot{axialSide, 5.5}, Text: title, Size: 4, Weight: bold, Ink: black})
	s.write(label{At: spot{axialSide, 10}, Text: "x to the patient's left, y to the back, z to the head: patient coordinates, mm, as in a plan.", Size: small, Ink: soft})
	s.write(label{At: spot{axialSide, 14}, Text: "patient right", Size: small, Weight: italic, Ink: black})
	s.write(label{At: spot{s.Width - axialSide, 14}, Text: "patient left", Size: small, Weight: italic, Anchor: end, Ink: black})
	s.write(label{At: spot{axialSide, below}, Text: "R right, L left, A front, P back, of the patient. Lines every 10 mm, dotted every 5 mm.", Size: tiny, Ink: soft})
	s.write(label{At: spot{axialSide, below + 3.5}, Text: "For review by a licensed clinician. Not a diagnosis. Scale " + plain(s.Scale) + " : 1, " + a.window.String() + ".", Size: tiny, Ink: soft})
	if a.Synthetic {
		s.write(label{At: spot{axialSide, below + 7}, Text: syntheticCaution, Size: tiny, Weight: bold, Ink: black})
	}
}
