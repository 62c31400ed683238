package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
)

// planView projects the patient along the occlusal direction onto the paper: patient left to the
// right, anterior up, as an axial picture is hung.
type planView struct {
	*sheet
	result *measure.Result
	x, y   r3.Vec // unit vectors: to the right and down on the paper
	low    spot   // least projected coordinates, mm in the patient
}

const planMargin = 9.0 // mm of paper around the plan

// archSheet draws the arch seen along the occlusal direction: the curve, the place of each
// section, implants and structures. It returns nil when there is no curve.
func archSheet(r *measure.Result) *sheet {
	v := &planView{result: r}
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
	v.low = low
	scale := paperScale(high.X-low.X, high.Y-low.Y, 160, 105)
	v.sheet = &sheet{
		Title: "The arch from above", About: "Arch curve with the place of each section, seen along the occlusal direction; patient left is at the right.",
		Scale: scale, Width: (high.X-low.X)*scale + 2*planMargin, Height: (high.Y-low.Y)*scale + 2*planMargin + 12,
	}
	v.tubes()
	v.curve()
	for i := range r.Sites {
		v.site(&r.Sites[i])
	}
	v.words()
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
	return spot{planMargin + (q.X-v.low.X)*v.Scale, planMargin + (q.Y-v.low.Y)*v.Scale}
}

// extent returns the points that must be on the sheet.
func (v *planView) extent() []r3.Vec {
	points := finite(v.result.Arch.Curve)
	for i := range v.result.Sites {
		a, b := sectionEnds(&v.result.Sites[i])
		points = append(points, finite([]r3.Vec{a, b})...)
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
	}
}

// tubes draws the marked structures: each link of a chain as wide as it is.
func (v *planView) tubes() {
	for _, s := range v.result.Structures {
		for i := range s.Path {
			if i >= len(s.Radii) || len(finite(s.Path)) < len(s.Path) {
				break
			}
			v.line(stroke{Points: disc(v.spot(s.Path[i]), s.Radii[i]*v.Scale), Closed: true, Width: 0.15, Ink: hair})
			if i > 0 {
				v.line(stroke{Points: []spot{v.spot(s.Path[i-1]), v.spot(s.Path[i])}, Width: 0.2, Ink: soft, Dash: []float64{0.8, 0.8}})
			}
		}
		if len(s.Path) > 0 && len(finite(s.Path)) == len(s.Path) {
			at := v.spot(s.Path[len(s.Path)-1])
			v.write(label{At: spot{math.Min(at.X, v.Width-16), at.Y + 3.4}, Text: s.Name, Size: tiny, Anchor: middleOf, Ink: soft, Weight: italic})
		}
	}
}

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
	v.implant(s)
	d := apart(in, out)
	if d == 0 {
		return
	}
	at := spot{out.X + (out.X-in.X)/d*3.2, out.Y + (out.Y-in.Y)/d*3.2 + 1}
	v.write(label{At: at, Text: s.ID, Size: 3.2, Anchor: middleOf, Weight: bold, Ink: black})
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
}

func (v *planView) words() {
	bottom := v.Height - 7
	v.scaleBar(spot{planMargin, bottom}, 10)
	v.write(label{At: spot{v.Width - 1, bottom + 1}, Text: "scale " + plain(v.Scale) + " : 1", Size: tiny, Anchor: end, Ink: soft})
	v.write(label{At: spot{v.Width - 1, bottom + 4.4}, Text: "For review by a licensed clinician.", Size: tiny, Anchor: end, Ink: soft})
	v.write(label{At: spot{1, 3}, Text: "patient right", Size: small, Weight: italic, Ink: black})
	v.write(label{At: spot{v.Width - 1, 3}, Text: "patient left", Size: small, Weight: italic, Anchor: end, Ink: black})
	v.write(label{At: spot{v.Width / 2, 3}, Text: "anterior", Size: small, Weight: italic, Anchor: middleOf, Ink: black})
	if v.result.Synthetic {
		v.write(label{At: spot{v.Width / 2, bottom - 2.5}, Text: syntheticCaution, Size: small, Anchor: middleOf, Weight: bold, Ink: black})
	}
}
