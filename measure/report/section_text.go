package report

import (
	"strings"
)

// frameText writes what stands around and on the picture: sides, ruler, scale, window, caution and, on an
// invented volume, that it is one.
func (v *sectionView) frameText() {
	v.sides()
	v.ruler()
	v.foot()
	left, y := sectionLeft+1.6, v.top+3.6
	if v.result.Synthetic {
		v.namePicture(spot{left, y}, syntheticCaution, start, small)
		y += 3.4
	}
	if v.site.Err != "" {
		v.namePicture(spot{left, y}, "not measured", start, small)
	}
}

// title writes site, tooth, the patient's side and the section's place, none of them cut, and sets where the picture begins.
func (v *sectionView) title() {
	y, wide := 4.2, v.Width-sectionLeft-1
	for i, text := range wrapped(v.site.ID, 4.6, bold, wide) {
		y += min(float64(i), 1) * 4.8
		v.write(label{At: spot{sectionLeft, y}, Text: text, Size: 4.6, Weight: bold, Ink: black})
	}
	y += 0.6
	for _, text := range []string{
		strings.TrimPrefix(placeWords(v.site)+" · "+v.result.Case, " · "),
		"side of the patient: " + sideWord(v.site),
		"section at " + rounded(v.site.Frame.Arc, 1) + " mm of the arch",
	} {
		for _, line := range wrapped(text, small, regular, wide) {
			y += 3.4
			v.write(label{At: spot{sectionLeft, y}, Text: line, Size: small, Ink: soft})
		}
	}
	v.top = y + 5.5
}

// sides names the four directions, in words, outside and beside the picture.
func (v *sectionView) sides() {
	x := (sectionLeft + v.right()) / 2
	up, down := "coronal", "apical"
	if v.flip {
		up, down = down, up
	}
	v.write(label{At: spot{x, v.top - 1.4}, Text: up, Size: small, Anchor: middleOf, Ink: black, Weight: italic})
	v.write(label{At: spot{x, v.bottom() + 3.4}, Text: down, Size: small, Anchor: middleOf, Ink: black, Weight: italic})
	v.write(label{At: spot{sectionLeft, v.top - 1.4}, Text: inner(v.result.Jaw), Size: small, Ink: black, Weight: italic})
	v.write(label{At: spot{v.right(), v.top - 1.4}, Text: "buccal", Size: small, Anchor: end, Ink: black, Weight: italic})
}

// ruler draws mm from the crest along the left edge: of depth along the site's axis, as the numbers in the right margin.
func (v *sectionView) ruler() {
	for mm := -100; mm <= 100; mm++ {
		y, long := v.level(float64(mm)), 1.2
		if y < v.top-1e-9 || y > v.bottom()+1e-9 {
			continue
		}
		if mm%5 == 0 {
			long = 2.4
			v.write(label{At: spot{sectionLeft - 3, y + 0.8}, Text: rounded(float64(mm), 0), Size: tiny, Anchor: end, Ink: soft})
		}
		v.rule(spot{sectionLeft - long, y}, spot{sectionLeft, y}, 0.15, soft)
	}
	if v.leaning() {
		v.write(label{At: spot{0.2, v.top - 4.6}, Text: "depth,", Size: tiny, Ink: soft})
	}
	v.write(label{At: spot{0.2, v.top - 2}, Text: "mm", Size: tiny, Ink: soft})
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
