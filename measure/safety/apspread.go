package safety

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// ap fills in the anterior–posterior spread: in the occlusal plane, the distance from the
// platform centre of the most anterior implant to the line that touches the distal edges of the
// two most distal platforms, one a side.
//
// Most distal is the highest tooth number of its side; most anterior is the implant furthest
// from that line among all others. The line touches both platforms (circles, seen along the
// occlusal direction as ellipses) on the side away from the other implants.
//
// Source: docs/method.md 4; English 1990 (second-hand).
func (a *Arch) ap(all []Placed, o r3.Vec, opts Options) {
	a.AP = uncertainty.Length{Value: math.NaN()}
	right, left := mostDistal(all, 1, 4), mostDistal(all, 2, 3)
	if len(all) < 3 {
		a.APReason = fmt.Sprintf("anterior–posterior spread needs three implants, there are %d", len(all))
		return
	}
	if right < 0 || left < 0 {
		a.APReason = "anterior–posterior spread needs an implant on each side, with its tooth number"
		return
	}
	front := mostAnterior(bodiesOf(all), right, left, o)
	if front < 0 {
		a.APReason = "the two most distal platforms lie over each other"
		return
	}
	a.APSites = [3]string{all[front].Site, all[right].Site, all[left].Site}
	a.AP = opts.length(all, func(p []Implant) float64 {
		l, _ := distalLine(p, p[front].Platform, right, left, o)
		return l.ahead(p[front].Platform)
	})
}

// mostDistal returns the implant of two quadrants with the highest tooth; −1 where there is none.
func mostDistal(all []Placed, upper, lower int) int {
	at, most := -1, 0
	for i, p := range all {
		quadrant, tooth, ok := fdi(p.Tooth)
		if ok && (quadrant == upper || quadrant == lower) && tooth > most {
			at, most = i, tooth
		}
	}
	return at
}

// mostAnterior returns the implant whose platform lies furthest from the line through the two
// most distal platforms.
func mostAnterior(all []Implant, right, left int, o r3.Vec) int {
	at, most := -1, -1.0
	for i, p := range all {
		if i == right || i == left {
			continue
		}
		if l, ok := distalLine(all, p.Platform, right, left, o); ok && l.ahead(p.Platform) > most {
			at, most = i, l.ahead(p.Platform)
		}
	}
	return at
}

// line is a line in the occlusal plane, by its unit normal (pointing distally) and offset.
type line struct {
	n      r3.Vec
	offset float64 // mm
}

// ahead returns how far x lies in front of the line, mm.
func (l line) ahead(x r3.Vec) float64 { return l.offset - r3.Dot(l.n, x) }

// distalLine returns the line that touches both distal platforms on the side away from front.
//
//	n·c₁ + e₁(n) = n·c₂ + e₂(n),  e(n) = r·√(1 − (n·axis)²), the half-width of a platform along n
//
// solved by turning n step by step; the half-widths change slowly, so few steps do.
func distalLine(all []Implant, front r3.Vec, right, left int, o r3.Vec) (line, bool) {
	p, q := all[right], all[left]
	across := r3.Sub(q.Platform, p.Platform)
	across = r3.Sub(across, r3.Scale(r3.Dot(across, o), o))
	apart := r3.Norm(across)
	if apart < 1e-9 {
		return line{}, false
	}
	t := r3.Scale(1/apart, across)
	b := r3.Cross(o, t)
	if r3.Dot(r3.Sub(front, p.Platform), b) > 0 {
		b = r3.Scale(-1, b)
	}
	n := b
	for range 60 {
		sin := min(max((halfWidth(p, n)-halfWidth(q, n))/apart, -1), 1)
		n = r3.Add(r3.Scale(math.Sqrt(1-sin*sin), b), r3.Scale(sin, t))
	}
	return line{n, r3.Dot(n, p.Platform) + halfWidth(p, n)}, true
}

// halfWidth returns how far the rim of the platform reaches from its centre along n, mm.
func halfWidth(im Implant, n r3.Vec) float64 {
	c := r3.Dot(n, im.Axis)
	return im.Diameter / 2 * math.Sqrt(max(1-c*c, 0))
}

// DistalExtension returns how far a point, the planned end of a prosthesis say, lies behind the
// line that touches the distal edges of the two most distal implants, in the occlusal plane,
// in mm; negative in front of it. Information, not a limit. ok is false where [Arch].AP is not
// known either.
func DistalExtension(all []Placed, occlusal, end r3.Vec, opts Options) (d uncertainty.Length, ok bool) {
	a, err := Spread(all, occlusal, opts)
	if err != nil || a.APReason != "" {
		return uncertainty.Length{Value: math.NaN()}, false
	}
	right, left := mostDistal(all, 1, 4), mostDistal(all, 2, 3)
	front := mostAnterior(bodiesOf(all), right, left, r3.Unit(occlusal))
	return opts.length(all, func(p []Implant) float64 {
		l, _ := distalLine(p, p[front].Platform, right, left, r3.Unit(occlusal))
		return -l.ahead(end)
	}), true
}

// fdi splits an ISO 3950 tooth number into quadrant 1…4 and tooth 1…8.
func fdi(tooth string) (quadrant, number int, ok bool) {
	if len(tooth) != 2 || tooth[0] < '1' || tooth[0] > '4' || tooth[1] < '1' || tooth[1] > '8' {
		return 0, 0, false
	}
	return int(tooth[0] - '0'), int(tooth[1] - '0'), true
}
