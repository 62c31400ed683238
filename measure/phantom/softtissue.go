package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Everything round the bone is drawn to look right and to give the bone's edge its true
// neighbours (mucosa, then air or soft tissue). Nothing here enters the truth.

// softBody is the soft tissue other than the mucosa of the ridge: floor of the mouth and vestibule, lips and
// cheeks held off the teeth, tongue, and all outside of that within the skin. Signed, mm.
func (h *shape) softBody(pl *place, p r3.Vec) float64 {
	cos, _ := pl.cosines()
	sulcus := -6.5 + 0.5*cos
	floor := pl.v - sulcus
	if pl.u < -2 {
		floor += 0.25 * max(-8, pl.u+2) // the floor of the mouth lies a little higher inside
	}
	cheek := math.Abs(pl.u-17) - 7.5
	tongue := max(pl.u+9.5, pl.v-9+0.012*p.X*p.X)
	if h.kind == Maxilla { // the tongue lies low under the palate
		tongue = max(pl.u+9, 9-pl.v+0.01*p.X*p.X)
	}
	d := smoothMin(smoothMin(floor, cheek, 4), tongue, 3)
	skin := max(pl.u-24.5, -(pl.v + 38))
	return max(d, skin)
}

// fat is the fat of the cheeks and under the skin. Signed, mm, its borders wavy.
func (h *shape) fat(pl *place, p r3.Vec) float64 {
	if at := 0.31*p.Z + 0.4; pl.height.z != at {
		pl.height.z, pl.height.sin = at, math.Sin(at)
	}
	_, cos := pl.cosines()
	wave := 0.8*cos*pl.height.sin + 0.6*math.Sin(0.37*p.Y-0.19*p.Z+0.5)
	layer := math.Abs(pl.u-19.5-0.5*wave) - 2.2 - wave
	deep := math.Abs(pl.v+31+wave) - 2
	if h.kind == Maxilla {
		return layer
	}
	return min(layer, max(deep, math.Abs(p.X)-22))
}

// airway is the air of the throat. Signed, mm.
func (h *shape) airway(p r3.Vec) float64 {
	f := math.Hypot(p.X/11, (p.Y-46)/6)
	return (f - 1) * 6
}

// nasal is the nasal cavity, rounded below: (x/w)⁴ + ((v−v₀)/h)² = 1. Signed, mm, to first
// order: exact on the surface. Its floor at the midline lies NasalDepth below the arch's crest.
func (h *shape) nasal(p r3.Vec) float64 {
	if h.kind == Mandible {
		return math.Inf(1)
	}
	const tall = 30.0
	width := func(y float64) float64 { return 13 * h.s.Arch * (1 - 0.7*ramp(-y, 34, 45)) } // narrower in the nose itself
	half := width(p.Y)
	x := p.X / half
	z := (p.Z - (archDepth - h.s.NasalDepth - tall)) / tall
	f := x*x*x*x + z*z - 1
	gx, gz := 4*x*x*x/half, 2*z/tall
	gy := gx * x * (width(p.Y+1e-3) - half) / 1e-3
	d := f / max(0.03, math.Sqrt(gx*gx+gy*gy+gz*gz))
	if f < 0 {
		d = max(d, half*(math.Abs(x)-1))
	}
	return max(d, -43-p.Y)
}

// turbinates are the septum and two conchae. Signed, mm.
func (h *shape) turbinates(p r3.Vec) float64 {
	base := archDepth - h.s.NasalDepth
	bow := 0.8 * math.Sin(0.12*p.Z)
	septum := max(math.Abs(p.X-bow)-1.1, -30-p.Y)
	x := math.Abs(p.X) - 8
	concha := math.Hypot(x+0.25*(p.Z-base+9), 0.6*(p.Z-base+9)) - 2.6
	concha = max(concha, -18-p.Y)
	return min(septum, concha)
}

// palate is the bony palate between the two ridges, before it is blended into them. Signed, mm.
func (h *shape) palate(pl *place, p r3.Vec) float64 {
	mid := archDepth - h.s.NasalDepth + 1.6 - 0.004*p.X*p.X
	return max(max(math.Abs(p.Z-mid)-1.9, pl.u), p.Y-30)
}
