package report

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
)

// panoramicRoom is the room of the picture on a page, mm of paper.
var panoramicRoom = spot{158, 90}

// panoramicSheet draws the picture along the arch with the place of each site and the marked
// structures; the picture fits into room. Across runs the arc length; the patient's head is up.
func panoramicSheet(r *measure.Result, p Picture, w window, room spot) *sheet {
	const left, bottom, edge = 8.0, 18.0, 4.0
	width, height := float64(p.Width)*p.Step, float64(p.Height)*p.Step
	scale := paperScale(width, height, room.X, room.Y)
	across := func(arc float64) float64 { return left + (arc-p.First.U+p.Step/2)*scale }
	names, rows := siteNames(r, across, left, left+width*scale)
	top := 6.4 + idRow*float64(rows)
	s := &sheet{
		Title: "Along the arch", About: "Panoramic view along the arch with the place of each site.", Scale: scale,
		Edge: edge, Width: left + width*scale + edge, Height: top + height*scale + bottom,
	}
	flip := r.Occlusal.Z < 0
	s.grey(picture{At: spot{left, top}, Width: width * scale, Height: height * scale, Image: w.grey(p, flip)})
	at := func(arc, v float64) spot {
		y := p.First.V + p.Step/2 - v
		if flip {
			y = v - p.last().V + p.Step/2
		}
		return spot{across(arc), top + y*scale}
	}
	floor := top + height*scale
	s.structuresAlong(r, at)
	s.plannedAlong(r, at, spot{left, top}, spot{across(p.First.U - p.Step/2 + float64(p.Width)*p.Step), floor})
	for _, n := range names {
		s.onPicture([]spot{{n.x, top}, {n.x, floor}}, false, 0.2, 2, 1)
		y := top - 1.6 - idRow*float64(n.row)
		if n.row > 0 {
			s.rule(spot{n.x, y + 0.6}, spot{n.x, top}, 0.12, soft)
		}
		n.label.At.Y = y
		s.write(n.label)
	}
	s.arcRuler(p, scale, left, floor)
	s.ends(r, left, 4.4)
	s.markPicture(r, s.Width-edge-left-3.2, spot{left + 1.6, floor - 1.6})
	s.write(label{At: spot{s.Width - edge, floor + 11}, Text: "scale " + plain(scale) + " : 1, " + w.String(), Size: tiny, Anchor: end, Ink: soft})
	s.write(label{At: spot{left, floor + 11}, Text: "Arc length from the first arch point, mm. Measure in the sections, not here.", Size: tiny, Ink: soft})
	s.write(label{At: spot{left, floor + 14.4}, Text: "For review by a licensed clinician. Not a diagnosis.", Size: tiny, Ink: soft})
	return s
}

// structuresAlong draws the marked paths; at puts arc length and height (mm) on the paper.
func (s *sheet) structuresAlong(r *measure.Result, at func(arc, v float64) spot) {
	for _, structure := range r.Structures {
		for _, line := range alongArch(r, structure.Path) {
			s.onPicture(each(line, func(q spot) spot { return at(q.X, q.Y) }), false, 0.3, 0.9, 0.7)
		}
	}
}

// plannedAlong draws the planned teeth's outlines, cut off at the picture's corners.
func (s *sheet) plannedAlong(r *measure.Result, at func(arc, v float64) spot, low, high spot) {
	for _, tooth := range r.Arch.Planned {
		for _, line := range alongArch(r, tooth.Side) {
			for _, piece := range clip(each(line, func(q spot) spot { return at(q.X, q.Y) }), low, high) {
				s.onPicture(piece, false, 0.3, toothDots...)
			}
		}
	}
}

// markPicture writes on the picture, upward from a place, what it is of, where it is of no patient.
func (s *sheet) markPicture(r *measure.Result, wide float64, from spot) {
	mark := markOf(r)
	if mark == "" {
		return
	}
	lines := wrapped(mark, small, bold, wide)
	for i, line := range lines {
		s.namePicture(spot{from.X, from.Y - 3.4*float64(len(lines)-1-i)}, line, start, small)
	}
}

// ends names the patient's sides at the picture's two ends.
func (s *sheet) ends(r *measure.Result, left, y float64) {
	n := len(r.Arch.Curve)
	if n < 2 || r.Arch.Curve[0].X == r.Arch.Curve[n-1].X {
		return
	}
	first, last := "patient right", "patient left"
	if r.Arch.Curve[0].X > r.Arch.Curve[n-1].X {
		first, last = last, first
	}
	s.write(label{At: spot{left, y}, Text: first, Size: small, Weight: italic, Ink: black})
	s.write(label{At: spot{s.Width - s.Edge, y}, Text: last, Size: small, Weight: italic, Anchor: end, Ink: black})
}

// idRow is how far rows of sites' names stand apart over the picture, mm of paper.
const idRow = 4.0

// arcName is a site's name over the picture, in a row from 0, the lowest.
type arcName struct {
	label
	x   float64 // where the site's line stands
	row int
}

// siteNames puts the sites' names over their lines, none over another nor over an edge, in as few rows as that
// needs. Sites outside the picture have none.
func siteNames(r *measure.Result, across func(arc float64) float64, left, right float64) (names []arcName, rows int) {
	rows = 1
	for _, s := range r.Sites {
		n := arcName{label: label{Text: s.ID, Size: idSize, Weight: bold, Ink: black}, x: across(s.Frame.Arc)}
		if math.IsNaN(n.x) || n.x < left || n.x > right {
			continue
		}
		wide := textWidth(s.ID, idSize, bold)
		n.At.X = math.Max(left, math.Min(n.x-wide/2, right-wide))
		for slices.ContainsFunc(names, func(o arcName) bool { return o.row == n.row && boxOf(o.label).overlaps(boxOf(n.label)) }) {
			n.row++
		}
		names, rows = append(names, n), max(rows, n.row+1)
	}
	return names, rows
}

func (s *sheet) arcRuler(p Picture, scale, left, floor float64) {
	first := p.First.U - p.Step/2
	end := first + float64(p.Width)*p.Step
	for mm := math.Ceil(first); mm <= end; mm++ {
		x, long := left+(mm-first)*scale, 0.8
		if math.Mod(mm, 10) == 0 {
			long = 2
			s.write(label{At: spot{x, floor + 5}, Text: rounded(mm, 0), Size: tiny, Anchor: middleOf, Ink: soft})
		}
		s.rule(spot{x, floor}, spot{x, floor + long}, 0.15, soft)
	}
}

// onCurve is how near the curve's ends, mm, a foot is taken for the end itself: nothing is known past it, and
// all that lies there would be drawn on one upright line.
const onCurve = 1e-6

// alongArch returns path as arc length (X) and height above the curve along the occlusal
// direction (Y), both mm, by the nearest point of the curve; pieces that lie past its ends are
// left out. It is for drawing.
func alongArch(r *measure.Result, path []r3.Vec) [][]spot {
	curve := r.Arch.Curve
	if len(curve) < 2 {
		return nil
	}
	step := r.Arch.Length / float64(len(curve)-1)
	var all [][]spot
	var line []spot
	for _, p := range path {
		best, arc, foot := math.Inf(1), 0.0, r3.Vec{}
		for i := 1; i < len(curve); i++ {
			ab := r3.Sub(curve[i], curve[i-1])
			t := math.Min(1, math.Max(0, r3.Dot(r3.Sub(p, curve[i-1]), ab)/r3.Norm2(ab)))
			q := r3.Add(curve[i-1], r3.Scale(t, ab))
			flat := r3.Sub(p, q)
			flat = r3.Sub(flat, r3.Scale(r3.Dot(flat, r.Occlusal), r.Occlusal))
			if d := r3.Norm(flat); d < best {
				best, arc, foot = d, (float64(i-1)+t)*step, q
			}
		}
		if arc <= onCurve || arc >= r.Arch.Length-onCurve || math.IsInf(best, 1) {
			all, line = append(all, line), nil
			continue
		}
		line = append(line, spot{arc, r3.Dot(r3.Sub(p, foot), r.Occlusal)})
	}
	var kept [][]spot
	for _, l := range append(all, line) {
		if len(l) > 1 {
			kept = append(kept, l)
		}
	}
	return kept
}
