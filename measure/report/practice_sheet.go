package report

import (
	"image/png"
	"io"
	"math"
	"strconv"

	"ridgerule/measure/practice"
	"ridgerule/measure/reformat"
)

// PracticeItem is one item of a worksheet: what is asked, and the picture that it is asked of.
type PracticeItem struct {
	Sheet   practice.Sheet
	Picture Picture // its frame begins at the sheet's corner (0, 0); mm
}

// KeepPicture writes a picture with its place and full depth of grey values; [ReadPicture] reads it. It is not compressed: the
// file's size follows from the picture's, and tells nothing of what it shows.
func KeepPicture(w io.Writer, p Picture) error { return p.AsKept().encode(w, &loose) }

var loose = png.Encoder{CompressionLevel: png.NoCompression}

// Room of a practice section's rulers and words around its picture, mm of paper.
const (
	practiceSide = 9.0
	practiceTop  = 9.0
)

// practiceView is a bare section on its way to the paper: rulers on all sides, no outline, no axis, no measure.
type practiceView struct {
	*sheet
	item practice.Sheet
	flip bool // v grows downward on the paper: the crest points to the feet
}

// practiceSheet draws a section with rulers that count from the sheet's corner. lines may be nil.
func practiceSheet(s practice.Sheet, p Picture, w window, scale float64, lines func(*practiceView)) (*sheet, error) {
	if err := p.check("of item " + s.Item); err != nil {
		return nil, err
	}
	v := &practiceView{item: s, flip: !s.Upright()}
	v.sheet = &sheet{Title: "Item " + s.Item, About: "A section of a jaw with millimetre rulers.", Scale: scale,
		Width: s.Width*scale + 2*practiceSide, Height: s.Height*scale + 2*practiceTop}
	half := p.Step / 2
	a, b := v.spot(reformat.UV{U: p.First.U - half, V: p.First.V + half}), v.spot(reformat.UV{U: p.last().U + half, V: p.last().V - half})
	v.grey(picture{At: spot{a.X, math.Min(a.Y, b.Y)}, Width: b.X - a.X, Height: math.Abs(b.Y - a.Y), Image: w.grey(p, v.flip)})
	v.rulers()
	v.directions()
	if s.Body != nil {
		v.body(*s.Body)
	}
	if lines != nil {
		lines(v)
	}
	return v.sheet, nil
}

// spot returns where sheet point p lies on the paper.
func (v *practiceView) spot(p reformat.UV) spot {
	y := v.item.Height - p.V
	if v.flip {
		y = p.V
	}
	return spot{practiceSide + p.U*v.Scale, practiceTop + y*v.Scale}
}

// rulers draws a tick every millimetre on all sides, longer every five, with numbers on the left and below.
func (v *practiceView) rulers() {
	right, bottom := practiceSide+v.item.Width*v.Scale, practiceTop+v.item.Height*v.Scale
	long := func(mm int) float64 {
		if mm%5 == 0 {
			return 2
		}
		return 1
	}
	for mm := range int(v.item.Width) + 1 {
		x := v.spot(reformat.UV{U: float64(mm)}).X
		v.rule(spot{x, practiceTop - long(mm)}, spot{x, practiceTop}, 0.15, soft)
		v.rule(spot{x, bottom}, spot{x, bottom + long(mm)}, 0.15, soft)
		if mm%5 == 0 {
			v.write(label{At: spot{x, bottom + 4.4}, Text: strconv.Itoa(mm), Size: tiny, Anchor: middleOf, Ink: soft})
		}
	}
	for mm := range int(v.item.Height) + 1 {
		y := v.spot(reformat.UV{V: float64(mm)}).Y
		v.rule(spot{practiceSide - long(mm), y}, spot{practiceSide, y}, 0.15, soft)
		v.rule(spot{right, y}, spot{right + long(mm), y}, 0.15, soft)
		if mm%5 == 0 {
			v.write(label{At: spot{practiceSide - 2.6, y + 0.8}, Text: strconv.Itoa(mm), Size: tiny, Anchor: end, Ink: soft})
		}
	}
}

// directions names the four sides in words.
func (v *practiceView) directions() {
	sides := v.item.Sides()
	right, bottom := practiceSide+v.item.Width*v.Scale, practiceTop+v.item.Height*v.Scale
	middle := (practiceSide + right) / 2
	for _, t := range []label{
		{At: spot{practiceSide, practiceTop - 3.2}, Text: sides[0]},
		{At: spot{middle, practiceTop - 3.2}, Text: sides[2], Anchor: middleOf},
		{At: spot{right, practiceTop - 3.2}, Text: sides[1], Anchor: end},
		{At: spot{middle, bottom + 8}, Text: sides[3], Anchor: middleOf},
		{At: spot{right, bottom + 8}, Text: "across, mm", Anchor: end},
		{At: spot{0.3, bottom + 8}, Text: v.item.Way() + ", mm"},
	} {
		t.Size, t.Weight, t.Ink = tiny, italic, black
		v.write(t)
	}
}

// body draws an implant's outline.
func (v *practiceView) body(b practice.Body) {
	corner := func(du, dv float64) spot { return v.spot(reformat.UV{U: b.Top.U + du, V: b.Top.V + dv}) }
	half := b.Diameter / 2
	points := []spot{corner(-half, 0), corner(half, 0), corner(half, -b.Length), corner(-half, -b.Length)}
	v.onPicture(points, true, 0.35)
}

// practiceWindow is one range of grey values for all pictures of a set.
func practiceWindow(items []PracticeItem) window {
	all := make([]Picture, len(items))
	for i, it := range items {
		all[i] = it.Picture
	}
	return windowOf(all)
}
