package phantom

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// shape is the anatomy in the jaw's own frame: patient x and y, and v along z.
type shape struct {
	kind    Kind
	s       Shape
	arch    *arch
	table   *table
	canals  []tube // outer surface; with branches
	canal   [2]tube
	exit    [2]tube // mental foramina, one point each
	teeth   []tooth
	roots   []tube // all solids of dentine: roots and crown cores
	crowns  []tube // enamel
	pulps   []tube
	metals  []tube
	bodies  []body  // implants
	bloom   float64 // by how much they are drawn too large all round, mm
	front   tube    // incisive canal
	sockets []tube  // emptied
	healing float64 // of the sockets, 0 to 1
	loop    [2]tube // anterior loops; without points: none
	septum  *septum
	shells  []tube // dentine under the enamel
	levels  [lCount][]float64
}

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
	h.table = newTable(h.arch, o, r)
	if o.Jaw == Mandible {
		h.drawCanals()
	} else {
		h.drawIncisive()
		h.drawSeptum()
	}
	h.drawSockets(o)
	h.drawTeeth(o.Teeth, o.Artefacts.Streaks != 0 && len(o.Implants) == 0)
	h.drawImplants(o)
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
			if h.s.Loop > 0 {
				b = -1.2 * ramp(q, 27, 40) // on, in the middle of the bone
			}
			path = append(path, h.spot(sign*q, h.s.CanalDepth+r-archDepth-rise+dip, b))
		}
		path = append(path, h.drawLoop(side, sign)...)
		tip := path[len(path)-1]
		mouth := h.wall(sign*foramenAt, h.s.CanalDepth-2.2-archDepth)
		path = append(path, mouth)
		h.canal[side] = tube{path, same(r, len(path))}
		h.exit[side] = tube{[]r3.Vec{mouth}, []float64{r}}
		out := r3.Add(mouth, r3.Scale(2/r3.Norm(r3.Sub(mouth, tip)), r3.Sub(mouth, tip)))
		h.canals = append(h.canals, h.canal[side], tube{[]r3.Vec{mouth, out}, same(r, 2)})
	}
}

// foramenAt is the arc length from the midline to the mental foramen, mm.
const foramenAt = 24.2

// drawLoop carries the canal past the foramen, as far as the options say, and back to below it: the points
// that the canal's path goes on with.
func (h *shape) drawLoop(side int, sign float64) []r3.Vec {
	if h.s.Loop == 0 {
		return nil
	}
	r := h.s.CanalRadius
	var path []r3.Vec
	for _, c := range [][3]float64{{0.5, 0.2, 0}, {0.9, 0, 0.4}, {1, -1, 1.2}, {0.9, -1.9, 2}, {0.5, -2.2, 2.5}} { // share of the loop, depth, offset
		path = append(path, h.spot(sign*(foramenAt-c[0]*h.s.Loop), h.s.CanalDepth+r-archDepth+c[1], c[2]))
	}
	h.loop[side] = tube{path, same(r, len(path))}
	return path
}

// wall returns the point of the buccal wall at arc length s and depth a below the arch plane.
func (h *shape) wall(s, a float64) r3.Vec {
	var st, dst station
	h.table.blend(h.arch.at(s), &st, &dst)
	wb, _ := st.halves(a + st[pLift])
	return h.spot(s, a, wb)
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
