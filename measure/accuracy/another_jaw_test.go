package accuracy_test

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
)

// A jaw is all that is drawn at random: the section at the site, its place in the patient, how it
// changes along the arch, and what it is made of.
type jaw struct {
	section
	place
	air        loop // inside the cavity, under its lining; nil: none
	change     change
	mucosa     mucosa
	maxilla    bool
	tilt       float64 // by which the upright section was turned, radians
	floor      float64 // of the sinus below the crest of the upright section, mm
	rim        float64 // thickness of the canal's wall, mm; 0: none
	canalSlope r2.Vec  // mm per mm along the arch

	airGrey, softGrey, marrowGrey, cortexGrey, lumenGrey, rimGrey float64

	texture, grain float64 // of the marrow: SD in grey values, correlation length in mm
}

func between(rng *rand.Rand, a, b float64) float64 { return a + (b-a)*rng.Float64() }

// drawJaw makes a jaw; false when the random shape is none: a cusp, a plate that meets itself, a
// canal in the cortex.
func drawJaw(rng *rand.Rand) (*jaw, bool) {
	j := &jaw{maxilla: rng.IntN(2) == 1}
	j.place = drawPlace(rng, j.maxilla)
	j.drawGreys(rng)
	shape := drawShape(rng, j.maxilla)
	upright := spline(shape.knots(rng), 1800)
	j.tilt = between(rng, -20, 20) * math.Pi / 180
	crest := r2.Vec{X: between(rng, -1.5, 1.5), Y: between(rng, -2, 3)}
	turn := func(p r2.Vec) r2.Vec { return r2.Add(crest, r2.Rotate(p, j.tilt, r2.Vec{})) }
	if !j.drawPlates(rng, upright) || j.maxilla && !j.drawSinus(rng, shape) {
		return nil, false
	}
	j.bone, j.marrow = upright.mapped(turn), j.marrow.mapped(turn)
	j.cavity, j.shell, j.air = j.cavity.mapped(turn), j.shell.mapped(turn), j.air.mapped(turn)
	j.change = drawChange(rng, crest.Y)
	if !j.maxilla && rng.Float64() < 0.65 && !j.drawCanal(rng, turn) {
		return nil, false
	}
	j.drawMucosa(rng)
	return j, true
}

func (j *jaw) drawGreys(rng *rand.Rand) {
	j.airGrey, j.softGrey = between(rng, -1000, -950), between(rng, -20, 90)
	j.marrowGrey, j.cortexGrey = between(rng, 150, 450), between(rng, 1100, 1800)
	j.lumenGrey, j.rimGrey = j.softGrey+between(rng, -20, 40), between(rng, 700, 1200)
	j.texture, j.grain = between(rng, 60, 150), between(rng, 0.3, 0.6)
}

// drawPlates draws the endosteal edge under the outer one, 0.6 to 2.5 mm deep and thicker at the base of
// a mandible; false when either has too sharp a bend.
func (j *jaw) drawPlates(rng *rand.Rand, outer loop) (ok bool) {
	mean, base := between(rng, 0.8, 2), 0.35
	if j.maxilla {
		mean, base = between(rng, 0.7, 1.5), 0
	}
	a, b, p, q := rng.NormFloat64()*0.4, rng.NormFloat64()*0.25, between(rng, 0, 6.28), between(rng, 0, 6.28)
	j.marrow, ok = outer.offset(func(i int) float64 {
		x := 2 * math.Pi * float64(i) / float64(len(outer))
		t := mean + a*math.Sin(x+p) + b*math.Sin(3*x+q) + base*(1-math.Cos(x))
		return -(0.6 + 1.9/(1+math.Exp(-(t-1.55)/0.5)))
	})
	return ok && outer.smooth()
}

// drawCanal draws a canal inside the marrow; false when it is not.
func (j *jaw) drawCanal(rng *rand.Rand, turn func(r2.Vec) r2.Vec) bool {
	t := &tube{radius: between(rng, 1, 1.7)}
	if rng.Float64() < 0.6 {
		j.rim = between(rng, 0.15, 0.4)
	}
	t.centre = turn(r2.Vec{X: between(rng, -2.5, 2.5), Y: -between(rng, 9, 15)})
	j.canalSlope = r2.Vec{X: rng.NormFloat64() * 0.08, Y: rng.NormFloat64() * 0.1}
	t.lean = r2.Scale(1/math.Sqrt(1+r2.Norm2(j.canalSlope)), j.canalSlope)
	j.canal = t
	return j.marrow.contains(t.centre) && j.marrow.distance(t.centre) > t.radius+0.3
}

// canalAt returns the canal's centre s mm along the arch.
func (j *jaw) canalAt(s float64) r2.Vec { return r2.Add(j.canal.centre, r2.Scale(s, j.canalSlope)) }

// A mucosa is the surface between mucosa and air: v = top − drop·(1 − exp(−(u−u0)²/2w²)).
type mucosa struct{ top, drop, u0, w float64 } // mm

func (g mucosa) at(u float64) float64 {
	x := (u - g.u0) / g.w
	return g.top - g.drop*(1-math.Exp(-x*x/2))
}

// above returns how far p lies below the mucosa, mm, in so far as the mucosa is straight there.
func (g mucosa) above(p r2.Vec) float64 {
	v := g.at(p.X)
	slope := (p.X - g.u0) / (g.w * g.w) * (g.top - g.drop - v)
	return (v - p.Y) / math.Hypot(1, slope)
}

// drawMucosa lays the mucosa 1.5–4 mm over the crest and, by dropping less to the sides, nowhere nearer to the
// bone than 1.3 mm.
func (j *jaw) drawMucosa(rng *rand.Rand) {
	top := j.bone[0]
	for _, p := range j.bone {
		if p.Y > top.Y {
			top = p
		}
	}
	j.mucosa = mucosa{top: top.Y + between(rng, 1.5, 4), drop: between(rng, 2, 9), u0: top.X, w: between(rng, 4, 8)}
	for j.mucosa.drop > 0 && !j.mucosaClears(1.3) {
		j.mucosa.drop = max(0, j.mucosa.drop-0.5)
	}
}

func (j *jaw) mucosaClears(least float64) bool {
	for i := -40; i <= 40; i++ {
		u := j.mucosa.u0 + 0.35*float64(i)
		p := r2.Vec{X: u, Y: j.mucosa.at(u)}
		if j.bone.contains(p) || j.bone.distance(p) < least {
			return false
		}
	}
	return true
}
