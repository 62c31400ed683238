package report

import (
	"math"
	"strings"

	"ridgerule/measure/reformat"
)

// frameText writes what stands around and on the picture: title, sides, ruler, scale, window,
// caution and, on an invented volume, that it is one.
func (v *sectionView) frameText() {
	v.title()
	v.sides()
	v.ruler()
	v.foot()
	left, y := sectionLeft+1.6, sectionTop+3.6
	if v.result.Synthetic {
		v.namePicture(spot{left, y}, syntheticCaution, start, small)
		y += 3.4
	}
	if v.site.Err != "" {
		v.namePicture(spot{left, y}, "not measured", start, small)
	}
}

func (v *sectionView) title() {
	v.write(label{At: spot{sectionLeft, 4.2}, Text: v.site.ID, Size: 4.6, Weight: bold, Ink: black})
	v.write(label{At: spot{sectionLeft, 8}, Text: strings.TrimPrefix(placeWords(v.site)+" · "+v.result.Case, " · "), Size: small, Ink: soft})
	v.write(label{At: spot{v.Width - 1, 4.2}, Text: "section at " + rounded(v.site.Frame.Arc, 1) + " mm of the arch", Size: small, Anchor: end, Ink: soft})
}

// sides names the four directions, in words, outside and beside the picture.
func (v *sectionView) sides() {
	x := (sectionLeft + v.right()) / 2
	up, down := "coronal", "apical"
	if v.flip {
		up, down = down, up
	}
	v.write(label{At: spot{x, sectionTop - 1.4}, Text: up, Size: small, Anchor: middleOf, Ink: black, Weight: italic})
	v.write(label{At: spot{x, v.bottom() + 3.4}, Text: down, Size: small, Anchor: middleOf, Ink: black, Weight: italic})
	v.write(label{At: spot{sectionLeft, sectionTop - 1.4}, Text: inner(v.result.Jaw), Size: small, Ink: black, Weight: italic})
	v.write(label{At: spot{v.right(), sectionTop - 1.4}, Text: "buccal", Size: small, Anchor: end, Ink: black, Weight: italic})
}

// ruler draws mm from the level of the crest, along the left edge.
func (v *sectionView) ruler() {
	zero := v.site.Crest.V
	if v.site.Err != "" || math.IsNaN(zero) || zero < v.box[0].V || zero > v.box[1].V {
		zero = 0
	}
	for mm := -100; mm <= 100; mm++ {
		p := reformat.UV{U: v.box[0].U, V: zero - float64(mm)}
		if p.V < v.box[0].V || p.V > v.box[1].V {
			continue
		}
		y, long := v.spot(p).Y, 1.2
		if mm%5 == 0 {
			long = 2.4
			v.write(label{At: spot{sectionLeft - 3, y + 0.8}, Text: rounded(float64(mm), 0), Size: tiny, Anchor: end, Ink: soft})
		}
		v.rule(spot{sectionLeft - long, y}, spot{sectionLeft, y}, 0.15, soft)
	}
	v.write(label{At: spot{0.2, sectionTop - 1.4}, Text: "mm", Size: tiny, Ink: soft})
}

// foot draws the scale bar and says scale, window and caution.
func (v *sectionView) foot() {
	y := v.bottom() + 5.2 // below the name of the direction
	v.scaleBar(spot{sectionLeft, y}, 10)
	v.write(label{At: spot{v.Width - 1, y + 0.6}, Text: "scale " + plain(v.Scale) + " : 1", Size: tiny, Anchor: end, Ink: soft})
	if v.picture != nil {
		v.write(label{At: spot{v.Width - 1, y + 4.2}, Text: v.window.String(), Size: tiny, Anchor: end, Ink: soft})
	}
	v.write(label{At: spot{sectionLeft, y + 7.8}, Text: "For review by a licensed clinician. Not a diagnosis.", Size: tiny, Ink: soft})
	v.write(label{At: spot{v.Width - 1, y + 7.8}, Text: "± is U, k = 2", Size: tiny, Anchor: end, Ink: soft})
}

// scaleBar draws a bar of length mm in the patient, half filled so that it shows on any paper.
func (s *sheet) scaleBar(at spot, length float64) {
	w := length * s.Scale
	s.line(stroke{Points: box(at, w, 1), Closed: true, Width: 0.15, Ink: black, Fill: paper})
	s.line(stroke{Points: box(at, w/2, 1), Closed: true, Width: 0.15, Ink: black, Fill: black})
	s.write(label{At: spot{at.X, at.Y + 3.6}, Text: "0", Size: tiny, Ink: soft})
	s.write(label{At: spot{at.X + w, at.Y + 3.6}, Text: plain(length) + " mm", Size: tiny, Anchor: middleOf, Ink: soft})
}
