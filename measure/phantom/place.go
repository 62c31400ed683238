package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// column is what all points over one point of the arch plane share. An upright grid meets the
// same columns in every plane; a place that finds its column known does not compute it again.
type column struct {
	px, py float64 // the jaw's frame, mm
	known  int     // unknown, footKnown or stationKnown
	foot
	perX    float64 // mm along the arch at this offset per mm of abscissa
	st, dst station // the station and its derivative by x
	sin     float64 // of the tilt
	cos     float64
	ahead   station // the station aheadBy further along x, sine and cosine of its tilt
	aheadS  float64
	aheadC  float64
	waves   bool    // whether the two cosines are known
	floor   float64 // cosine of softBody
	cheek   float64 // cosine of fat
}

const (
	unknown = iota
	footKnown
	stationKnown
)

const (
	nowhere = iota
	onArch
	inSection
)

const aheadBy = 1e-4 // mm of x; the derivative of F along the arch is a difference over it

// place is a point's place on the arch and in its station.
type place struct {
	*column
	p                r3.Vec // the point, the jaw's frame, mm
	stage            int    // how much of the rest is found for p: nowhere, onArch or inSection
	v                float64
	a, b             float64
	wb, wl           graph   // walls at a
	aheadA, aheadB   float64 // the same, seen from the station ahead
	aheadWb, aheadWl float64
	moved            station                  // where Newton's step leads
	height           struct{ z, sin float64 } // the sine of fat at this height
}

// put finds the place of p.
func (h *shape) put(p r3.Vec, pl *place) {
	h.project(p, pl)
	h.section(pl)
}

// project finds the column of p: its foot on the arch.
func (h *shape) project(p r3.Vec, pl *place) {
	if pl.column == nil {
		pl.column = new(column)
	}
	pl.v = p.Z
	c := pl.column
	if c.known != unknown && c.px == p.X && c.py == p.Y {
		return
	}
	c.px, c.py, c.known, c.waves = p.X, p.Y, footKnown, false
	c.foot = h.arch.foot(p.X, p.Y)
}

// cosines finds the cosines of the soft tissues' waves, which are the same all over a column.
func (c *column) cosines() (floor, cheek float64) {
	if !c.waves {
		c.waves, c.floor, c.cheek = true, math.Cos(0.15*c.px), math.Cos(0.23*c.px)
	}
	return c.floor, c.cheek
}

// section finds the place in its station; project has found the column.
func (h *shape) section(pl *place) {
	c := pl.column
	if c.known < stationKnown {
		c.known = stationKnown
		c.perX = c.speed * max(0.2, 1+c.u/c.radius)
		h.table.blend(c.foot.x, &c.st, &c.dst)
		c.sin, c.cos = math.Sincos(c.st[pTilt])
		c.aheadS, c.aheadC = c.shift(aheadBy, &c.ahead)
	}
	pl.a, pl.b = c.st.ridge(c.u, pl.v, c.sin, c.cos)
	pl.wb, pl.wl = c.st.walls(pl.a)
	pl.aheadA, pl.aheadB = c.ahead.ridge(c.u, pl.v, c.aheadS, c.aheadC)
	pl.aheadWb, pl.aheadWl = c.ahead.halves(pl.aheadA)
}

// shift sets st to the station dx mm of x further on, to first order, and returns sine and
// cosine of its tilt.
func (c *column) shift(dx float64, st *station) (sin, cos float64) {
	for i := range st {
		st[i] = c.st[i] + dx*c.dst[i]
	}
	turn := st[pTilt] - c.st[pTilt]
	return c.sin + turn*c.cos, c.cos - turn*c.sin
}

// slope returns F of surface r at a place and its gradient along arch, offset and height.
func (pl *place) slope(r func(*station) contour) (v implicit, gs, gu, gv float64) {
	surface := r(&pl.st)
	v = surface.at(pl.a, pl.b, pl.wb, pl.wl)
	gu = v.fa*pl.sin + v.fb*pl.cos
	gv = -v.fa*pl.cos + v.fb*pl.sin
	surface = r(&pl.ahead)
	gs = (surface.value(pl.aheadA, pl.aheadB, pl.aheadWb, pl.aheadWl) - v.f) / aheadBy / pl.perX
	return v, gs, gu, gv
}

// step returns F of surface r at a place moved by (dx, du, dv) mm, to first order in dx:
// dx is the small part of a step toward a surface, which runs along the arch.
func (pl *place) step(r func(*station) contour, dx, du, dv float64) implicit {
	st := &pl.moved
	sin, cos := pl.shift(dx, st)
	a, b := st.ridge(pl.u+du, pl.v+dv, sin, cos)
	wb, wl := st.walls(a)
	surface := r(st)
	return surface.at(a, b, wb, wl)
}

// distance returns the signed distance from a place to the station surface r, mm, and the sum of
// its principal curvatures there, 1/mm, positive where convex. Two Newton steps along the
// gradient of F: the error is of third order in the distance over the radius of curvature.
// Inside it is bounded by the chord distance, so that a tile's test is safe.
func (pl *place) distance(r func(*station) contour) (d, bend float64) {
	v, gs, gu, gv := pl.slope(r)
	g2 := gs*gs + gu*gu + gv*gv + 1e-12
	d = v.f / math.Sqrt(g2)
	t := -v.f / g2
	if v.inside > 0 && d < -v.inside { // near the ridge's middle F is flat: no step past the wall
		t *= -v.inside / d
		d = -v.inside
	}
	if d > newtonReach || d < -newtonReach {
		return d, 0
	}
	su, sv, ss := t*gu, t*gv, t*gs
	w := pl.step(r, ss/pl.perX, su, sv)
	hu := w.fa*pl.sin + w.fb*pl.cos
	hv := -w.fa*pl.cos + w.fb*pl.sin
	h2 := gs*gs + hu*hu + hv*hv + 1e-12
	t = -w.f / h2
	su, sv, ss = su+t*hu, sv+t*hv, ss+t*gs
	e := math.Copysign(math.Sqrt(su*su+sv*sv+ss*ss), v.f)
	if math.Abs(e) > 2*math.Abs(d)+0.5 { // the steps diverged: far from a strongly curved place
		return d, 0
	}
	if v.inside > 0 {
		e = max(e, -v.inside)
	}
	bend = w.bend() + hu/math.Sqrt(h2)/max(2, pl.radius+pl.u+su)
	return e, max(-0.7, min(1.5, bend))
}

// newtonReach is the distance, mm, within which a distance is refined.
const newtonReach = 2.5
