package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// plainPaint paints all layers one over the other, far or near, whether they can be seen or not.
func plainPaint(h *shape, l *layers, g *Levels, sigma float64, t *texture, p r3.Vec) float64 {
	in := func(i int, off float64) float64 { return soften((l.d[i] - off + sigma*sigma*l.bend[i]/2) / sigma) }
	over := func(v *float64, share, grey float64) { *v += share * (grey - *v) }
	v := g.Air
	over(&v, in(lSoft, 0), g.Soft+in(lFat, 0)*(g.Fat-g.Soft))
	over(&v, in(lAirway, 0), g.Air)
	over(&v, in(lMucosa, 0), g.Soft)
	bare, bone := v, in(lBone, 0)
	over(&v, bone, g.Cortex)
	m := in(lMarrow, 0)
	if m > 0 {
		m -= soften((l.marrowWidth + l.d[lMarrow]) / sigma)
	}
	v += max(0, min(m, bone)) * (g.Marrow + t.at(p) - g.Cortex)
	wall := func() float64 { return v + bone*(g.Cortex-v) }
	w := wall()
	v += in(lCanal, 0)*(w-v) + in(lCanal, -h.s.CanalWall)*(g.Soft-w)
	if h.kind == Maxilla {
		w = wall()
		v += in(lSinus, h.s.SinusFloor)*(w-v) + (1-in(lSeptum, 0))*in(lSinus, 0)*(g.Soft-w) +
			(1-in(lSeptum, h.s.SinusMucosa))*in(lSinus, -h.s.SinusMucosa)*(g.Air-g.Soft)
		w = wall()
		v += in(lNasal, h.s.SinusFloor)*(w-v) + in(lNasal, 0)*(g.Soft-w) + in(lNasal, -nasalSoft)*(g.Air-g.Soft)
		v += in(lNasal, 0) * in(lTurbinate, 0) * (g.Soft - v)
	}
	w = v + (1-h.healing)*bone*(g.Cortex-v)
	fill := bare + bone*(g.Soft+h.healing*(g.Marrow-g.Soft)-bare)
	v += in(lSocket, socketWall)*(w-v) + in(lSocket, 0)*(fill-w)
	w = wall()
	space := w + bone*(g.Soft-w)
	v += in(lRoot, lamina)*(w-v) + in(lRoot, ligament)*(space-w) + in(lRoot, 0)*(g.Dentine-space)
	for _, c := range [][2]float64{{lCrown, g.Enamel}, {lCore, g.Dentine}, {lPulp, g.Soft}, {lMetal, g.Metal}} {
		over(&v, in(int(c[0]), 0), c[1])
	}
	if math.IsNaN(v) {
		panic("phantom: not a number")
	}
	return v
}
