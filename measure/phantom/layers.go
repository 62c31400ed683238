package phantom

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"
)

// The layers of the picture, painted in this order over air. A layer is a signed distance to
// a surface; where several nested surfaces share it (a tube and its wall), offsets of it.
const (
	lSoft = iota
	lFat
	lAirway
	lGum
	lBone
	lMarrow
	lCanal
	lSinus
	lSeptum
	lNasal
	lTurbinate
	lRoot
	lCrown
	lCore
	lPulp
	lMetal
	lCount
)

const (
	ligament  = 0.22 // width of the ligament space round a root, mm
	lamina    = 0.55 // outer side of the cortical wall of a socket, mm from the root
	nasalSoft = 1.0  // lining of the nose, mm
)

// mask says which layers still have to be computed.
type mask uint32

// layers are the distances at one point and the sums of principal curvatures there.
type layers struct {
	d, bend [lCount]float64
	slit    float64 // width of the marrow between its walls, mm; negative where they have met
	outside mask    // layers known to lie far off on their outer side: no share of the point is theirs
}

// fill computes the distances that m asks for at p, a point of the jaw's own frame.
func (h *shape) fill(p r3.Vec, m mask, l *layers, pl *place) {
	const ringed = 1<<lGum | 1<<lBone | 1<<lMarrow | 1<<lSinus
	if m&(ringed|1<<lSoft|1<<lFat) != 0 {
		h.project(p, pl)
		if m&ringed != 0 {
			h.section(pl)
		}
		h.fillRinged(p, m, l, pl)
	}
	tubes := [...]struct {
		layer int
		list  []tube
	}{{lCanal, h.canals}, {lRoot, h.roots}, {lCrown, h.crowns}, {lCore, h.shells}, {lPulp, h.pulps}, {lMetal, h.metals}}
	for _, t := range tubes {
		if m&(1<<t.layer) != 0 {
			l.d[t.layer], l.bend[t.layer] = nearest(t.list, p)
		}
	}
	if m&(1<<lSeptum) != 0 {
		l.d[lSeptum], l.bend[lSeptum] = h.septum.distance(p)
	}
	if m&(1<<lAirway) != 0 {
		l.d[lAirway] = h.airway(p)
	}
	if m&(1<<lNasal) != 0 {
		l.d[lNasal] = h.nasal(p)
	}
	if m&(1<<lTurbinate) != 0 {
		l.d[lTurbinate] = math.Inf(1)
		if h.kind == Maxilla {
			l.d[lTurbinate] = h.turbinates(p)
		}
	}
}

func (h *shape) fillRinged(p r3.Vec, m mask, l *layers, pl *place) {
	if m&(1<<lSoft) != 0 {
		l.d[lSoft] = h.softBody(pl, p)
	}
	if m&(1<<lFat) != 0 {
		l.d[lFat] = h.fat(pl, p)
	}
	if m&(1<<lGum) != 0 {
		l.d[lGum], l.bend[lGum] = pl.ring((*station).gum)
		if h.kind == Maxilla {
			l.d[lGum], l.bend[lGum] = join(l.d[lGum], l.bend[lGum], h.palate(pl, p)-2.5)
		}
	}
	if m&(1<<lBone) != 0 {
		l.d[lBone], l.bend[lBone] = h.bone(p, pl)
	}
	if m&(1<<lMarrow) != 0 {
		l.d[lMarrow], l.bend[lMarrow] = pl.ring((*station).endosteal)
		l.slit = pl.wb.y + pl.wl.y - pl.st[pBuccal] - pl.st[pLingual]
	}
	if m&(1<<lSinus) != 0 {
		l.d[lSinus] = math.Inf(1)
		if h.kind == Maxilla {
			l.d[lSinus], l.bend[lSinus] = pl.ring((*station).cavity)
		}
	}
}

// bone is the outer surface of the bone: the ridge and, in the maxilla, the palate blended
// into it. Signed distance, mm, and sum of curvatures, 1/mm.
func (h *shape) bone(p r3.Vec, pl *place) (d, bend float64) {
	d, bend = pl.ring((*station).outer)
	if h.kind == Maxilla {
		return join(d, bend, h.palate(pl, p))
	}
	return d, bend
}

// join blends a flat neighbour at distance e into a surface at distance d with its curvature.
// In the fillet between the two the result is no longer a distance (its slope falls to 0.7),
// so an edge is softened too much there; its place is right. No truth is taken there.
func join(d, bend, e float64) (float64, float64) {
	const k = 3.0 // mm over which the two blend
	return smoothMin(d, e, k), bend * max(0, min(1, 0.5+(e-d)/(2*k)))
}

// offsets returns the level sets of layer i that the picture uses.
func (h *shape) offsets(i int) []float64 {
	switch i {
	case lCanal:
		return []float64{0, -h.s.CanalWall}
	case lSinus:
		return []float64{h.s.SinusFloor, 0, -h.s.Mucosa}
	case lSeptum:
		return []float64{0, h.s.Mucosa}
	case lNasal:
		return []float64{h.s.SinusFloor, 0, -nasalSoft}
	case lRoot:
		return []float64{lamina, ligament, 0}
	}
	return []float64{0}
}

// near returns the layers of m that have a level set within reach mm of a point with
// distances l, and notes in l which of the others lie on the outer side of all theirs. The chains' distances are exact; a station's are trusted to 0.85 of
// themselves where Newton's steps refine them; those of first order, to 0.6. That holds where
// the sites are; behind them, where rami and tuberosities change within a few millimetres of
// arch, a tile may overlook a surface, and some voxels there are off by a share of an edge.
func (h *shape) near(l *layers, m mask, reach float64) mask {
	const exact = 1<<lCanal | 1<<lSeptum | 1<<lRoot | 1<<lCrown | 1<<lCore | 1<<lPulp | 1<<lMetal
	refined := mask(1<<lGum | 1<<lBone | 1<<lMarrow)
	if h.kind == Maxilla { // where the palate is blended in, a distance is less than it was
		refined = 1 << lMarrow
	}
	var out mask
	for rest := m; rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros32(uint32(rest))
		bit := mask(1) << i
		trust := 0.6
		if exact&bit != 0 {
			trust = 1
		} else if refined&bit != 0 && math.Abs(l.d[i]) < newtonReach {
			trust = 0.85
		} else if i == lSinus || i == lNasal { // they close within a few millimetres
			trust = 0.35
		}
		far, outer := true, true
		for _, off := range h.levels[i] {
			far = far && !(math.Abs(l.d[i]-off)*trust < reach)
			outer = outer && l.d[i] > off
		}
		if !far {
			out |= bit
		} else if outer {
			l.outside |= bit
		}
	}
	return out
}

// paint returns the grey value of a point with distances l, every surface softened by an
// isotropic Gaussian of sigma mm (0: sharp). t, if not nil, is the marrow's texture at p.
func (h *shape) paint(l *layers, g *Levels, sigma float64, t *grain, p r3.Vec) float64 {
	s := shares{l, sigma}
	v := g.Air
	v += s.in(lSoft, 0) * (g.Soft + s.in(lFat, 0)*(g.Fat-g.Soft) - v)
	v += s.in(lAirway, 0) * (g.Air - v)
	v += s.in(lGum, 0) * (g.Soft - v)
	bone := s.in(lBone, 0)
	v += bone * (g.Cortex - v)
	m := s.in(lMarrow, 0)
	if m > 0 && sigma > 0 { // less what lies past the other wall: exact for a slit of marrow
		m -= soften((l.slit + l.d[lMarrow]) / sigma)
	}
	if m = min(m, bone); m > 0 { // marrow is inside the bone, in every share of it
		v += m * (g.Marrow + t.at(p) - g.Cortex)
	}
	if c := s.in(lCanal, 0); c > 0 {
		wall := v + bone*(g.Cortex-v)
		v += c*(wall-v) + s.in(lCanal, -h.s.CanalWall)*(g.Soft-wall)
	}
	if h.kind == Maxilla {
		v = h.hollow(v, bone, s, g)
	}
	const teeth = 1<<lRoot | 1<<lCrown | 1<<lCore | 1<<lPulp | 1<<lMetal
	if l.outside&teeth == teeth {
		return v
	}
	return h.dental(v, bone, s, g)
}

// hollow paints the sinus and the nasal cavity: floor, lining, air. A septum keeps lining and air out
// of the sinus and is lined itself; it is cortex all through.
func (h *shape) hollow(v, bone float64, s shares, g *Levels) float64 {
	for _, c := range [2]struct {
		layer             int
		soft, room, lumen float64 // shares left by the septum
	}{{lSinus, h.s.Mucosa, 1 - s.in(lSeptum, 0), 1 - s.in(lSeptum, h.s.Mucosa)}, {lNasal, nasalSoft, 1, 1}} {
		if shell := s.in(c.layer, h.s.SinusFloor); shell > 0 {
			wall := v + bone*(g.Cortex-v)
			v += shell*(wall-v) + c.room*s.in(c.layer, 0)*(g.Soft-wall) + c.lumen*s.in(c.layer, -c.soft)*(g.Air-g.Soft)
		}
	}
	if open := s.in(lNasal, 0); open > 0 {
		v += open * s.in(lTurbinate, 0) * (g.Soft - v)
	}
	return v
}

// dental paints sockets, roots, crowns and metal.
func (h *shape) dental(v, bone float64, s shares, g *Levels) float64 {
	if wallIn := s.in(lRoot, lamina); wallIn > 0 {
		wall := v + bone*(g.Cortex-v)
		space := wall + bone*(g.Soft-wall)
		v += wallIn*(wall-v) + s.in(lRoot, ligament)*(space-wall) + s.in(lRoot, 0)*(g.Dentine-space)
	}
	v += s.in(lCrown, 0) * (g.Enamel - v)
	v += s.in(lCore, 0) * (g.Dentine - v)
	v += s.in(lPulp, 0) * (g.Soft - v)
	return v + s.in(lMetal, 0)*(g.Metal-v)
}

// shares are the shares that the layers' inner sides have of a point, blurred by sigma mm.
type shares struct {
	l     *layers
	sigma float64
}

// in is the share of the inner side of layer i's level set off mm outside of its surface.
func (s shares) in(i int, off float64) float64 {
	if s.l.outside>>i&1 != 0 {
		return 0
	}
	return s.share(i, off)
}

func (s shares) share(i int, off float64) float64 {
	d := s.l.d[i] - off
	if s.sigma == 0 {
		return step(d)
	}
	// a curved surface moves toward its centre: half sigma² times the curvature's sum
	return soften((d + s.sigma*s.sigma*s.l.bend[i]/2) / s.sigma)
}

func step(d float64) float64 {
	switch {
	case d < 0:
		return 1
	case d > 0:
		return 0
	}
	return 0.5
}

// soften is the Gaussian's share on the inner side: Φ(−x).
func soften(x float64) float64 {
	if x > 4 {
		return 0
	}
	if x < -4 {
		return 1
	}
	return 0.5 * math.Erfc(x/math.Sqrt2)
}
