package accuracy_test

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// A place is where a section lies in the patient.
type place struct {
	centre            r3.Vec // the site
	buccal, up, along r3.Vec
	radius            float64 // of the arch, mm; 0: straight
	tooth             string  // ISO 3950
}

// positions are teeth with the direction of buccal, on the left; the right mirrors it.
var positions = []struct {
	name   string
	buccal r3.Vec
}{
	{"6", r3.Vec{X: 1}}, {"5", r3.Vec{X: 1, Y: -0.2}}, {"7", r3.Vec{X: 1, Y: 0.1}},
	{"1", r3.Vec{X: 0.2, Y: -1}}, {"3", r3.Vec{X: 0.8, Y: -0.8}},
}

// drawPlace puts a jaw into a patient; at least four of five maxillas at a tooth under the sinus.
func drawPlace(rng *rand.Rand, maxilla bool) (p place) {
	n := len(positions)
	if maxilla && rng.Float64() < 0.8 {
		n = 3
	}
	t := positions[rng.IntN(n)]
	right := rng.IntN(2) == 1
	quadrant := map[[2]bool]string{{false, false}: "3", {false, true}: "4", {true, false}: "2", {true, true}: "1"}
	p.tooth = quadrant[[2]bool{maxilla, right}] + t.name
	p.up = r3.Unit(r3.Vec{X: rng.NormFloat64() * 0.06, Y: rng.NormFloat64() * 0.06, Z: 1})
	if maxilla {
		p.up = r3.Scale(-1, p.up)
	}
	if right {
		t.buccal.X = -t.buccal.X
	}
	b := r3.Rotate(t.buccal, rng.NormFloat64()*8*math.Pi/180, r3.Vec{Z: 1})
	p.buccal = r3.Unit(r3.Sub(b, r3.Scale(r3.Dot(b, p.up), p.up)))
	p.along = r3.Cross(p.up, p.buccal)
	if rng.IntN(2) == 1 {
		p.along = r3.Scale(-1, p.along)
	}
	if rng.Float64() < 0.7 {
		p.radius = 20 + 20*rng.Float64()
	}
	p.centre = r3.Scale(24+4*rng.Float64(), p.buccal)
	p.centre = r3.Add(p.centre, r3.Vec{X: rng.NormFloat64() * 5, Y: rng.NormFloat64() * 5, Z: rng.NormFloat64() * 20})
	return p
}

// patient returns section point p, s mm along the arch, in the patient.
func (l place) patient(p r2.Vec, s float64) r3.Vec {
	u := p.X
	if l.radius > 0 {
		sin, cos := math.Sincos(s / l.radius)
		u, s = (l.radius+p.X)*cos-l.radius, (l.radius+p.X)*sin
	}
	return r3.Add(r3.Add(l.centre, r3.Scale(p.Y, l.up)), r3.Add(r3.Scale(u, l.buccal), r3.Scale(s, l.along)))
}

// inSection is the inverse of patient.
func (l place) inSection(q r3.Vec) (p r2.Vec, s float64) {
	d := r3.Sub(q, l.centre)
	u, v, s := r3.Dot(d, l.buccal), r3.Dot(d, l.up), r3.Dot(d, l.along)
	if l.radius == 0 {
		return r2.Vec{X: u, Y: v}, s
	}
	return r2.Vec{X: math.Hypot(u+l.radius, s) - l.radius, Y: v}, l.radius * math.Atan2(s, u+l.radius)
}

// arch returns the points a planner would give: on the curve, one of them the site itself.
func (l place) arch() (out []r3.Vec) {
	step, n := 5.0, 4
	if l.radius == 0 {
		step, n = 10, 2
	}
	for i := -n; i <= n; i++ {
		out = append(out, l.patient(r2.Vec{}, float64(i)*step))
	}
	return out
}

// A change is how the section changes along the arch: not at the site, and not without end.
//
//	g = 6·tanh(s/6)
//	v' = v0 + (v−v0)·(1 + high·g) + slope·g
//	u' = u·(1 + wide·g) + g·(shift + lean·(v−v0) + wave·sin(2πv/12))
type change struct{ high, wide, slope, shift, lean, wave, v0 float64 }

func drawChange(rng *rand.Rand, v0 float64) change {
	return change{rng.NormFloat64() * 0.012, rng.NormFloat64() * 0.015, rng.NormFloat64() * 0.04,
		rng.NormFloat64() * 0.03, rng.NormFloat64() * 0.008, rng.NormFloat64() * 0.02, v0}
}

// push returns how far the sides at v move toward buccal, per mm of g.
func (c change) push(v float64) float64 {
	return c.shift + c.lean*(v-c.v0) + c.wave*math.Sin(v*math.Pi/6)
}

// forth returns where section point p of the site is s mm along the arch.
func (c change) forth(p r2.Vec, s float64) r2.Vec {
	g := 6 * math.Tanh(s/6)
	return r2.Vec{X: p.X*(1+c.wide*g) + g*c.push(p.Y), Y: c.v0 + (p.Y-c.v0)*(1+c.high*g) + c.slope*g}
}

// back is the inverse of forth.
func (c change) back(p r2.Vec, s float64) r2.Vec {
	g := 6 * math.Tanh(s/6)
	v := c.v0 + (p.Y-c.v0-c.slope*g)/(1+c.high*g)
	return r2.Vec{X: (p.X - g*c.push(v)) / (1 + c.wide*g), Y: v}
}
