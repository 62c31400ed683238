package phantom

import "math"

// A station's outline in ridge coordinates: depth a below the crest along the axis, offset b
// across it. The walls are graphs over a, closed at crest and base by elliptical caps:
//
//	B(a) = half + convexity·2x(1−x) + flareB·g(a) − hollowB·h(a)   buccal,  x = a/height
//	L(a) = half + convexity·2x(1−x) + flareL·g(a) − hollowL·h(a)   lingual
//	F(a, b) = (b − (B−L)/2)² − ((B+L)/2)²·E(a)                 < 0 inside
//	E(a) = 1 − (1−(a−top)/cap)₊² − (1−(base−a)/capBase)₊²
//
// with h(a) = (1−((a−level)/reach)²)₊³ and g(a) = x³/(x+5)², x = (a−flareFrom)₊. Where no cap
// acts the width at depth a is B + L: a closed form for tests. The same formula with other
// offsets makes the endosteal surface and the mucosa.
const (
	pLift      = iota // depth of the arch plane below the crest, mm
	pTilt             // rad, positive when the base lies buccal
	pHeight           // crest to base, mm
	pHalf             // half the width, mm
	pConvexity        // extra width half-way down, mm
	pCap              // height of the crest's cap, mm
	pCapBase          // height of the base's cap, mm
	pHollowB          // depth of the buccal hollow, mm
	pHollowL          // depth of the lingual hollow, mm
	pLevel            // depth of the hollows below the crest, mm
	pFlareB           // buccal flare
	pFlareL           // lingual flare
	pFlareFrom        // depth where the flare begins, mm
	pCrest            // cortex at the crest, mm
	pBuccal           // buccal plate, mm
	pLingual          // lingual plate, mm
	pBorder           // cortex at the base, mm
	pMucosa           // thickness of the mucosa over the ridge, mm
	pSinus            // depth of the sinus floor, mm
	pSinusIn          // the sinus's half-width less than the walls', mm
	pCount
)

const (
	hollowReach = 7.0 // half the length of a hollow, mm
	flareSoft   = 5.0 // mm over which a flare sets in
)

// station is the set of parameters at one place of the arch.
type station [pCount]float64

// contour says which of the nested surfaces of a station is meant.
type contour struct{ top, base, cap, capBase, addB, addL float64 }

func (st *station) outer() contour {
	return contour{0, st[pHeight], st[pCap], st[pCapBase], 0, 0}
}

func (st *station) endosteal() contour {
	return contour{st[pCrest], st[pHeight] - st[pBorder], max(st[pCap]-st[pCrest], 0.8),
		max(st[pCapBase]-st[pBorder], 0.8), -st[pBuccal], -st[pLingual]}
}

func (st *station) mucosa() contour {
	g := st[pMucosa]
	return contour{-g, st[pHeight] + g, st[pCap] + g, st[pCapBase] + g, g, g}
}

// cavity is the sinus: its floor at depth pSinus, its walls inside the bone's, open above.
func (st *station) cavity() contour {
	return contour{st[pSinus], 1e3, 5, 1, -st[pSinusIn], -st[pSinusIn]}
}

// implicit is a value of F with its derivatives.
type implicit struct {
	f, fa, fb     float64
	faa, fab, fbb float64
	inside        float64 // chord distance to the nearer wall or cap, mm; negative outside
}

// ridge turns offset u and height v of the arch into ridge coordinates, for a tilt of the given
// sine and cosine.
func (st *station) ridge(u, v, sin, cos float64) (a, b float64) {
	return st[pLift] - v*cos + u*sin, u*cos + v*sin
}

// graph is a function of the depth at one depth, with its first two derivatives.
type graph struct{ y, d1, d2 float64 }

// walls returns B and L at depth a with their first two derivatives.
func (st *station) walls(a float64) (b, l graph) {
	x := st.clamp(a)
	g, h, f := st.halfWidth(x), st.hollow(x), st.flare(x)
	b = graph{y: g.y - st[pHollowB]*h.y + st[pFlareB]*f.y}
	l = graph{y: g.y - st[pHollowL]*h.y + st[pFlareL]*f.y}
	if a > -4 && a < st[pHeight]+4 {
		b.d1, b.d2 = g.d1-st[pHollowB]*h.d1+st[pFlareB]*f.d1, g.d2-st[pHollowB]*h.d2+st[pFlareB]*f.d2
		l.d1, l.d2 = g.d1-st[pHollowL]*h.d1+st[pFlareL]*f.d1, g.d2-st[pHollowL]*h.d2+st[pFlareL]*f.d2
	}
	return b, l
}

// halves returns B and L at depth a alone.
func (st *station) halves(a float64) (b, l float64) {
	x := st.clamp(a)
	g, h, f := st.halfWidth(x).y, st.hollow(x).y, st.flare(x).y
	return g - st[pHollowB]*h + st[pFlareB]*f, g - st[pHollowL]*h + st[pFlareL]*f
}

// clamp keeps the depth within 4 mm of crest and base: beyond, the walls go straight on.
func (st *station) clamp(a float64) float64 { return max(-4, min(st[pHeight]+4, a)) }

// halfWidth is half the width, with its convexity.
func (st *station) halfWidth(a float64) graph {
	height := st[pHeight]
	x := a / height
	return graph{st[pHalf] + 2*st[pConvexity]*x*(1-x), 2 * st[pConvexity] * (1 - 2*x) / height, -4 * st[pConvexity] / (height * height)}
}

// hollow is h(a), the shape of the hollows.
func (st *station) hollow(a float64) (h graph) {
	if y := (a - st[pLevel]) / hollowReach; y > -1 && y < 1 {
		q := 1 - y*y
		h = graph{q * q * q, -6 * y * q * q / hollowReach, (24*y*y*q - 6*q*q) / (hollowReach * hollowReach)}
	}
	return h
}

// flare is g(a), the shape of the flares.
func (st *station) flare(a float64) (g graph) {
	if y := a - st[pFlareFrom]; y > 0 {
		w := y + flareSoft
		g = graph{y * y * y / (w * w), y * y * (y + 3*flareSoft) / (w * w * w), 6 * flareSoft * flareSoft * y / (w * w * w * w)}
	}
	return g
}

// caps is E(a) of a surface.
func (r *contour) caps(a float64) graph {
	t, b := capTerm(a-r.top, r.cap), capTerm(r.base-a, r.capBase)
	return graph{1 - t.y - b.y, t.d1 - b.d1, -t.d2 - b.d2}
}

// capTerm is what a cap of height c takes from E at x from its tip, (1−x/c)₊², with minus its first
// derivative and its second.
func capTerm(x, c float64) (g graph) {
	if y := 1 - x/c; y > 0 {
		g = graph{y * y, 2 * y / c, 2 / (c * c)}
	}
	return g
}

// at evaluates F at (a, b) between the walls there.
func (r *contour) at(a, b float64, bw, lw graph) implicit {
	e := r.caps(a)
	m, m1, m2 := (bw.y+r.addB-lw.y-r.addL)/2, (bw.d1-lw.d1)/2, (bw.d2-lw.d2)/2
	w, w1, w2 := (bw.y+r.addB+lw.y+r.addL)/2, (bw.d1+lw.d1)/2, (bw.d2+lw.d2)/2
	if w < 0.02 {
		return collapsed(r, a, b-m, m1, w, w1)
	}
	sq, sq1, sq2 := w*w, 2*w*w1, 2*(w1*w1+w*w2)
	q, q1, q2 := sq*e.y, sq1*e.y+sq*e.d1, sq2*e.y+2*sq1*e.d1+sq*e.d2
	c := b - m
	v := implicit{f: c*c - q, fa: -2*c*m1 - q1, fb: 2 * c, faa: 2*m1*m1 - 2*c*m2 - q2, fab: -2 * m1, fbb: 2}
	v.inside = -1
	if q > 0 {
		v.inside = min(math.Sqrt(q)-math.Abs(c), min(a-r.top, r.base-a))
	}
	return v
}

// value is F alone.
func (r *contour) value(a, b, bw, lw float64) float64 {
	m, w := (bw+r.addB-lw-r.addL)/2, (bw+r.addB+lw+r.addL)/2
	c := b - m
	if w < 0.02 {
		return collapsed(r, a, c, 0, w, 0).f
	}
	return c*c - w*w*(1-capTerm(a-r.top, r.cap).y-capTerm(r.base-a, r.capBase).y)
}

// collapsed is F where the walls have met: nothing is inside. It is three times the distance to
// the wedge in which they come apart again, or to the caps.
func collapsed(r *contour, a, c, m1, w, w1 float64) implicit {
	v := implicit{f: 3 * (math.Abs(c) - w), fa: -3 * (math.Copysign(1, c)*m1 + w1), fb: math.Copysign(3, c), inside: -1}
	if d := r.top - a; 3*d > v.f {
		v.f, v.fa, v.fb = 3*d, -3, 0
	}
	if d := a - r.base; 3*d > v.f {
		v.f, v.fa, v.fb = 3*d, 3, 0
	}
	return v
}

// bend is the curvature of the outline in the section, 1/mm, positive where it is convex.
func (v implicit) bend() float64 {
	g := v.fa*v.fa + v.fb*v.fb
	if g == 0 {
		return 0
	}
	return (v.faa*v.fb*v.fb - 2*v.fab*v.fa*v.fb + v.fbb*v.fa*v.fa) / (g * math.Sqrt(g))
}
