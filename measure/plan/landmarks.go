package plan

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// Landmarks tell where along the arch a point lies as seen from the patient: from the right to the
// left, and how far from the midline.
type Landmarks struct {
	curve    *reformat.Curve
	occlusal r3.Vec  // unit, as the plan's
	Leftward float64 // +1: arc length grows toward the patient's left end of the arch; −1: toward the right
	turn     float64 // of the whole curve about the occlusal direction, without sign, radians
	midline  float64 // arc length of the midline, mm; NaN: not known
	doubt    float64 // how far from the midline the side is sure, mm
}

// Same reports whether two landmarks on one curve say the same of every place.
func (l Landmarks) Same(m Landmarks) bool {
	alike := l.midline == m.midline || math.IsNaN(l.midline) && math.IsNaN(m.midline)
	return alike && l.occlusal == m.occlusal && l.Leftward == m.Leftward && l.turn == m.turn && (l.doubt == m.doubt || math.IsNaN(l.doubt) && math.IsNaN(m.doubt))
}

// Where a midline may be taken from the curve's own shape.
const (
	leastHalf    = 15.0        // mm of curve on both sides of it
	leastTurning = math.Pi / 2 // of the whole curve, radians: a quadrant turns by less
	leastBalance = 0.6         // of the shorter half to the longer one, where the curve is no whole arch. Our choice.
	// wholeTurn is the turn from which both sides of the jaw lie on the curve, radians: 140°, a short arch of
	// which the last molars are left out. Our choice.
	wholeTurn = 140 * math.Pi / 180
	// nearlyStraight is the turn below which the inside of the curve hangs on the hand that drew it,
	// radians; 0.4 is a molar region's. Our choice.
	nearlyStraight = 0.4

	// How far off a midline may be, mm: one found from the curve's shape as the model of the places has
	// it, and one given by hand. Our choice.
	foundMidline = 5.0
	givenMidline = 1.0
)

// beside returns the arc length of the curve's point nearest to p and how far p lies beside the curve
// there, seen along the occlusal direction, mm; past is true where the curve says nothing of p: past an end, or
// on the inner side of a curve that is no whole arch, where the jaw's other side is.
func (l Landmarks) beside(p r3.Vec) (arc, off float64, past bool) {
	const across = 0.5 // mm along the tangent by which what is nearest to a point of the curve may miss it
	arc, _ = l.curve.Project(p)
	d := r3.Sub(p, l.curve.At(arc))
	flat := r3.Sub(d, r3.Scale(r3.Dot(d, l.occlusal), l.occlusal))
	f := l.curve.Frame(arc)
	past = math.Abs(r3.Dot(flat, f.T)) > across || r3.Dot(flat, f.U) < 0 && l.turn < wholeTurn
	return arc, r3.Norm(flat), past
}

// newLandmarks finds the midline: the plan's, or else the point of the curve farthest forward along the
// bisector of its two ends, where the curve is a whole arch.
func newLandmarks(p *Placed, curve *reformat.Curve) Landmarks {
	l := Landmarks{curve: curve, occlusal: p.Occlusal, midline: math.NaN(), Leftward: 1}
	head := p.Occlusal // toward the patient's head
	if p.Jaw == Maxilla {
		head = r3.Scale(-1, head)
	}
	f := curve.Frame(curve.Length() / 2)
	// Going round an arch from the right end to the left, forward, across and back, one goes along head × buccal.
	if r3.Dot(f.T, r3.Cross(head, f.U)) < 0 {
		l.Leftward = -1
	}
	l.turn = turning(curve, p.Occlusal)
	if p.Midline != nil {
		l.midline, _ = curve.Project(*p.Midline)
		l.doubt = givenMidline
	} else if at := foremost(curve, p.Occlusal); l.turn >= leastTurning && l.twoSided(at) {
		l.midline, l.doubt = at, foundMidline
	}
	return l
}

// twoSided reports whether the arc length lies well within the curve: 15 mm from both ends, and, on a curve that
// is no whole arch, about as far from one as from the other; half an arch that runs past the midline does not.
func (l Landmarks) twoSided(at float64) bool {
	short, long := min(at, l.curve.Length()-at), max(at, l.curve.Length()-at)
	return short >= leastHalf && (l.turn >= wholeTurn || short >= leastBalance*long)
}

// archSamples is the distance between the places at which the curve's shape is looked at, mm.
const archSamples = 0.5

// turning returns how far the tangent turns about the occlusal direction from end to end, radians.
func turning(c *reformat.Curve, occlusal r3.Vec) float64 {
	n := int(c.Length()/archSamples) + 1
	sum := 0.0
	last := c.Tangent(0)
	for i := 1; i <= n; i++ {
		t := c.Tangent(c.Length() * float64(i) / float64(n))
		sum += math.Atan2(r3.Dot(r3.Cross(last, t), occlusal), r3.Dot(last, t))
		last = t
	}
	return math.Abs(sum)
}

// foremost returns the arc length of the point farthest along the bisector of the first tangent and the
// reversed last one, mm.
func foremost(c *reformat.Curve, occlusal r3.Vec) float64 {
	forward := r3.Sub(c.Tangent(0), c.Tangent(c.Length()))
	forward = r3.Sub(forward, r3.Scale(r3.Dot(forward, occlusal), occlusal))
	best, at := math.Inf(-1), 0.0
	n := int(c.Length()/archSamples) + 1
	for i := range n + 1 {
		s := c.Length() * float64(i) / float64(n)
		if d := r3.Dot(c.At(s), forward); d > best {
			best, at = d, s
		}
	}
	return at
}

// Known reports whether the midline is.
func (l Landmarks) Known() bool { return !math.IsNaN(l.midline) }

// FromMidline returns how far arc length s lies from the midline, positive to the patient's left, mm;
// NaN where the midline is not known.
func (l Landmarks) FromMidline(s float64) float64 { return l.Leftward * (s - l.midline) }

// Side returns the patient's side of arc length s, by the midline, or without one by the direction in
// which the arch runs there: forward on the right, back on the left; nothing too near the midline, or
// where the arch runs across, as in front. Heads turned by less than 45° are told.
func (l Landmarks) Side(s float64) Side {
	if l.Known() {
		switch from := l.FromMidline(s); {
		case from <= -l.doubt:
			return Right
		case from >= l.doubt:
			return Left
		}
		return ""
	}
	switch back := l.backward(s); {
	case l.turn < nearlyStraight:
		return ""
	case back > math.Sqrt2/2:
		return Left
	case back < -math.Sqrt2/2:
		return Right
	}
	return ""
}

// backward returns the part of the arch's direction, from the patient's right to the left, that runs
// toward the patient's back: −1 to 1.
func (l Landmarks) backward(s float64) float64 { return l.Leftward * l.curve.Tangent(s).Y }

// A tooth's place along the ridge: arc length from the midline to the middle of the site on its own side,
// mm. usual is the mean of a model of crown widths, ridge offset and crowding; low and high hold 99 % of
// it, a midline 5 mm off and 12 % of mesial drift included, rounded outwards. They tell two teeth, not
// one.
//
// Source: crown widths: Moorrees et al., J Dent Res 1957;36:39–47, doi 10.1177/00220345570360011501 (from
// memory), and textbook means (second-hand); checked against perimeters by Kareem et al., Comput Math
// Methods Med 2020:8869996, doi 10.1155/2020/8869996 (abstract read). The third molar is judgement.
type toothPlace struct{ usual, low, high float64 }

var toothPlaces = map[Jaw][9]toothPlace{
	Maxilla:  {1: {4.1, -4, 12}, {11.2, 4, 19}, {17.7, 9, 27}, {24.3, 14, 35}, {30.5, 18, 42}, {38.8, 25, 52}, {48.8, 34, 63}, {58, 42, 75}},
	Mandible: {1: {2.6, -5, 11}, {8.1, 1, 16}, {14.3, 6, 23}, {20.8, 11, 31}, {27.5, 15, 39}, {36.5, 23, 49}, {47.2, 33, 61}, {57, 42, 75}},
}

// toothGap is the distance between the middles of a tooth and the next one behind it on the same side,
// mm, 99 % of the same model; the last pair is judgement.
type toothGap struct{ low, high float64 }

var toothGaps = map[Jaw][8]toothGap{
	Maxilla:  {1: {5.2, 9.1}, {4.4, 8.6}, {3.7, 8.3}, {2.1, 7.7}, {6.9, 9.7}, {8.4, 11.6}, {5, 14}},
	Mandible: {1: {3.9, 7.1}, {4.3, 8.1}, {3.6, 8.1}, {2.7, 8.2}, {7.5, 10.5}, {9.0, 12.4}, {5, 14}},
}

// NearestTooth returns the number of the tooth whose usual place is nearest to mm from the midline.
func NearestTooth(jaw Jaw, mm float64) int {
	best, number := math.Inf(1), 0
	for n := 1; n <= 8; n++ {
		if d := math.Abs(toothPlaces[jaw][n].usual - mm); d < best {
			best, number = d, n
		}
	}
	return number
}

// placed reports whether the site says where it is, in one way; otherwise that is a fault already.
func (s Site) placed() bool { return (s.At != nil) != (s.ArcMM != nil) }

// SiteArc returns the arc length at which a site stands on the curve, in mm.
func SiteArc(curve *reformat.Curve, s Site) float64 {
	if s.ArcMM != nil {
		return *s.ArcMM
	}
	arc, _ := curve.Project(*s.At)
	return arc
}
