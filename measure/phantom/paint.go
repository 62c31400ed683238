package phantom

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/spatial/r3"
)

// paint returns the grey value of a point with distances l, every surface softened by an
// isotropic Gaussian of sigma mm (0: sharp). t, if not nil, is the marrow's texture at p.
// A layer that cannot change the value is not read, and so not computed where it is only requested for:
// what hides in a layer without a share, and what would be painted over its own grey value.
func (h *shape) paint(l *layers, g *Levels, sigma float64, t *texture, p r3.Vec) float64 {
	s := shares{h, l, sigma}
	v := g.Air
	if soft := s.in(lSoft, 0); soft != 0 {
		v += soft * (g.Soft + s.in(lFat, 0)*(g.Fat-g.Soft) - v)
	}
	if v != g.Air {
		v += s.in(lAirway, 0) * (g.Air - v)
	}
	if v != g.Soft {
		v += s.in(lMucosa, 0) * (g.Soft - v)
	}
	bone, bare := s.in(lBone, 0), v
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
	v = h.emptied(v, bare, bone, s, g)
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
		room, lumen := 1-s.in(lSeptum, 0), 1-s.in(lSeptum, h.s.SinusMucosa) // shares left by the septum
		v += shell*(wall-v) + room*s.in(lSinus, 0)*(g.Soft-wall) + lumen*s.in(lSinus, -h.s.SinusMucosa)*(g.Air-g.Soft)
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
	if s.l.requested>>i&1 != 0 {
		s.h.compute(i, s.l)
	}
	return s.share(i, off)
}

// marrow is the share of the marrow, which is inside the bone in every share of it.
func (s shares) marrow(bone float64) float64 {
	m := s.in(lMarrow, 0)
	if m > 0 && s.sigma > 0 { // less what lies past the other wall: exact for a slit of marrow
		m -= soften((s.l.marrowWidth + s.l.d[lMarrow]) / s.sigma)
	}
	return min(m, bone)
}

// saturate notes the layers of m that have the whole of the point within all their level sets.
func (s shares) saturate(m mask) {
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
