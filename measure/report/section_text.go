package report

import (
	"strings"
)

// frameText writes what stands around and on the picture: sides, ruler and, on an invented volume, that it is one.
func (v *sectionView) frameText() {
	v.sides()
	v.ruler()
	said := markOf(v.result)
	if v.site.Err != "" {
		said += " not measured"
	}
	for i, line := range wrapped(said, small, bold, v.right()-sectionLeft-3.2) {
		v.namePicture(spot{sectionLeft + 1.6, v.top + 3.6 + 3.4*float64(i)}, line, start, small)
	}
}

// title writes site, tooth, the patient's side and the section's place, none of them cut, and sets where the picture begins.
func (v *sectionView) title() {
	y, wide := 4.2, v.Width-sectionLeft-1
	under := []string{
		strings.TrimPrefix(v.said.Place+" · "+v.result.Case, " · "),
		"side of the patient: " + v.said.Side,
		"section at " + rounded(v.site.Frame.Arc, 1) + " mm of the arch",
	}
	if v.brief {
		under = under[2:]
	}
	for i, text := range wrapped(v.site.ID, 4.6, bold, wide) {
		y += min(float64(i), 1) * 4.8
		v.write(label{At: spot{sectionLeft, y}, Text: text, Size: 4.6, Weight: bold, Ink: black})
	}
	y += 0.6
	for _, text := range under {
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

// foot draws the scale bar at y, says scale, window and caution, and returns where the legend may begin.
func (v *sectionView) foot(y float64) float64 {
	v.scaleBar(spot{sectionLeft, y}, 10)
	v.write(label{At: spot{v.Width - 1, y + 0.6}, Text: "scale " + plain(v.Scale) + " : 1, ± is U (k = 2)", Size: tiny, Anchor: end, Ink: soft})
	if v.picture != nil {
		v.write(label{At: spot{v.Width - 1, y + 4.2}, Text: v.window.String(), Size: tiny, Anchor: end, Ink: soft})
	}
	v.write(label{At: spot{sectionLeft, y + 7.8}, Text: "For review by a licensed clinician. Not a diagnosis.", Size: tiny, Ink: soft})
	return y + 12
}

// scaleBar draws a bar of length mm in the patient, half filled so that it shows on any paper.
func (s *sheet) scaleBar(at spot, length float64) {
	w := length * s.Scale
	s.line(stroke{Points: box(at, w, 1), Closed: true, Width: 0.15, Ink: black, Fill: paper})
	s.line(stroke{Points: box(at, w/2, 1), Closed: true, Width: 0.15, Ink: black, Fill: black})
	s.write(label{At: spot{at.X, at.Y + 3.6}, Text: "0", Size: tiny, Ink: soft})
	s.write(label{At: spot{at.X + w, at.Y + 3.6}, Text: plain(length) + " mm", Size: tiny, Anchor: middleOf, Ink: soft})
}
