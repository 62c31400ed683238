package phantom

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Which surface a line is held against.
const (
	outerSurface = iota
	endostealSurface
	sinusSurface  // of the sinus's room: floor, walls and septum
	antrumSurface // of the sinus as if it had no septum
	nasalSurface
	socketSurface
)

// signed returns the signed distance of patient point p to a surface, mm, negative inside.
// It is the function the picture is painted with.
func (j *Jaw) signed(surface int, p r3.Vec, w *place) float64 {
	h := j.shape
	p = j.toJaw(p)
	if surface == nasalSurface {
		return h.nasal(p)
	}
	if surface == socketSurface {
		d, _ := nearest(h.sockets, p)
		return d
	}
	h.put(p, w)
	switch surface {
	case outerSurface:
		d, _ := h.bone(p, w)
		return d
	case endostealSurface:
		d, _ := w.distance((*station).endosteal)
		return d
	case sinusSurface:
		return h.sinus(p, w)
	}
	d, _ := w.distance((*station).cavity)
	return d
}

// crossings returns where the line p + t·dir (dir unit) crosses a surface for t in [lo, hi],
// ascending: steps no longer than 0.05 mm near the surface, then root finding to 1e-9 mm.
func (j *Jaw) crossings(surface int, p, dir r3.Vec, lo, hi float64) []float64 {
	var w place
	f := func(t float64) float64 { return j.signed(surface, r3.Add(p, r3.Scale(t, dir)), &w) }
	var out []float64
	t, v := lo, f(lo)
	for t < hi {
		next := min(hi, t+max(0.05, min(0.5, 0.4*math.Abs(v))))
		nv := f(next)
		if (v < 0) != (nv < 0) {
			out = append(out, root(f, t, next))
		}
		t, v = next, nv
	}
	return out
}

// root finds the zero of f in [a, b], where f changes sign: false position with the Illinois
// rule, and bisection where that is slow.
func root(f func(float64) float64, a, b float64) float64 {
	fa, fb := f(a), f(b)
	if fa == 0 {
		return a
	}
	for i := 0; i < 200 && math.Abs(b-a) > 1e-11; i++ {
		m := (a*fb - b*fa) / (fb - fa)
		if i%4 == 3 || !(m > min(a, b) && m < max(a, b)) {
			m = (a + b) / 2
		}
		fm := f(m)
		switch {
		case fm == 0:
			return m
		case (fm < 0) == (fb < 0):
			fa /= 2
		default:
			a, fa = b, fb
		}
		b, fb = m, fm
	}
	return b
}

// Chord returns where the line p + t·dir (patient, mm; dir need not be a unit vector) enters
// and leaves the outer surface of the bone: the outermost crossings within reach mm of p,
// as distances t in mm along the unit vector of dir. Cavities and canals do not count.
// It returns [ErrNoChord] where the line meets no bone within reach, or bone beyond it.
func (j *Jaw) Chord(p, dir r3.Vec, reach float64) (near, far float64, err error) {
	x := j.crossings(outerSurface, p, r3.Unit(dir), -reach, reach)
	if len(x) < 2 || len(x)%2 == 1 {
		return 0, 0, fmt.Errorf("%w: from %.2f along %.2f, %d crossings within %g mm", ErrNoChord, p, dir, len(x), reach)
	}
	return x[0], x[len(x)-1], nil
}

// Plates returns, for the line of [Jaw.Chord], the thickness of the cortical plate at its
// near and at its far end, in mm along the line: outer edge to endosteal edge. Where the line
// meets no marrow the whole chord is cortex and both are NaN.
func (j *Jaw) Plates(p, dir r3.Vec, reach float64) (near, far float64, err error) {
	a, b, err := j.Chord(p, dir, reach)
	if err != nil {
		return 0, 0, err
	}
	near, far = j.plates(p, r3.Unit(dir), a, b)
	return near, far, nil
}

func (j *Jaw) plates(p, dir r3.Vec, a, b float64) (near, far float64) {
	x := j.crossings(endostealSurface, p, dir, a, b)
	if len(x) < 2 {
		return math.NaN(), math.NaN()
	}
	return x[0] - a, b - x[len(x)-1]
}
