package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// septum is a bony wall across the sinus: a slab at right angles to the arch that rises from the
// floor, its free edge rounded by a half circle. Coronal of that edge it has no end: there it lies
// in the bone.
type septum struct {
	edge   r3.Vec  // middle of the rounding, on the ridge's axis; the jaw's frame
	along  r3.Vec  // unit vector along the arch, across the slab
	axis   r3.Vec  // unit vector from the crest into the sinus
	radius float64 // half the thickness, mm
}

// distance returns the signed distance from p to the septum's surface, mm, negative inside, and
// the curvature of the level set there, 1/mm. Without a septum (nil) it is infinitely far.
func (w *septum) distance(p r3.Vec) (d, bend float64) {
	if w == nil {
		return math.Inf(1), 0
	}
	q := r3.Sub(p, w.edge)
	x, y := r3.Dot(q, w.along), r3.Dot(q, w.axis)
	if y <= 0 {
		return math.Abs(x) - w.radius, 0
	}
	r := math.Hypot(x, y)
	return r - w.radius, 1 / max(r, w.radius/2)
}

// drawSeptum raises the septum of the options over the sinus floor.
func (h *shape) drawSeptum() {
	if h.kind != Maxilla || h.s.Septum == 0 {
		return
	}
	s := arcOf(h.kind, h.s.SeptumTooth, h.s.Arch) + h.s.SeptumShift
	var st, dst station
	h.table.blend(h.arch.at(s), &st, &dst)
	root := h.spot(s, 0, 0)
	w := &septum{radius: h.s.SeptumThick / 2}
	w.axis = r3.Unit(r3.Sub(h.spot(s, 1, 0), root))
	w.along = r3.Unit(r3.Cross(w.axis, r3.Sub(h.spot(s, 0, 1), root)))
	w.edge = h.spot(s, st[pSinus]-st[pLift]+h.s.Septum-w.radius, 0)
	h.septum = w
}

// sinus is the signed distance of p, a point of the jaw's frame with its place, to the bone round
// the sinus's room, mm, negative in the room: the cavity less the septum.
func (h *shape) sinus(p r3.Vec, pl *place) float64 {
	d, _ := pl.distance((*station).cavity)
	w, _ := h.septum.distance(p)
	return max(d, -w)
}

// besideSeptum returns the height from the crest to the sinus floor beside the septum whose bone
// the axis l runs into, as if it were not there, mm; 0: the axis meets no septum.
func (j *Jaw) besideSeptum(l line) float64 {
	x := j.crossings(antrumSurface, l.crest, l.axis, 0.5, along)
	if len(x) == 0 {
		return 0
	}
	if d, _ := j.shape.septum.distance(j.toJaw(r3.Add(l.crest, r3.Scale(x[0], l.axis)))); d >= 0 {
		return 0
	}
	return x[0]
}
