package align

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/spatial/r3"
)

// motion takes a point of the first scan into the second: q = to + grow·R·(p − from).
type motion struct {
	turn     Transform // rotation alone
	from, to r3.Vec    // mm
	grow     float64   // size of the second against the first; 1 in all that is handed on
	mirror   bool      // x is turned round before: only to ask whether a scan is a mirror image
}

func (m motion) apply(p r3.Vec) r3.Vec {
	d := r3.Sub(p, m.from)
	if m.mirror {
		d.X = -d.X
	}
	return r3.Add(m.to, r3.Scale(m.grow, m.turn.Turn(d)))
}

// after returns m followed by a small motion about m.to.
func (m motion) after(by [params]float64) motion {
	w := Rigid("", "", r3.Vec{X: by[0], Y: by[1], Z: by[2]}, r3.Vec{})
	turned, err := m.turn.Then(w)
	if err != nil {
		panic("align: a motion's frames have names: " + err.Error())
	}
	m.turn, m.to, m.grow = turned, r3.Add(m.to, r3.Vec{X: by[3], Y: by[4], Z: by[5]}), m.grow*(1+by[6])
	return m
}

// rigid returns the motion as a transform: what it does about m.from, its size left out.
func (m motion) rigid(from, to string) Transform {
	t := m.turn
	t.From, t.To = from, to
	t.Translation = r3.Sub(m.to, t.Turn(m.from))
	return t
}

// motionOf returns transform t as a motion about the point centre of its frame From.
func motionOf(t Transform, centre r3.Vec) motion {
	turn := t
	turn.From, turn.To, turn.Translation, turn.Spread = "", "", r3.Vec{}, nil
	return motion{turn: turn, from: centre, to: t.Apply(centre), grow: 1}
}

// lever brings turns, shifts and sizes to one scale for the optimiser: what a turn moves at this distance, mm. Our choice, about
// half a jaw; nothing but the number of steps depends on it.
const lever = 40.0

var leverOf = [params]float64{lever, lever, lever, 1, 1, 1, lever}

// climb returns the motion near m at which the mutual information is greatest, and that. number is 6, or 7 with the size
// as the last parameter.
func (n *information) climb(m motion, number int) (motion, float64) {
	here := func(x []float64) (by [params]float64) {
		for q, v := range x {
			by[q] = v / leverOf[q]
		}
		return by
	}
	var last, slope []float64 // asked for together, and wanted one after the other
	nats := 0.0
	ask := func(x []float64) {
		if slices.Equal(x, last) {
			return
		}
		by := here(x)
		value, s := n.at(m.after(by))
		all := ofWhole(by, s.sum())
		last, slope, nats = slices.Clone(x), all[:number], value
		for q := range slope {
			slope[q] /= leverOf[q]
		}
	}
	problem := optimize.Problem{
		Func: func(x []float64) float64 { ask(x); return -nats },
		Grad: func(grad, x []float64) {
			ask(x)
			for q := range grad {
				grad[q] = -slope[q]
			}
		},
	}
	got, err := optimize.Minimize(problem, make([]float64, number), &optimize.Settings{
		GradientThreshold: 1e-7, MajorIterations: 60, Converger: &optimize.FunctionConverge{Absolute: 1e-9, Iterations: 3},
	}, &optimize.BFGS{GradStopThreshold: 1e-7})
	if err != nil && got == nil {
		return m, math.Inf(-1)
	}
	return m.after(here(got.X)), -got.F // where the line search ends early, as on the steps of single points, it has come as far as that
}

// ofWhole turns the slope by a further motion after by into the slope by by itself: a turn added to a turn ω is one by
// J(ω)·dω after it,
//
//	J = sin θ/θ·1 + (1 − sin θ/θ)·aaᵀ + (1 − cos θ)/θ·[a]×,  ω = θ·a
func ofWhole(by, slope [params]float64) [params]float64 {
	w := r3.Vec{X: by[0], Y: by[1], Z: by[2]}
	if angle := r3.Norm(w); angle > 1e-9 {
		a, g := r3.Scale(1/angle, w), r3.Vec{X: slope[0], Y: slope[1], Z: slope[2]}
		s, c := math.Sin(angle)/angle, (1-math.Cos(angle))/angle
		g = r3.Add(r3.Add(r3.Scale(s, g), r3.Scale((1-s)*r3.Dot(a, g), a)), r3.Scale(-c, r3.Cross(a, g))) // Jᵀ·g
		slope[0], slope[1], slope[2] = g.X, g.Y, g.Z
	}
	slope[size] /= 1 + by[size]
	return slope
}
