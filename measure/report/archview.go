package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/reformat"
)

// planView projects the patient along the occlusal direction onto the paper: patient left to the
// right, anterior up, as an axial picture is hung.
type planView struct {
	labels
	result *measure.Result
	least  float64 // size of the smallest letters, mm of paper
	side   float64 // margin on the left and on the right, mm of paper: wide enough for the names of sites
	x, y   r3.Vec  // unit vectors: to the right and down on the paper
	low    spot    // least projected coordinates, mm in the patient
}

// archRoom is the arch's on a page.
var archRoom = spot{178, 105}

const (
	planMargin = 9.0 // mm of paper around the plan
	idSize     = 3.2 // letters of a site's name, mm
	steep      = 0.2 // change of a link's radius along it on the paper, above which it is drawn as discs; our choice, seen only
)

// archSheet draws the arch seen along the occlusal direction: the curve, the place of each
// section, implants and structures; the sheet is at most room.X wide and the drawn part room.Y high,
// its letters at least least, mm of paper. It
// returns nil when there is no curve.
func archSheet(r *measure.Result, room spot, least float64) *sheet {
	v := &planView{result: r, least: least}
	v.basis()
	points := v.extent()
	if len(points) < 2 {
		return nil
	}
	low, high := spot{math.Inf(1), math.Inf(1)}, spot{math.Inf(-1), math.Inf(-1)}
	for _, p := range points {
		q := v.flat(p)
		low = spot{math.Min(low.X, q.X), math.Min(low.Y, q.Y)}
		high = spot{math.Max(high.X, q.X), math.Max(high.Y, q.Y)}
	}
	v.low, v.side = low, planMargin
	for _, s := range r.Sites {
		v.side = math.Max(v.side, math.Min(textWidth(s.ID, idSize, bold)+5, room.X/5))
	}
	scale := paperScale(high.X-low.X, high.Y-low.Y, room.X-2*v.side, room.Y)
	v.sheet = &sheet{
		Title: "The arch from above", About: "Arch curve with the place of each section, seen along the occlusal direction; patient left is at the right.",
		Scale: scale, Width: (high.X-low.X)*scale + 2*v.side, Height: (high.Y-low.Y)*scale + 2*planMargin + 12,
	}
	v.words()
	v.tubes()
	v.curve()
	for i := range r.Sites {
		v.site(&r.Sites[i])
	}
	for i := range r.Sites {
		v.siteName(&r.Sites[i])
	}
	v.tubeNames()
	return v.sheet
}

// basis sets the paper's axes: patient left and posterior, made perpendicular to the occlusal
// direction.
func (v *planView) basis() {
	o := v.result.Occlusal
	if r3.Norm(o) == 0 || math.IsNaN(o.X+o.Y+o.Z) {
		o = r3.Vec{Z: 1}
	}
	o = r3.Unit(o)
	across := r3.Sub(r3.Vec{X: 1}, r3.Scale(o.X, o))
	if r3.Norm(across) < 1e-6 {
		across = r3.Vec{Y: 1}
	}
	v.x = r3.Unit(across)
	v.y = r3.Cross(o, v.x)
	if v.y.Y < 0 {
		v.y = r3.Scale(-1, v.y)
	}
}

func (v *planView) flat(p r3.Vec) spot { return spot{r3.Dot(p, v.x), r3.Dot(p, v.y)} }

func (v *planView) spot(p r3.Vec) spot {
	q := v.flat(p)
	return spot{v.side + (q.X-v.low.X)*v.Scale, planMargin + (q.Y-v.low.Y)*v.Scale}
}

// extent returns the points that must be on the sheet.
func (v *planView) extent() []r3.Vec {
	points := finite(v.result.Arch.Curve)
	for i := range v.result.Sites {
		a, b := sectionEnds(&v.result.Sites[i])
		points = append(points, finite([]r3.Vec{a, b})...)
	}
	if len(points) < 2 {
		return nil
	}
	for _, s := range v.result.Structures {
		for i, p := range s.Path {
			if drawable := i < len(s.Radii) && len(finite([]r3.Vec{p})) == 1; drawable {
				for _, way := range []r3.Vec{v.x, v.y, r3.Scale(-1, v.x), r3.Scale(-1, v.y)} {
					points = append(points, r3.Add(p, r3.Scale(s.Radii[i], way)))
				}
			}
		}
	}
	return points
}

func finite(points []r3.Vec) []r3.Vec {
	var out []r3.Vec
	for _, p := range points {
		if s := p.X + p.Y + p.Z; !math.IsNaN(s) && !math.IsInf(s, 0) {
			out = append(out, p)
		}
	}
	return out
}

// sectionEnds returns the ends of the site's section line: 9 mm to the buccal, 7 mm to the other.
func sectionEnds(s *measure.SiteResult) (buccal, inner r3.Vec) {
	return r3.Add(s.Frame.Origin, r3.Scale(9, s.Frame.U)), r3.Add(s.Frame.Origin, r3.Scale(-7, s.Frame.U))
}

func (v *planView) curve() {
	var points []spot
	for _, p := range finite(v.result.Arch.Curve) {
		points = append(points, v.spot(p))
	}
	if len(points) > 1 {
		v.line(stroke{Points: points, Width: 0.35, Ink: petrol})
		v.soft = append(v.soft, points...)
	}
}

// tubes draws each marked structure as one body: the outline of all its links together, and its middle line.
func (v *planView) tubes() {
	for _, s := range v.result.Structures {
		links := v.links(s)
		if links == nil {
			continue
		}
		low, high := reformat.UV{U: math.Inf(-1), V: math.Inf(-1)}, reformat.UV{U: math.Inf(1), V: math.Inf(1)}
		for _, line := range contour(links, [2]reformat.UV{low, high}) {
			outline := each(line, func(p reformat.UV) spot { return spot{p.U, p.V} })
			v.line(stroke{Points: outline, Width: 0.2, Ink: soft})
			v.soft = append(v.soft, outline...)
		}
		if middle := each(s.Path, v.spot); len(middle) > 1 {
			v.line(stroke{Points: middle, Width: 0.2, Ink: hair, Dash: []float64{0.8, 0.8}})
		}
	}
}

// links returns the links of a structure's chain flat on the paper, or nil where it has none that can be drawn.
func (v *planView) links(s measure.Structure) []segment {
	if len(s.Path) == 0 || len(s.Radii) < len(s.Path) || len(finite(s.Path)) < len(s.Path) {
		return nil
	}
	var out []segment
	for i := range s.Path {
		j := min(i+1, len(s.Path)-1)
		if j == i && i > 0 {
			break
		}
		a, b := v.spot(s.Path[i]), v.spot(s.Path[j])
		flat := func(t float64) r3.Vec { q := between(a, b, t); return r3.Vec{X: q.X, Y: q.Y} }
		ra, rb := s.Radii[i]*v.Scale, s.Radii[j]*v.Scale
		if math.Abs(rb-ra) <= steep*apart(a, b) {
			out = append(out, segment{flat(0), flat(1), ra, rb})
			continue
		}
		for t := 0.0; t <= 1; t += 0.125 { // seen nearly from its end, a cone is its discs
			out = append(out, segment{flat(t), flat(t), ra + t*(rb-ra), ra + t*(rb-ra)})
		}
	}
	return out
}

// compass are the directions in which a structure's name may stand from it.
var compass = []spot{{1, 0}, {-1, 0}, {0, 1}, {0, -1}, {0.7, 0.7}, {-0.7, 0.7}, {0.7, -0.7}, {-0.7, -0.7}}

// tubeNames names the structures, those of one point first: they have the least choice. A sketch has room for canals
// and cavities only: a foramen is the end of its canal.
func (v *planView) tubeNames() {
	for _, short := range []bool{true, false} {
		for _, s := range v.result.Structures {
			if n := len(s.Path); v.links(s) != nil && (n <= 2) == short && (v.least <= tiny || n > 1 && nerveOrCavity[string(s.Kind)]) {
				at := []spot{v.spot(s.Path[n/2])}
				if !short {
					at = append(at, v.spot(s.Path[n/4]), v.spot(s.Path[3*n/4]))
				}
				v.beside(label{Text: s.Name, Size: math.Max(tiny, v.least), Ink: soft, Weight: italic}, at, compass)
			}
		}
	}
}

// site draws a section's line with the implant that stands on it.
func (v *planView) site(s *measure.SiteResult) {
	a, b := sectionEnds(s)
	if len(finite([]r3.Vec{a, b})) < 2 {
		return
	}
	out, in := v.spot(a), v.spot(b)
	dash := []float64(nil)
	if s.Err != "" {
		dash = []float64{0.8, 0.8}
	}
	v.line(stroke{Points: []spot{in, out}, Width: 0.25, Ink: black, Dash: dash})
	for t := 0.05; t < 1; t += 0.1 {
		v.soft = append(v.soft, between(in, out, t))
	}
	v.implant(s)
}

// siteName writes the site's name at the buccal end of its line.
func (v *planView) siteName(s *measure.SiteResult) {
	a, b := sectionEnds(s)
	if len(finite([]r3.Vec{a, b})) < 2 {
		return
	}
	out, in := v.spot(a), v.spot(b)
	if d := apart(in, out); d > 0 {
		way := spot{(out.X - in.X) / d, (out.Y - in.Y) / d}
		v.beside(label{Text: s.ID, Size: idSize, Weight: bold, Ink: black}, []spot{out}, append([]spot{way, {way.X, 0}, {0, way.Y}}, compass...))
	}
}

// implant draws the platform as a disc and the way to the apex as a line.
func (v *planView) implant(s *measure.SiteResult) {
	b := s.Implant
	if b == nil || len(finite([]r3.Vec{b.Platform, b.Axis})) < 2 {
		return
	}
	at := v.spot(b.Platform)
	v.line(stroke{Points: disc(at, b.Diameter/2*v.Scale), Closed: true, Width: 0.4, Ink: black, Fill: paper})
	v.line(stroke{Points: []spot{at, v.spot(r3.Add(b.Platform, r3.Scale(b.Length, b.Axis)))}, Width: 0.25, Ink: black})
	v.line(stroke{Points: disc(at, 0.5), Closed: true, Fill: black})
	half := b.Diameter / 2 * v.Scale
	v.taken = append(v.taken, box2{spot{at.X - half, at.Y - half}, spot{at.X + half, at.Y + half}})
}

// words writes what stands around the plan. A sketch in larger letters is not to be measured on: it has no scale, and
// the page that it stands on has the caution.
func (v *planView) words() {
	letters := math.Max(small, v.least)
	v.fixed(label{At: spot{1, 3}, Text: "patient right", Size: letters, Weight: italic, Ink: black})
	v.fixed(label{At: spot{v.Width - 1, 3}, Text: "patient left", Size: letters, Weight: italic, Anchor: end, Ink: black})
	v.fixed(label{At: spot{v.Width / 2, 3}, Text: "anterior", Size: letters, Weight: italic, Anchor: middleOf, Ink: black})
	bottom := v.Height - 7
	if mark := markOf(v.result); mark != "" {
		lines := wrapped(mark, letters, bold, v.Width-2)
		for i, line := range lines {
			v.fixed(label{At: spot{v.Width / 2, bottom - 2.5 - 1.3*letters*float64(len(lines)-1-i)}, Text: line, Size: letters, Anchor: middleOf, Weight: bold, Ink: black})
		}
	}
	if v.least > tiny {
		return
	}
	v.scaleBar(spot{v.side, bottom}, 10)
	v.fixed(label{At: spot{v.Width - 1, bottom + 1}, Text: "scale " + plain(v.Scale) + " : 1", Size: tiny, Anchor: end, Ink: soft})
	v.fixed(label{At: spot{v.Width - 1, bottom + 4.4}, Text: "For review by a licensed clinician.", Size: tiny, Anchor: end, Ink: soft})
}
