package report

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// How a section is drawn: to scale, the patient's head up, buccal to the right. Lines are told
// apart by their style, so that they survive a black and white printer:
//
//	outline     solid, thin               axis        long dash, dot
//	width       solid, with end strokes   plate       ring at the inner edge
//	usable      dash and two dots         structure   short dashes, named
//	height end  heavy bar, thin if open   implant     solid, double weight
//	nearest     line between two dots   planned tooth  dots, and the implant's axis through it
const (
	sectionLeft  = 10.0 // room for the ruler, mm of paper
	sectionRight = 33.0 // room for the widths
	small        = 2.7  // letters, mm
	tiny         = 2.25
)

// sectionView is a section on its way to the paper.
type sectionView struct {
	*sheet
	site    *measure.SiteResult
	said    *siteView // of it
	result  *measure.Result
	box     [2]reformat.UV // least and greatest u, v that are shown, mm
	picture *Picture
	window  window
	flip    bool    // v grows downward on the paper: the crest points to the feet
	brief   bool    // tooth, case and side stand beside the sheet
	top     float64 // where the picture begins, mm of paper: under the title's lines
}

// The room of a section's picture, mm of paper: a page's width, or half of one, two sections beside each other.
var (
	wholeWidth = spot{84, 104}
	halfWidth  = spot{43.5, 76}
)

// sectionSheet draws the site's section with what was measured in it; its picture fits into room.
func sectionSheet(r *measure.Result, said *siteView, p *Picture, w window, room spot) *sheet {
	s := said.result
	v := &sectionView{site: s, said: said, result: r, picture: p, window: w, flip: s.Frame.V.Z < 0, brief: room == halfWidth}
	v.box = v.shown()
	width, height := v.box[1].U-v.box[0].U, v.box[1].V-v.box[0].V
	scale := paperScale(width, height, room.X, room.Y)
	v.sheet = &sheet{
		Title: "Section at site " + said.Name, Scale: scale,
		About: v.about(),
		Width: sectionLeft + width*scale + sectionRight,
	}
	v.title()
	v.ground()
	v.structures()
	v.plannedTeeth()
	v.bone()
	v.implant()
	v.frameText()
	below := math.Max(v.bottom()+5.2, v.notes()+1) // under the name of the direction, and under the numbers
	v.Height = v.legend(v.foot(below)) + 1.5
	return v.sheet
}

// paperScale returns the greatest of the usual scales at which width × height mm fit on the paper.
func paperScale(width, height, roomX, roomY float64) float64 {
	for _, s := range []float64{5, 4, 3, 2.5, 2, 1.5, 1.25, 1, 0.75, 0.5, 0.25} {
		if width*s <= roomX && height*s <= roomY {
			return s
		}
	}
	return 0.1
}

// shown returns the part of the section on the sheet: the picture's, else what was measured with
// a border of 4 mm.
func (v *sectionView) shown() [2]reformat.UV {
	if v.picture != nil {
		half := v.picture.Step / 2
		first, last := v.picture.First, v.picture.last()
		return [2]reformat.UV{{U: first.U - half, V: last.V - half}, {U: last.U + half, V: first.V + half}}
	}
	box := [2]reformat.UV{{U: -10, V: -12}, {U: 10, V: 10}}
	for _, p := range v.site.Outline {
		if math.IsNaN(p.U + p.V) {
			continue
		}
		box[0] = reformat.UV{U: math.Min(box[0].U, p.U-4), V: math.Min(box[0].V, p.V-4)}
		box[1] = reformat.UV{U: math.Max(box[1].U, p.U+4), V: math.Max(box[1].V, p.V+4)}
	}
	return box
}

func (v *sectionView) about() string {
	if v.site.Err != "" {
		return "Not measured: " + v.site.Err
	}
	text := fmt.Sprintf("Bone outline with %d widths", len(v.site.Chords))
	if h := v.said.Height; h.Reading != "" {
		text += ", " + h.Name + " in mm " + h.String()
	}
	return text + "; the numbers stand in the table of this site."
}

// spot returns where section point p lies on the paper.
func (v *sectionView) spot(p reformat.UV) spot {
	y := v.box[1].V - p.V
	if v.flip {
		y = p.V - v.box[0].V
	}
	return spot{sectionLeft + (p.U-v.box[0].U)*v.Scale, v.top + y*v.Scale}
}

func (v *sectionView) spots(points []reformat.UV) []spot {
	out := make([]spot, 0, len(points))
	for _, p := range points {
		if !math.IsNaN(p.U + p.V) {
			out = append(out, v.spot(p))
		}
	}
	return out
}

// inside reports whether p lies on the shown part of the section.
func (v *sectionView) inside(p reformat.UV) bool {
	return p.U >= v.box[0].U && p.U <= v.box[1].U && p.V >= v.box[0].V && p.V <= v.box[1].V
}

func (v *sectionView) right() float64  { return v.Width - sectionRight }
func (v *sectionView) bottom() float64 { return v.top + (v.box[1].V-v.box[0].V)*v.Scale }

// onPicture draws a light line with a dark edge, as far as it lies on the picture.
func (v *sectionView) onPicture(points []spot, closed bool, width float64, dash ...float64) {
	if closed && len(points) > 0 {
		points = append(append([]spot{}, points...), points[0])
	}
	for _, piece := range clip(points, spot{sectionLeft, v.top}, spot{v.right(), v.bottom()}) {
		v.sheet.onPicture(piece, false, width, dash...)
	}
}

// ground puts the picture, or a plain field where there is none.
func (v *sectionView) ground() {
	at, w, h := spot{sectionLeft, v.top}, v.right()-sectionLeft, v.bottom()-v.top
	if v.picture != nil {
		v.grey(picture{At: at, Width: w, Height: h, Image: v.window.grey(*v.picture, v.flip)})
		return
	}
	v.line(stroke{Points: box(at, w, h), Closed: true, Fill: soft})
}

// structures draws what the plan marked, where it crosses the section.
func (v *sectionView) structures() {
	for _, s := range v.result.Structures {
		lowest := spot{Y: -1}
		for _, line := range crossing(s, v.site.Frame, v.box) {
			points := v.spots(line)
			v.onPicture(points, false, 0.35, 0.9, 0.7)
			for _, p := range points {
				if p.Y > lowest.Y {
					lowest = p
				}
			}
		}
		if lowest.Y >= 0 {
			v.namePicture(spot{lowest.X, math.Min(lowest.Y+2.8, v.bottom()-1)}, s.Name, middleOf, tiny)
		}
	}
}

// bone draws outline, axis, widths and where the height ends.
func (v *sectionView) bone() {
	s := v.site
	if len(s.Outline) == 0 {
		return
	}
	v.onPicture(v.spots(s.Outline), true, 0.3)
	if !math.IsNaN(s.Crest.U + s.Crest.V + s.Axis.U + s.Axis.V) {
		above, below := along(s.Crest, s.Axis, -3), along(s.Crest, s.Axis, v.reach())
		v.onPicture([]spot{v.spot(above), v.spot(below)}, false, 0.22, 3, 0.8, 0.5, 0.8)
	}
	for _, c := range s.Chords {
		v.chord(c)
	}
	if s.UsableDepth != nil {
		level := along(s.Crest, s.Axis, *s.UsableDepth)
		side := reformat.UV{U: -s.Axis.V, V: s.Axis.U}
		v.onPicture([]spot{v.spot(along(level, side, -7)), v.spot(along(level, side, 7))}, false, 0.25, 1.6, 0.5, 0.4, 0.5, 0.4, 0.5)
	}
	if s.Level != nil {
		v.onPicture([]spot{v.spot(s.Level.Line[0]), v.spot(s.Level.Line[1])}, false, 0.5)
	}
	if s.HeightTo != "" && !math.IsNaN(s.HeightEnd.U+s.HeightEnd.V) {
		across, heavy := reformat.UV{U: -s.Axis.V, V: s.Axis.U}, 0.7
		if v.said.Height.Open {
			heavy = 0.2 // nothing to plan by ends here
		}
		v.onPicture([]spot{v.spot(along(s.HeightEnd, across, -2.2)), v.spot(along(s.HeightEnd, across, 2.2))}, false, heavy)
		v.onPicture([]spot{v.spot(along(s.Crest, across, -1.1)), v.spot(along(s.Crest, across, 1.1))}, false, heavy)
	}
}

// reach returns how far the axis is drawn below the crest, mm: to the height's end, else past the
// deepest width.
func (v *sectionView) reach() float64 {
	s := v.site
	if s.HeightTo != "" && !math.IsNaN(s.HeightEnd.U+s.HeightEnd.V) {
		return math.Hypot(s.HeightEnd.U-s.Crest.U, s.HeightEnd.V-s.Crest.V) + 1.5
	}
	deepest := 6.0
	for _, c := range s.Chords {
		deepest = math.Max(deepest, c.Depth+2)
	}
	return deepest
}

func along(p, direction reformat.UV, d float64) reformat.UV {
	return reformat.UV{U: p.U + d*direction.U, V: p.V + d*direction.V}
}

// chord draws one width with the inner edges of its plates.
func (v *sectionView) chord(c measure.Chord) {
	v.onPicture([]spot{v.spot(c.Lingual), v.spot(c.Buccal)}, false, 0.25)
	tick := func(p reformat.UV, size, width float64) {
		v.onPicture([]spot{v.spot(along(p, v.site.Axis, -size)), v.spot(along(p, v.site.Axis, size))}, false, width)
	}
	tick(c.Lingual, 0.55, 0.3)
	tick(c.Buccal, 0.55, 0.3)
	for _, inner := range []*reformat.UV{c.BuccalInner, c.LingualInner} {
		if inner != nil {
			v.line(stroke{Points: disc(v.spot(*inner), 0.55), Closed: true, Width: 0.2, Ink: black, Fill: paper})
		}
	}
}

// implant draws the virtual implant as it lies in the section, and the line to its nearest
// structure.
func (v *sectionView) implant() {
	b := v.site.Implant
	if b == nil {
		return
	}
	top, _ := v.site.Frame.Section(b.Platform)
	tip, _ := v.site.Frame.Section(r3.Add(b.Platform, r3.Scale(b.Length, b.Axis)))
	d := math.Hypot(tip.U-top.U, tip.V-top.V)
	if d == 0 {
		return
	}
	across := reformat.UV{U: (tip.V - top.V) / d, V: -(tip.U - top.U) / d}
	apex := b.ApexDiameter
	if apex == 0 {
		apex = b.Diameter
	}
	body := []reformat.UV{along(top, across, -b.Diameter/2), along(top, across, b.Diameter/2), along(tip, across, apex/2), along(tip, across, -apex/2)}
	v.onPicture(v.spots(body), true, 0.5)
	for _, f := range v.site.Findings {
		v.nearest(f)
	}
}

// nearest draws the least distance to a structure when both of its points lie near the section.
func (v *sectionView) nearest(f measure.Finding) {
	a, offA := v.site.Frame.Section(f.Near[0])
	b, offB := v.site.Frame.Section(f.Near[1])
	if math.IsNaN(f.Distance.Value) || math.Max(math.Abs(offA), math.Abs(offB)) > 1.5 || !v.inside(a) || !v.inside(b) {
		return
	}
	v.onPicture([]spot{v.spot(a), v.spot(b)}, false, 0.25)
	for _, p := range []reformat.UV{a, b} {
		v.line(stroke{Points: disc(v.spot(p), 0.6), Closed: true, Width: 0.2, Ink: paper, Fill: black})
	}
	mid := between(v.spot(a), v.spot(b), 0.5)
	v.namePicture(spot{mid.X + 2.2, mid.Y + 0.9}, read(f.Distance.Value, f.Distance.U()).String()+" mm", start, small)
}
