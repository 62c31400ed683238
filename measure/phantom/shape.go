package phantom

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// shape is the anatomy in the jaw's own frame: patient x and y, and v along z.
type shape struct {
	kind   Kind
	s      Shape
	arch   *arch
	table  *table
	canals []tube // outer surface; with branches
	canal  [2]tube
	exit   [2]tube // mental foramina, one point each
	teeth  []tooth
	roots  []tube // all solids of dentine: roots and crown cores
	crowns []tube // enamel
	pulps  []tube
	metals []tube
	front  tube // incisive canal
	septum *septum
	shells []tube // dentine under the enamel
	levels [lCount][]float64
}

// place is a point's place on the arch and in its station.
type place struct {
	foot
	v        float64
	st, dst  station // the station and its derivative by x
	sin, cos float64 // of the tilt
	a, b     float64
	wb, wl   [3]float64 // walls at a
}

// put finds the place of p.
func (h *shape) put(p r3.Vec, pl *place) {
	pl.foot = h.arch.foot(p.X, p.Y)
	pl.v = p.Z
	h.table.blend(pl.x, &pl.st, &pl.dst)
	pl.sin, pl.cos = math.Sincos(pl.st[pTilt])
	pl.a = pl.st[pLift] - pl.v*pl.cos + pl.u*pl.sin
	pl.b = pl.u*pl.cos + pl.v*pl.sin
	pl.wb, pl.wl = pl.st.walls(pl.a)
}

// slope returns F of surface r at a place and its gradient along arch, offset and height.
func (pl *place) slope(r func(*station) rim) (v implicit, gs, gu, gv float64) {
	v = pl.st.at(r(&pl.st), pl.a, pl.b, pl.wb, pl.wl)
	gu = v.fa*pl.sin + v.fb*pl.cos
	gv = -v.fa*pl.cos + v.fb*pl.sin
	const step = 1e-4 // mm of x; the derivative along the arch by a difference
	w := pl.moved(r, step, 0, 0)
	gs = (w.f - v.f) / step / (pl.speed * max(0.2, 1+pl.u/pl.radius))
	return v, gs, gu, gv
}

// moved returns F of surface r at a place moved by (dx, du, dv) mm, to first order in dx:
// dx is the small part of a step toward a surface, which runs along the arch.
func (pl *place) moved(r func(*station) rim, dx, du, dv float64) implicit {
	st := pl.st
	for i := range st {
		st[i] += dx * pl.dst[i]
	}
	turn := st[pTilt] - pl.st[pTilt]
	sin, cos := pl.sin+turn*pl.cos, pl.cos-turn*pl.sin
	u, v := pl.u+du, pl.v+dv
	a, b := st[pLift]-v*cos+u*sin, u*cos+v*sin
	wb, wl := st.walls(a)
	return st.at(r(&st), a, b, wb, wl)
}

// ring returns the signed distance from a place to the station surface r, mm, and the sum of
// its principal curvatures there, 1/mm, positive where convex. Two Newton steps along the
// gradient of F: the error is of third order in the distance over the radius of curvature.
// Inside it is bounded by the chord distance, so that a tile's test is safe.
func (pl *place) ring(r func(*station) rim) (d, bend float64) {
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
	w := pl.moved(r, ss/(pl.speed*max(0.2, 1+pl.u/pl.radius)), su, sv)
	hu := w.fa*pl.sin + w.fb*pl.cos
	hv := -w.fa*pl.cos + w.fb*pl.sin
	h2 := gs*gs + hu*hu + hv*hv + 1e-12
	t = -w.f / h2
	su, sv, ss = su+t*hu, sv+t*hv, ss+t*gs
	e := math.Copysign(math.Sqrt(su*su+sv*sv+ss*ss), v.f)
	if math.Abs(e) > 2*math.Abs(d)+0.5 { // the steps ran away: far from a wild place
		return d, 0
	}
	if v.inside > 0 {
		e = max(e, -v.inside)
	}
	bend = w.bend() + hu/math.Sqrt(h2)/max(2, pl.radius+pl.u+su)
	return e, max(-0.7, min(1.5, bend))
}

// newtonReach is the distance, mm, within which a ring's distance is refined.
const newtonReach = 2.5

// spot returns the point of the jaw's frame at arc length s and ridge coordinates (a, b),
// where a is counted from the arch plane, not from the crest.
func (h *shape) spot(s, a, b float64) r3.Vec {
	x := h.arch.at(s)
	var st, dst station
	h.table.blend(x, &st, &dst)
	sin, cos := math.Sincos(st[pTilt])
	return h.arch.point(x, a*sin+b*cos, -a*cos+b*sin)
}

// lift returns the depth of the arch plane below the crest at arc length s, mm.
func (h *shape) lift(s float64) float64 {
	var st, dst station
	h.table.blend(h.arch.at(s), &st, &dst)
	return st[pLift]
}

// smoothMin blends two distances over k mm; outside |a−b| < k it is their minimum.
func smoothMin(a, b, k float64) float64 {
	m := min(a, b)
	if t := k - math.Abs(a-b); t > 0 {
		m -= t * t / (4 * k)
	}
	return m
}

// newShape draws the whole anatomy.
func newShape(o Options) *shape {
	s := o.Shape
	r := rand.New(rand.NewPCG(o.Seed, 0x9e3779b97f4a7c15))
	h := &shape{kind: o.Jaw, s: s, arch: newArch(s.Arch)}
	h.table = newTable(h.arch, s, o.Jaw, r)
	if o.Jaw == Mandible {
		h.drawCanals()
	} else {
		h.drawIncisive()
		h.drawSeptum()
	}
	h.drawTeeth(o.Teeth, o.Hard.Streaks != 0)
	for i := range h.levels {
		h.levels[i] = h.offsets(i)
	}
	return h
}

// drawCanals lays the two mandibular canals from the ramus to the mental foramen.
func (h *shape) drawCanals() {
	r := h.s.CanalRadius
	for side, sign := range [2]float64{1, -1} {
		var path []r3.Vec
		for q := 76.0; q >= 25; q -= 2 {
			rise := 0.010 * math.Pow(max(0, q-38), 2)
			dip := 0.6 * ramp(q, 24, 36) * (1 - ramp(q, 36, 50))
			b := -1.2*ramp(q, 27, 40) + 2.4*(1-ramp(q, 24, 31))
			path = append(path, h.spot(sign*q, h.s.CanalDepth+r-archDepth-rise+dip, b))
		}
		tip := path[len(path)-1]
		mouth := h.wall(sign*24.2, h.s.CanalDepth-2.2-archDepth)
		path = append(path, mouth)
		h.canal[side] = tube{path, same(r, len(path))}
		h.exit[side] = tube{[]r3.Vec{mouth}, []float64{r}}
		out := r3.Add(mouth, r3.Scale(2/r3.Norm(r3.Sub(mouth, tip)), r3.Sub(mouth, tip)))
		h.canals = append(h.canals, h.canal[side], tube{[]r3.Vec{mouth, out}, same(r, 2)})
	}
}

// wall returns the point of the buccal wall at arc length s and depth a below the arch plane.
func (h *shape) wall(s, a float64) r3.Vec {
	var st, dst station
	h.table.blend(h.arch.at(s), &st, &dst)
	wb, _ := st.walls(a + st[pLift])
	return h.spot(s, a, wb[0])
}

// drawIncisive lays the incisive canal through the palate.
func (h *shape) drawIncisive() {
	floor := archDepth - h.s.NasalDepth
	y, _, _ := h.arch.y(0)
	h.front = tube{[]r3.Vec{{Y: y + 8, Z: floor + 6}, {Y: y + 10, Z: floor - 2}}, []float64{1.9, 1.5}}
	h.canals = []tube{h.front}
}

func same(v float64, n int) []float64 {
	s := make([]float64, n)
	for i := range s {
		s[i] = v
	}
	return s
}
