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
	lMucosa
	lBone
	lMarrow
	lCanal
	lSinus
	lSeptum
	lNasal
	lTurbinate
	lSocket
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
	d, bend     [lCount]float64
	marrowWidth float64 // width of the marrow between its walls, mm; negative where they have met
	outside     mask    // layers known to lie far off on their outer side: no share of the point is theirs
	inside      mask    // layers of which the point is wholly a share
	requested   mask    // layers that are computed when they are first read, at place
	place       *place
	reach       float64 // mm; how much further off a chain of capsules is does not matter
}

// request sets the layers of m to be computed at p, a point of the jaw's own frame, when they are read;
// of chains of capsules up to where a level set of theirs lies within reach mm.
func (l *layers) request(p r3.Vec, m mask, pl *place, reach float64) {
	pl.p, pl.stage = p, nowhere
	l.requested, l.place, l.reach = m, pl, reach+lamina+1e-6 // no level set lies further out than the lamina
}

// fill is request, and computes them at once.
func (h *shape) fill(p r3.Vec, m mask, l *layers, pl *place, reach float64) {
	l.request(p, m, pl, reach)
	for rest := m; rest != 0; rest &= rest - 1 {
		h.compute(bits.TrailingZeros32(uint32(rest)), l)
	}
}

// compute finds the distance of layer i.
func (h *shape) compute(i int, l *layers) {
	l.requested &^= 1 << i
	pl := l.place
	p, d, bend := pl.p, &l.d[i], &l.bend[i]
	switch i {
	case lSoft, lFat, lMucosa, lBone, lMarrow, lSinus:
		h.computeAlongArch(i, l)
	case lCanal:
		*d, *bend = within(h.canals, p, l.reach)
	case lSocket:
		*d, *bend = within(h.sockets, p, l.reach)
	case lRoot:
		*d, *bend = within(h.roots, p, l.reach)
	case lCrown:
		*d, *bend = within(h.crowns, p, l.reach)
	case lCore:
		*d, *bend = within(h.shells, p, l.reach)
	case lPulp:
		*d, *bend = within(h.pulps, p, l.reach)
	case lMetal:
		*d, *bend = h.metal(p, l.reach)
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

// computeAlongArch computes the distance of a layer that follows the arch.
func (h *shape) computeAlongArch(i int, l *layers) {
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
	case lMucosa:
		*d, *bend = pl.distance((*station).mucosa)
		if h.kind == Maxilla {
			*d, *bend = join(*d, *bend, h.palate(pl, p)-2.5)
		}
	case lBone:
		*d, *bend = h.bone(p, pl)
	case lMarrow:
		*d, *bend = pl.distance((*station).endosteal)
		l.marrowWidth = pl.wb.y + pl.wl.y - pl.st[pBuccal] - pl.st[pLingual]
	case lSinus:
		*d = math.Inf(1)
		if h.kind == Maxilla {
			*d, *bend = pl.distance((*station).cavity)
		}
	}
}

// bone is the outer surface of the bone: the ridge and, in the maxilla, the palate blended
// into it. Signed distance, mm, and sum of curvatures, 1/mm.
func (h *shape) bone(p r3.Vec, pl *place) (d, bend float64) {
	d, bend = pl.distance((*station).outer)
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
		return []float64{h.s.SinusFloor, 0, -h.s.SinusMucosa}
	case lSeptum:
		return []float64{0, h.s.SinusMucosa}
	case lNasal:
		return []float64{h.s.SinusFloor, 0, -nasalSoft}
	case lSocket:
		return []float64{socketWall, 0}
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
	const exact = 1<<lCanal | 1<<lSeptum | 1<<lSocket | 1<<lRoot | 1<<lCrown | 1<<lCore | 1<<lPulp | 1<<lMetal
	refined := mask(1<<lMucosa | 1<<lBone | 1<<lMarrow)
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
