package phantom

import (
	"math"
	"math/rand/v2"
)

// archDepth is how far below the crest the arch plane lies at a usual station, along the
// ridge's axis, mm: inside the bone, so that the axis passes through the arch itself.
const archDepth = 5.0

// shapeDefaults fills the zero lengths of a shape.
func shapeDefaults(s Shape, k Kind) Shape {
	set := func(v *float64, mandible, maxilla float64) {
		if *v == 0 {
			*v = [2]float64{mandible, maxilla}[k]
		}
	}
	set(&s.Arch, 1, 1)
	set(&s.Width, 7, 7.5)
	set(&s.Height, 28, 34)
	set(&s.CrestCap, s.Width/2, s.Width/2)
	set(&s.Level, 11, 9)
	set(&s.Crest, 1.2, 1.2)
	set(&s.Buccal, 1.6, 1.2)
	set(&s.Lingual, 2, 1.4)
	set(&s.Border, 3, 1.5)
	set(&s.RidgeMucosa, 2, 2)
	set(&s.CanalRadius, 1.6, 1.6)
	set(&s.CanalWall, 0.4, 0.4)
	set(&s.CanalDepth, 14, 14)
	set(&s.SinusDepth, 9, 9)
	set(&s.SinusFloor, 0.8, 0.8)
	set(&s.NasalDepth, 18, 18)
	set(&s.SeptumThick, 1.2, 1.2)
	if s.SeptumTooth == 0 {
		s.SeptumTooth = 26
	}
	s.CanalWall = max(0, s.CanalWall)
	return s
}

// ramp rises smoothly from 0 at x0 to 1 at x1.
func ramp(x, x0, x1 float64) float64 {
	t := max(0, min(1, (x-x0)/(x1-x0)))
	return t * t * t * (10 - t*(15-6*t))
}

// wave is a slow seeded function of the arc length, of mean 0 and about unit size.
type wave [3]struct{ k, phase float64 }

func newWave(r *rand.Rand) (w wave) {
	for i := range w {
		w[i].k = 2 * math.Pi / (28 + 40*r.Float64())
		w[i].phase = 2 * math.Pi * r.Float64()
	}
	return w
}

func (w wave) at(s float64) float64 {
	sum := 0.0
	for _, c := range w {
		sum += math.Sin(c.k*s + c.phase)
	}
	return sum / math.Sqrt(1.5)
}

// table holds the stations along the arch, blended by a uniform cubic B-spline in x.
type table struct{ knot []station }

func newTable(c *arch, o Options, r *rand.Rand) *table {
	s := o.Shape
	var waves [pCount]wave
	for i := range waves {
		waves[i] = newWave(r)
	}
	t := &table{knot: make([]station, 2*knots+1)}
	for i := range t.knot {
		x := float64(i-knots) * knotStep
		arc := c.length(max(-archEnd, min(archEnd, x)))
		t.knot[i] = design(arc, s, o.Jaw)
		vary(&t.knot[i], arc, s.Variation, waves)
		for _, fdi := range o.Sockets {
			t.knot[i].sink(arc-arcOf(o.Jaw, fdi, s.Arch), o.Healing, healedDepth, healedShare)
		}
		for _, c := range o.Changes {
			t.knot[i].sink(arc-arcOf(o.Jaw, c.Tooth, s.Arch), 1, c.Crest, c.Narrow)
		}
	}
	return t
}

// blend returns the station at abscissa x and its derivative with respect to x.
func (t *table) blend(x float64, st, dst *station) {
	y := x/knotStep + knots
	i := max(1, min(len(t.knot)-3, int(y)))
	f := y - float64(i)
	g := 1 - f
	w := [4]float64{g * g * g / 6, (4 - 6*f*f + 3*f*f*f) / 6, (4 - 6*g*g + 3*g*g*g) / 6, f * f * f / 6}
	d := [4]float64{-g * g / 2, (3*f*f - 4*f) / 2, (4*g - 3*g*g) / 2, f * f / 2}
	k0, k1, k2, k3 := &t.knot[i-1], &t.knot[i], &t.knot[i+1], &t.knot[i+2]
	for q := range st {
		st[q] = w[0]*k0[q] + w[1]*k1[q] + w[2]*k2[q] + w[3]*k3[q]
		dst[q] = (d[0]*k0[q] + d[1]*k1[q] + d[2]*k2[q] + d[3]*k3[q]) / knotStep
	}
}

// design draws the station at arc length arc from the midline.
func design(arc float64, s Shape, k Kind) (st station) {
	q := math.Abs(arc)
	st = station{
		pLift: archDepth, pTilt: s.Tilt * math.Pi / 180, pHeight: s.Height, pHalf: s.Width / 2,
		pConvexity: s.Convexity, pCap: s.CrestCap, pCapBase: 5, pLevel: s.Level, pFlareFrom: 60,
		pCrest: s.Crest, pBuccal: s.Buccal, pLingual: s.Lingual, pBorder: s.Border, pMucosa: s.RidgeMucosa,
		pSinus: 80, pSinusIn: 1.3,
	}
	if k == Maxilla {
		st.maxilla(q, s)
	} else {
		st.mandible(q, s)
	}
	return st
}

// mandible adds what varies along it: the submandibular hollow, the chin, the rising ramus.
func (st *station) mandible(q float64, s Shape) {
	st[pHollowL] = s.Undercut * ramp(q, 24, 36)
	st[pFlareFrom] = 14
	st[pFlareB] = 0.30 * (1 - ramp(q, 3, 14)) // the chin
	ramus := max(0, q-56)
	rise := 0.055 * ramus * ramus / (1 + 0.02*ramus)
	st[pLift] += rise
	st[pHeight] += rise
	st[pTilt] *= 1 - ramp(q, 56, 70)
	st[pHollowL] *= 1 - ramp(q, 54, 64)
}

// maxilla adds the hollow over the front teeth, the sinus and the walls that flare round it.
func (st *station) maxilla(q float64, s Shape) {
	st[pHollowB] = s.Undercut * (1 - ramp(q, 14, 24))
	back := ramp(q, 18, 34)
	st[pFlareFrom] = 7
	st[pFlareB] = 0.55 * back
	st[pFlareL] = 0.35 * back
	st[pCapBase] = 8
	d := q - 43
	st[pSinus] = s.SinusDepth + 0.012*d*d + 40*(1-ramp(q, 16, 23)) + 40*ramp(q, 60, 68)
	st[pSinusIn] = 1.3 + 2*(1-back)
	tuber := ramp(q, 58, 72)
	st[pLift] -= 6 * tuber
	st[pHeight] -= 6 * tuber
	st[pHalf] *= 1 - 0.6*tuber
}

// vary lets the parameters wander along the arch by a share that suits each.
func vary(st *station, arc, amount float64, w [pCount]wave) {
	if amount == 0 {
		return
	}
	share := map[int]float64{pHeight: 0.02, pHalf: 0.08, pCrest: 0.15, pBuccal: 0.15, pLingual: 0.15,
		pBorder: 0.1, pCap: 0.1, pSinus: 0.05, pLevel: 0.05, pHollowB: 0.2, pHollowL: 0.2}
	for i := range st {
		st[i] *= 1 + share[i]*amount*w[i].at(arc)
	}
	rise := 0.8 * amount * w[pLift].at(arc)
	st[pLift] += rise
	st[pHeight] += rise
	st[pTilt] += 2.5 * math.Pi / 180 * amount * w[pTilt].at(arc)
	st[pConvexity] += 0.5 * amount * w[pConvexity].at(arc)
}

// What healing takes from the ridge in the middle of a socket. Our choice, of the order of what is published
// for the first year (common practice, no source): it makes the crest a saddle.
const (
	healedDepth  = 1.5 // of the crest, mm
	healedShare  = 0.2 // of the width
	healedLength = 6.0 // half the length of the saddle along the arch, mm
)

// sink lowers the crest by depth mm and narrows it by a share, at s mm along the arch from a socket's middle, as it
// heals: from 0, not at all, to 1. What is counted from the crest and stays where it is comes nearer to it.
func (st *station) sink(s, healing, depth, share float64) {
	y := s / healedLength
	if healing == 0 || y <= -1 || y >= 1 {
		return
	}
	w := healing * math.Pow(1-y*y, 3)
	for _, i := range []int{pLift, pHeight, pLevel, pSinus} {
		st[i] -= depth * w
	}
	st[pHalf] *= 1 - share*w
}
