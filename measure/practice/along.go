package practice

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
)

// View is which way a sheet's section lies. It follows from the question.
type View string

// The views.
const (
	Across  View = ""        // a cross-section: u buccal, v coronal
	Along   View = "along"   // upright along the arch, through its plane: u mesial, v coronal
	Oblique View = "oblique" // along the arch and leaning by 45°: u mesial, v coronal and buccal
)

// Body is an implant drawn on a sheet, upright: where it stands follows from the sheet alone.
type Body struct {
	Top      UV      `json:"top"` // middle of the platform, mm
	Diameter float64 `json:"diameter_mm"`
	Length   float64 `json:"length_mm"`
}

// The implant of a question about a clearance, on the sheet: mm. Trade sizes; its platform lies about 1 mm below the crest.
var drawnBody = Body{Top: UV{U: pictureWide / 2, V: belowArch + 4}, Diameter: 4, Length: 10}

// What an oblique section shows, mm: canal, loop and foramen; and where its middle lies from the arch's plane at the
// foramen: down to the canal, up along the section towards the foramen, mesially towards the loop.
const (
	obliqueWide, obliqueTall = 18.0, 16.0
	obliqueDown              = loopDepth + loopRadius - 5 // the arch's plane lies 5 mm below the crest
	obliqueUp                = 2.5
	obliqueMesial            = 1.5
)

// The canal of a loop, mm: fixed, so that the place of the section tells nothing.
const (
	loopDepth  = 13.0
	loopRadius = 1.2
)

// mesial is the direction along the arch toward the midline of the patient, in a section across it.
func mesial(sec phantom.Section) r3.Vec {
	t := r3.Cross(sec.Buccal, sec.Up)
	if t.X*sec.Origin.X > 0 {
		t = r3.Scale(-1, t)
	}
	return t
}

// lieAlong puts the sheet of a question about the arch's direction about its site.
func (it *Sealed) lieAlong(jaw *phantom.Jaw, sec phantom.Section, arc float64) {
	s := &it.Sheet
	s.View = measurands[s.Question.Quantity].view
	if s.View == Along {
		u := mesial(sec)
		s.Frame = reformat.Frame{Arc: arc, U: u, V: sec.Up, T: r3.Cross(u, sec.Up)}
		s.Frame.Origin = r3.Add(sec.Origin, s.Frame.Direction(UV{U: it.Offset[3] - pictureWide/2, V: it.Offset[4] - belowArch}))
		body := drawnBody
		s.Body, s.Width, s.Height = &body, pictureWide, pictureTall
		return
	}
	for _, st := range jaw.Plan().Structures {
		if st.Kind == "mental_foramen" && st.Path[0].X*sec.Origin.X > 0 {
			sec, arc = jaw.SectionAt(st.Path[0])
		}
	}
	u, v := mesial(sec), r3.Scale(math.Sqrt2/2, r3.Add(sec.Up, sec.Buccal))
	s.Frame = reformat.Frame{Arc: arc, U: u, V: v, T: r3.Cross(u, v)}
	middle := r3.Sub(sec.Origin, r3.Scale(obliqueDown, sec.Up))
	s.Frame.Origin = r3.Add(middle, s.Frame.Direction(UV{U: it.Offset[3] + obliqueMesial - obliqueWide/2, V: it.Offset[4] + obliqueUp - obliqueTall/2}))
	s.Width, s.Height = obliqueWide, obliqueTall
}

// solveAlong works out the truth of a question about the arch's direction, or says why it has none.
func (it *Sealed) solveAlong(jaw *phantom.Jaw) error {
	p := Profile{Axis: UV{V: -1}, Body: it.Sheet.Body}
	s := surveyor{jaw: jaw, frame: it.Sheet.Frame}
	for _, st := range jaw.Plan().Structures {
		switch {
		case st.Path[0].X*s.frame.Origin.X < 0: // of the other side
		case st.Kind == "root" && p.Body != nil:
			p.Root = append(p.Root, s.discs(st.Path, st.Radius)...)
		case st.Kind == "canal" && p.Body == nil:
			p.Canal = s.discs(openCanal(st))
		}
	}
	if p.Body == nil {
		p.Opening = s.opening(p.Canal)
	}
	it.Profile = p
	line := it.trueLine()
	truth := line[1].U - line[0].U
	if p.Body != nil {
		truth = math.Hypot(truth, line[1].V-line[0].V)
	}
	if math.IsNaN(truth) || truth < leastAlong {
		return fmt.Errorf("practice: no %s here", it.Sheet.Question)
	}
	it.Truth = truth
	it.U = scanBudget(jaw.Options(), it.Sheet.Question).Std()
	it.Traps = trapsOf(it)
	return it.shown()
}

// leastAlong is the least loop or clearance that is asked, mm: below it the two edges are one.
const leastAlong = 0.6

// openCanal is a canal with the way through the soft tissue behind its foramen, where the same radius goes on.
func openCanal(st phantom.PlanStructure) (path []r3.Vec, radius []float64) {
	n := len(st.Path)
	last, before := st.Path[n-1], st.Path[n-2]
	const beyond = 2 // mm, as the phantom draws it
	out := r3.Add(last, r3.Scale(beyond, r3.Unit(r3.Sub(last, before))))
	return append(append([]r3.Vec(nil), st.Path...), out), append(append([]float64(nil), st.Radius...), st.Radius[n-1])
}

// wallStep is the distance between two points of the wall about a foramen, mm; its borders are found to a thousandth of it.
const wallStep = 0.1

// opening lists the points of the buccal wall that lie in the canal: its foramen as the section shows it, from distal to
// mesial.
func (s surveyor) opening(canal []Disc) (out []UV) {
	was := false
	for i := 0; float64(i)*wallStep <= obliqueWide; i++ {
		u := float64(i) * wallStep
		w, open := s.open(u, canal)
		if open != was && i > 0 {
			in, outside := u, u-wallStep
			if was {
				in, outside = outside, in
			}
			for range 10 {
				if mid := (in + outside) / 2; s.isOpen(mid, canal) {
					in = mid
				} else {
					outside = mid
				}
			}
			border, _ := s.open(in, canal)
			out = append(out, border)
		}
		if was = open; open {
			out = append(out, w)
		}
	}
	return out
}

func (s surveyor) isOpen(u float64, canal []Disc) bool { _, open := s.open(u, canal); return open }

// open finds the buccal wall at u mm across the sheet, and whether it lies in the canal there.
func (s surveyor) open(u float64, canal []Disc) (UV, bool) {
	_, far, err := s.jaw.Chord(s.frame.Patient(UV{U: u, V: obliqueTall / 2}), s.frame.V, lineReach)
	if err != nil {
		return UV{}, false
	}
	w := UV{U: u, V: obliqueTall/2 + far}
	return w, slices.ContainsFunc(canal, func(c Disc) bool { return math.Hypot(w.U-c.At.U, w.V-c.At.V) < c.Radius })
}

// loopAlong is how much further the canal reaches in direction d (unit, mesial) than the mesial border of its foramen, mm,
// with the two places; NaN where the section shows no canal or no foramen.
func (p *Profile) loopAlong(d UV) (length float64, from, to UV) {
	border, end := math.Inf(-1), math.Inf(-1)
	for _, w := range p.Opening {
		if x := w.U*d.U + w.V*d.V; x > border {
			border, from = x, w
		}
	}
	for _, c := range p.Canal {
		if x := c.At.U*d.U + c.At.V*d.V + c.Radius; x > end {
			end, to = x, UV{U: c.At.U + c.Radius*d.U, V: c.At.V + c.Radius*d.V}
		}
	}
	if len(p.Opening) == 0 || len(p.Canal) == 0 {
		return math.NaN(), from, to
	}
	return end - border, from, to
}

// clamp returns the point of the body nearest to q.
func (b *Body) clamp(q UV) UV {
	half := b.Diameter / 2
	return UV{U: math.Max(b.Top.U-half, math.Min(b.Top.U+half, q.U)), V: math.Max(b.Top.V-b.Length, math.Min(b.Top.V, q.V))}
}

// gap is the shortest line from the drawn implant to a root in the section; NaN ends where there is none, or they overlap.
func (p *Profile) gap() (from, to UV) {
	from, to = UV{U: math.NaN(), V: math.NaN()}, UV{U: math.NaN(), V: math.NaN()}
	best := math.Inf(1)
	for _, c := range p.Root {
		q := p.Body.clamp(c.At)
		d := math.Hypot(c.At.U-q.U, c.At.V-q.V)
		if d-c.Radius >= best {
			continue
		}
		if best = d - c.Radius; best <= 0 {
			return UV{U: math.NaN()}, UV{U: math.NaN()}
		}
		share := best / d
		from, to = q, UV{U: q.U + share*(c.At.U-q.U), V: q.V + share*(c.At.V-q.V)}
	}
	return from, to
}

// gapAlong is the distance from the drawn implant to a root along the direction of a reader's line, mm: from the point of the
// implant nearest to that end of the line which is nearer to it. So a line that passes a corner of the implant by a tenth of a
// millimetre is off by no more than that. It returns an error where no root is met.
func (p *Profile) gapAlong(a, b UV) (float64, error) {
	off := func(q UV) float64 { c := p.Body.clamp(q); return math.Hypot(q.U-c.U, q.V-c.V) }
	if off(b) < off(a) {
		a, b = b, a
	}
	long := math.Hypot(b.U-a.U, b.V-a.V)
	d := UV{U: (b.U - a.U) / long, V: (b.V - a.V) / long}
	from := p.Body.clamp(a)
	if _, leave := p.Body.span(from, d); leave > 0 { // an end inside the implant
		from = UV{U: from.U + leave*d.U, V: from.V + leave*d.V}
	}
	best := math.Inf(1)
	for _, c := range p.Root {
		along, beside := (c.At.U-from.U)*d.U+(c.At.V-from.V)*d.V, (c.At.U-from.U)*d.V-(c.At.V-from.V)*d.U
		if math.Abs(beside) < c.Radius && along > 0 {
			best = math.Min(best, along-math.Sqrt(c.Radius*c.Radius-beside*beside))
		}
	}
	if math.IsInf(best, 1) || best <= 0 {
		return 0, errOffBone
	}
	return best, nil
}

// span is where the line from + t·d (unit) enters and leaves the body, as t in mm; the first is the greater where it misses it.
func (b *Body) span(from, d UV) (enter, leave float64) {
	enter, leave = math.Inf(-1), math.Inf(1)
	for _, slab := range [2][4]float64{{from.U, d.U, b.Top.U - b.Diameter/2, b.Top.U + b.Diameter/2}, {from.V, d.V, b.Top.V - b.Length, b.Top.V}} {
		if slab[1] == 0 {
			if slab[0] < slab[2] || slab[0] > slab[3] {
				return 1, 0
			}
			continue
		}
		x, y := (slab[2]-slab[0])/slab[1], (slab[3]-slab[0])/slab[1]
		enter, leave = math.Max(enter, math.Min(x, y)), math.Min(leave, math.Max(x, y))
	}
	return enter, leave
}

// askedAlong reports whether a quantity is asked in a section along the arch.
func askedAlong(name quantity.Name) bool { return measurands[name].view != Across }
