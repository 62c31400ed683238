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
	inside  mask    // layers of which the point is wholly a share
	asked   mask    // layers that are computed when they are first read, at place
	place   *place
	reach   float64 // mm; how much further off a chain of capsules is does not matter
}

// ask sets the layers of m to be computed at p, a point of the jaw's own frame, when they are read;
// of chains of capsules up to where a level set of theirs lies within reach mm.
func (l *layers) ask(p r3.Vec, m mask, pl *place, reach float64) {
	pl.p, pl.stage = p, nowhere
	l.asked, l.place, l.reach = m, pl, reach+lamina+1e-6 // no level set lies further out than the lamina
}

// fill is ask, and computes them at once.
func (h *shape) fill(p r3.Vec, m mask, l *layers, pl *place, reach float64) {
	l.ask(p, m, pl, reach)
	for rest := m; rest != 0; rest &= rest - 1 {
		h.answer(bits.TrailingZeros32(uint32(rest)), l)
	}
}

// answer computes the distance of layer i.
func (h *shape) answer(i int, l *layers) {
	l.asked &^= 1 << i
	pl := l.place
	p, d, bend := pl.p, &l.d[i], &l.bend[i]
	switch i {
	case lSoft, lFat, lGum, lBone, lMarrow, lSinus:
		h.answerRinged(i, l)
	case lCanal:
		*d, *bend = within(h.canals, p, l.reach)
	case lRoot:
		*d, *bend = within(h.roots, p, l.reach)
	case lCrown:
		*d, *bend = within(h.crowns, p, l.reach)
	case lCore:
		*d, *bend = within(h.shells, p, l.reach)
	case lPulp:
		*d, *bend = within(h.pulps, p, l.reach)
	case lMetal:
		*d, *bend = within(h.metals, p, l.reach)
	case lSeptum:
		*d, *bend = h.septum.distance(p)
	case lAirway:
		*d = h.airway(p)
	case lNasal:
		*d = h.nasal(p)
	case lTurbinate:
		*d = math.Inf(1)
		if h.kind == Maxilla {
			*d = h.turbinates(p)
		}
	}
}

// answerRinged computes the distance of a layer that follows the arch.
func (h *shape) answerRinged(i int, l *layers) {
	pl := l.place
	p, d, bend := pl.p, &l.d[i], &l.bend[i]
	if pl.stage == nowhere {
		pl.stage = onArch
		h.project(p, pl)
	}
	if pl.stage == onArch && i != lSoft && i != lFat {
		pl.stage = inSection
		h.section(pl)
	}
	switch i {
	case lSoft:
		*d = h.softBody(pl, p)
	case lFat:
		*d = h.fat(pl, p)
	case lGum:
		*d, *bend = pl.ring((*station).gum)
		if h.kind == Maxilla {
			*d, *bend = join(*d, *bend, h.palate(pl, p)-2.5)
		}
	case lBone:
		*d, *bend = h.bone(p, pl)
	case lMarrow:
		*d, *bend = pl.ring((*station).endosteal)
		l.slit = pl.wb.y + pl.wl.y - pl.st[pBuccal] - pl.st[pLingual]
	case lSinus:
		*d = math.Inf(1)
		if h.kind == Maxilla {
			*d, *bend = pl.ring((*station).cavity)
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
// A layer that cannot change the value is not read, and so not computed where it is only asked for:
// what hides in a layer without a share, and what would be painted over its own grey value.
func (h *shape) paint(l *layers, g *Levels, sigma float64, t *grain, p r3.Vec) float64 {
	s := shares{h, l, sigma}
	v := g.Air
	if soft := s.in(lSoft, 0); soft != 0 {
		v += soft * (g.Soft + s.in(lFat, 0)*(g.Fat-g.Soft) - v)
	}
	if v != g.Air {
		v += s.in(lAirway, 0) * (g.Air - v)
	}
	if v != g.Soft {
		v += s.in(lGum, 0) * (g.Soft - v)
	}
	bone := s.in(lBone, 0)
	if bone != 0 {
		v += bone * (g.Cortex - v)
		if m := s.marrow(bone); m > 0 {
			v += m * (g.Marrow + t.at(p) - g.Cortex)
		}
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
	if shell := s.in(lSinus, h.s.SinusFloor); shell > 0 {
		wall := v + bone*(g.Cortex-v)
		room, lumen := 1-s.in(lSeptum, 0), 1-s.in(lSeptum, h.s.Mucosa) // shares left by the septum
		v += shell*(wall-v) + room*s.in(lSinus, 0)*(g.Soft-wall) + lumen*s.in(lSinus, -h.s.Mucosa)*(g.Air-g.Soft)
	}
	if shell := s.in(lNasal, h.s.SinusFloor); shell > 0 {
		wall := v + bone*(g.Cortex-v)
		v += shell*(wall-v) + s.in(lNasal, 0)*(g.Soft-wall) + s.in(lNasal, -nasalSoft)*(g.Air-g.Soft)
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
	h     *shape
	l     *layers
	sigma float64
}

// in is the share of the inner side of layer i's level set off mm outside of its surface.
func (s shares) in(i int, off float64) float64 {
	if s.l.outside>>i&1 != 0 {
		return 0
	}
	if s.l.inside>>i&1 != 0 {
		return 1
	}
	if s.l.asked>>i&1 != 0 {
		s.h.answer(i, s.l)
	}
	return s.share(i, off)
}

// marrow is the share of the marrow, which is inside the bone in every share of it.
func (s shares) marrow(bone float64) float64 {
	m := s.in(lMarrow, 0)
	if m > 0 && s.sigma > 0 { // less what lies past the other wall: exact for a slit of marrow
		m -= soften((s.l.slit + s.l.d[lMarrow]) / s.sigma)
	}
	return min(m, bone)
}

// settle notes the layers of m that have the whole of the point within all their level sets.
func (s shares) settle(m mask) {
	for rest := m &^ (s.l.outside | s.l.inside); rest != 0; rest &= rest - 1 {
		i := bits.TrailingZeros32(uint32(rest))
		whole := true
		for _, off := range s.h.levels[i] {
			whole = whole && s.share(i, off) == 1
		}
		if whole {
			s.l.inside |= 1 << i
		}
	}
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
