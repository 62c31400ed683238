package practice

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
)

// UV is a point on a sheet, mm.
type UV = reformat.UV

// Disc is a tube's cross-section where one point of its axis meets a section: the tube in the section is the
// union of its discs.
type Disc struct {
	At     UV      `json:"at"`
	Radius float64 `json:"radius_mm"`
}

// Profile is the shape of the bone in one section, on the sheet: what truth along any line of the section is
// found on. Its walls are points of the phantom's surface, 0.1 mm of depth apart and closer at the crest; a
// chord between two of them is off by less than 0.002 mm (TestTruthAlongAnyLineIsThePhantoms).
type Profile struct {
	Crest        UV     `json:"crest"` // of the ridge's own axis
	Axis         UV     `json:"axis"`  // crest to base, unit
	Buccal       []UV   `json:"buccal"`
	Lingual      []UV   `json:"lingual"`
	InnerBuccal  []UV   `json:"inner_buccal"` // endosteal edges, where the line across meets marrow
	InnerLingual []UV   `json:"inner_lingual"`
	Canal        []Disc `json:"canal,omitempty"`
	Floor        []UV   `json:"floor,omitempty"` // of the sinus, lingual to buccal

	// Of a section along the arch, which has none of the above but the canal:
	Opening []UV   `json:"opening,omitempty"` // points of the wall in the foramen, distal to mesial
	Root    []Disc `json:"root,omitempty"`
	Body    *Body  `json:"body,omitempty"` // the drawn implant
}

// How far a profile is followed, mm.
const (
	profileDepth = 24.0 // below the crest
	lineReach    = 14.0 // to either side: the phantom's own reach
	closedStep   = 0.02 // first depth below the crest, where the walls meet
)

// surveyor reads the phantom's surface in one section.
type surveyor struct {
	jaw          *phantom.Jaw
	section      phantom.Section
	frame        reformat.Frame
	crest        r3.Vec
	axis, across r3.Vec // across is buccal
}

func (s surveyor) place(p r3.Vec) UV { q, _ := s.frame.Section(p); return q }

// profileOf follows the bone of a section down from the crest of t.
func profileOf(jaw *phantom.Jaw, sec phantom.Section, f reformat.Frame, t phantom.AxisTruth) Profile {
	s := surveyor{jaw: jaw, section: sec, frame: f, crest: t.Crest, axis: t.Axis}
	s.across = r3.Sub(r3.Scale(-r3.Dot(t.Axis, sec.Up), sec.Buccal), r3.Scale(-r3.Dot(t.Axis, sec.Buccal), sec.Up))
	p := Profile{Crest: s.place(t.Crest), Axis: UV{U: r3.Dot(t.Axis, f.U), V: r3.Dot(t.Axis, f.V)}}
	p.Buccal, p.Lingual = []UV{p.Crest}, []UV{p.Crest}
	for k := 1; ; k++ {
		h := closedStep * float64(k*k) / 4
		if k > 10 {
			h = closedStep*25 + 0.1*float64(k-10)
		}
		if h > profileDepth || !s.line(h, &p) {
			break
		}
	}
	p.Canal = s.canal()
	p.Floor = s.floor(t)
	return p
}

// line adds the walls at depth h (mm); false where the line misses the bone.
func (s surveyor) line(h float64, p *Profile) bool {
	from := r3.Add(s.crest, r3.Scale(h, s.axis))
	near, far, err := s.jaw.Chord(from, s.across, lineReach)
	if err != nil {
		return h < 1 // the very crest may lie beside its own line
	}
	on := func(t float64) UV { return s.place(r3.Add(from, r3.Scale(t, s.across))) }
	p.Lingual, p.Buccal = append(p.Lingual, on(near)), append(p.Buccal, on(far))
	if lingual, buccal, err := s.jaw.Plates(from, s.across, lineReach); err == nil && !math.IsNaN(lingual+buccal) {
		p.InnerLingual, p.InnerBuccal = append(p.InnerLingual, on(near+lingual)), append(p.InnerBuccal, on(far-buccal))
	}
	return true
}

// canal lists the discs of every canal that the section cuts: points of its axis 0.02 mm apart.
func (s surveyor) canal() []Disc {
	var out []Disc
	for _, c := range s.jaw.Plan().Structures {
		if c.Kind == "canal" {
			out = append(out, s.discs(c.Path, c.Radius)...)
		}
	}
	return out
}

// discs lists where the spheres along a tube's axis, 0.02 mm apart, meet the section.
func (s surveyor) discs(path []r3.Vec, radius []float64) (out []Disc) {
	for i := 1; i < len(path); i++ {
		a, offA := s.frame.Section(path[i-1])
		b, offB := s.frame.Section(path[i])
		ra, rb := radius[i-1], radius[i]
		if most := max(ra, rb); min(offA, offB) > most || max(offA, offB) < -most || math.Abs(a.U-pictureWide/2) > 2*lineReach {
			continue
		}
		n := int(math.Ceil(r3.Norm(r3.Sub(path[i], path[i-1])) / 0.02))
		for k := 0; k <= n; k++ {
			t := float64(k) / float64(n)
			r, off := ra+t*(rb-ra), offA+t*(offB-offA)
			if r > math.Abs(off) {
				out = append(out, Disc{UV{U: a.U + t*(b.U-a.U), V: a.V + t*(b.V-a.V)}, math.Sqrt(r*r - off*off)})
			}
		}
	}
	return out
}

// floor follows the floor of the sinus along lines beside the axis, 0.1 mm apart.
func (s surveyor) floor(t phantom.AxisTruth) []UV {
	depth := 0.0
	for _, h := range t.Heights {
		if h.To == "sinus" {
			depth = h.Height
		}
	}
	if depth == 0 {
		return nil
	}
	var out []UV
	for off := -8.0; off <= 8; off += 0.1 {
		near := r3.Add(r3.Add(s.crest, r3.Scale(max(1, depth-2), s.axis)), r3.Scale(off, s.across))
		crest, heights, err := s.jaw.Limits(s.section, near, s.axis)
		if err != nil {
			continue
		}
		for _, h := range heights {
			if h.To == "sinus" {
				out = append(out, s.place(r3.Add(crest, r3.Scale(h.Height, s.axis))))
			}
		}
	}
	return out
}

// errOffBone says that a line misses what it should measure.
var errOffBone = fmt.Errorf("practice: the line misses the bone")

// crossings returns where the line p + t·d crosses a chain of points, as distances t, mm.
func crossings(chain []UV, p, d UV) []float64 {
	var out []float64
	side := func(q UV) float64 { return (q.U-p.U)*d.V - (q.V-p.V)*d.U }
	for i := 1; i < len(chain); i++ {
		a, b := side(chain[i-1]), side(chain[i])
		if (a < 0) == (b < 0) {
			continue
		}
		t := a / (a - b)
		x := UV{U: chain[i-1].U + t*(chain[i].U-chain[i-1].U), V: chain[i-1].V + t*(chain[i].V-chain[i-1].V)}
		out = append(out, (x.U-p.U)*d.U+(x.V-p.V)*d.V)
	}
	return out
}

// extent returns the outermost crossings of a line with a chain, mm; ok is false where there are none.
func extent(chain []UV, p, d UV) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, t := range crossings(chain, p, d) {
		low, high = min(low, t), max(high, t)
	}
	return low, high, low <= high
}

// outer is the outline of the bone as one chain, lingual base to crest to buccal base.
func (p *Profile) outer() []UV { return chainOf(p.Lingual, p.Buccal) }

func chainOf(lingual, buccal []UV) []UV {
	out := make([]UV, 0, len(lingual)+len(buccal))
	for i := len(lingual) - 1; i >= 0; i-- {
		out = append(out, lingual[i])
	}
	return append(out, buccal...)
}

// along returns the truth of a question along the reader's own line from a to b on the sheet, in the question's
// unit: the height from where the line enters the bone, the width or plate on the line itself, the tilt of the
// line. It returns an error where the line misses what is asked, and for a question that is of no one line.
func (p *Profile) along(q Question, a, b UV) (float64, error) {
	long := math.Hypot(b.U-a.U, b.V-a.V)
	if long == 0 {
		return 0, errOffBone
	}
	d := UV{U: (b.U - a.U) / long, V: (b.V - a.V) / long}
	mid := UV{U: (a.U + b.U) / 2, V: (a.V + b.V) / 2}
	switch q.Quantity {
	case quantity.RidgeTilt:
		return leanOf(down(d)), nil
	case quantity.RidgeWidth:
		low, high, ok := extent(p.outer(), mid, d)
		if !ok || high <= low {
			return 0, errOffBone
		}
		return high - low, nil
	case quantity.BuccalPlate, quantity.LingualPlate:
		return p.plate(measurands[q.Quantity].inner, mid, d)
	case quantity.RidgeHeight:
		return p.height(q.To, mid, down(d))
	case quantity.Clearance:
		return p.gapAlong(a, b)
	case AnteriorLoop:
		if d.U < 0 {
			d = UV{U: -d.U, V: -d.V}
		}
		length, _, _ := p.loopAlong(d)
		return length, nil
	}
	return 0, fmt.Errorf("practice: %s is of no one line", q.Quantity)
}

// down turns a direction so that it points from crest to base.
func down(d UV) UV {
	if d.V > 0 {
		return UV{U: -d.U, V: -d.V}
	}
	return d
}

// leanOf is the angle of a direction from crest to base against the vertical, deg, + when the base lies buccal.
func leanOf(d UV) float64 { return math.Atan2(d.U, -d.V) * 180 / math.Pi }

// plate is the thickness of the plate of one side (+1 buccal) along the line mid + t·d, mm.
func (p *Profile) plate(side float64, mid, d UV) (float64, error) {
	if d.U*side < 0 {
		d = UV{U: -d.U, V: -d.V}
	}
	_, outer, ok := extent(p.outer(), mid, d)
	_, inner, okInner := extent(chainOf(p.InnerLingual, p.InnerBuccal), mid, d)
	if !ok || !okInner || outer <= inner {
		return 0, errOffBone
	}
	return outer - inner, nil
}

// height is the distance along d from where the line enters the bone to its limit, mm.
func (p *Profile) height(to string, mid, d UV) (float64, error) {
	crest, _, ok := extent(p.outer(), mid, d)
	if !ok {
		return 0, errOffBone
	}
	if to == "canal" {
		level := math.Inf(1)
		for _, c := range p.Canal {
			level = min(level, (c.At.U-mid.U)*d.U+(c.At.V-mid.V)*d.V-c.Radius)
		}
		if math.IsInf(level, 1) {
			return 0, errOffBone
		}
		return level - crest, nil
	}
	end := math.Inf(1)
	for _, t := range crossings(p.Floor, mid, d) {
		if t > crest {
			end = min(end, t)
		}
	}
	if math.IsInf(end, 1) {
		return 0, errOffBone
	}
	return end - crest, nil
}
