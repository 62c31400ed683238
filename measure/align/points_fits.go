package align

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/uncertainty"
)

// The ways in which one set is laid on the other. Each is asked again with each coordinate and each axis moved by its
// standard uncertainty: what that moves is the budget.

// fitter lays from on to; the two name the same implants in the same order.
type fitter func(from, to []Position) (Transform, error)

// bestFit is the least squares of all platforms.
func bestFit(from, to []Position) (Transform, error) {
	f, err := FitPoints(places(from), places(to))
	return f.Transform, err
}

// dropFit is the least squares of all platforms but the i-th.
func dropFit(i int) fitter {
	return func(from, to []Position) (Transform, error) {
		f, err := FitPoints(places(without(from, i)), places(without(to, i)))
		return f.Transform, err
	}
}

func without(list []Position, i int) []Position {
	return append(append(make([]Position, 0, len(list)-1), list[:i]...), list[i+1:]...)
}

// oneEndFit copies what one screw does at the bench: the platform and the axis of the implant end are brought together,
// and the turn about that axis brings the next implant, towards, into line.
func oneEndFit(end, towards int) fitter {
	return func(from, to []Position) (Transform, error) {
		a, err := frameAt(from[end], from[towards])
		if err != nil {
			return Transform{}, err
		}
		b, err := frameAt(to[end], to[towards])
		if err != nil {
			return Transform{}, err
		}
		var t Transform
		for i := range 3 {
			for j := range 3 {
				for k := range 3 {
					t.Rotation[i][j] += coordinates(b[k])[i] * coordinates(a[k])[j]
				}
			}
		}
		t.Translation = r3.Sub(to[end].At, t.Turn(from[end].At))
		return t, nil
	}
}

// frameAt returns the axes of a right-handed frame: the implant's axis, the direction to the other one across it, and
// what is perpendicular to both.
func frameAt(p, other Position) ([3]r3.Vec, error) {
	d := across(r3.Sub(other.At, p.At), p.Axis)
	if r3.Norm(d) < leastOffLine {
		return [3]r3.Vec{}, fmt.Errorf("%w: implant %s stands in the axis of implant %s: the turn about it is not fixed", ErrPoints, other.Name, p.Name)
	}
	d = r3.Unit(d)
	return [3]r3.Vec{p.Axis, d, r3.Cross(p.Axis, d)}, nil
}

// Gap is what a fit leaves between an implant of the first set and the same of the second, in the second's frame.
type Gap struct {
	Implant    string
	D          r3.Vec      // platform of the second set less the first's brought over, mm
	Axis       r3.Vec      // the first set's axis brought over, unit
	Other      r3.Vec      // the second set's axis, unit
	Directions *Directions // across Axis; nil: not known
	place, tip spread3     // of D, mm; of Other − Axis, rad
	lean       float64     // standard uncertainty of the first set's axis, rad; NaN: not known
}

// What is uncertain of two sets, in the order of [spread3].
var doubts = [4]string{"platforms of the first set", "axes of the first set", "platforms of the second set", "axes of the second set"}

// spread3 is the covariance of a vector, apart for each of the doubts; known is false where one that counts is not given.
type spread3 struct {
	cov   [4][3][3]float64
	known bool
}

// budget returns the terms of the vector's component along the unit vector dir, scaled; nil where it is not known.
func (s *spread3) budget(dir r3.Vec, scale float64) uncertainty.Budget {
	if !s.known {
		return nil
	}
	d := coordinates(dir)
	b := uncertainty.Budget{}
	for k := range doubts {
		sum := 0.0
		for i := range 3 {
			for j := range 3 {
				sum += d[i] * s.cov[k][i][j] * d[j]
			}
		}
		if k == 0 || sum > 0 { // the first one always: a budget without terms says "not known"
			b = append(b, uncertainty.Term{Name: doubts[k], Std: scale * math.Sqrt(math.Max(0, sum))})
		}
	}
	return b
}

// length returns the budget of the vector's length, scaled.
//
// A length cannot be negative: of a vector that is nothing but error it reads up to 2.8 standard uncertainties of one
// coordinate, in 95 of 100 (χ with 3 degrees of freedom). Up to twice the root of the summed variances the length
// therefore has that root as its standard uncertainty, so that U reaches to 0; beyond, that of its own direction.
func (s *spread3) length(v r3.Vec, scale float64) uncertainty.Budget {
	if !s.known {
		return nil
	}
	total := 0.0
	var traces [4]float64
	for k := range doubts {
		traces[k] = s.cov[k][0][0] + s.cov[k][1][1] + s.cov[k][2][2]
		total += traces[k]
	}
	if n := r3.Norm(v); n > 2*math.Sqrt(total) && n > 0 {
		return s.budget(r3.Scale(1/n, v), scale)
	}
	b := uncertainty.Budget{}
	for k := range doubts {
		if k == 0 || traces[k] > 0 {
			b = append(b, uncertainty.Term{Name: doubts[k], Std: scale * math.Sqrt(traces[k])})
		}
	}
	return b
}

// add adds the outer product of v, which one standard uncertainty of the k-th doubt moves the vector by.
func (s *spread3) add(k int, v r3.Vec) {
	c := coordinates(v)
	for i := range 3 {
		for j := range 3 {
			s.cov[k][i][j] += c[i] * c[j]
		}
	}
}

// gapsOf lays from on to and returns what is left at each implant, with its uncertainty. axes is whether the fit rests on
// axes too.
func gapsOf(fit fitter, axes bool, from, to []Position) (Transform, []Gap, error) {
	t, err := fit(from, to)
	if err != nil {
		return Transform{}, nil, err
	}
	gaps := gapsAt(t, from, to)
	for i, d := range directionsOf(from) {
		if d != nil {
			gaps[i].Directions = &Directions{t.Turn(d.Mesial), t.Turn(d.Buccal)}
		}
	}
	platforms, leans := allKnown(from, to)
	for i := range gaps {
		gaps[i].place.known, gaps[i].tip.known = platforms && (leans || !axes), platforms && leans
		gaps[i].lean = from[i].UAxis * math.Pi / 180
	}
	for k, list := range [][]Position{from, from, to, to} {
		for i := range list {
			for _, step := range stepsOf(list[i], k%2 == 1) {
				moveBy(fit, k, i, step, from, to, gaps)
			}
		}
	}
	return t, gaps, nil
}

// gapsAt returns what transform t leaves between the sets.
func gapsAt(t Transform, from, to []Position) []Gap {
	out := make([]Gap, len(from))
	for i := range from {
		out[i] = Gap{Implant: from[i].Name, D: r3.Sub(to[i].At, t.Apply(from[i].At)), Axis: t.Turn(from[i].Axis), Other: to[i].Axis}
	}
	return out
}

// allKnown reports whether every platform and every axis has an uncertainty.
func allKnown(sets ...[]Position) (platforms, axes bool) {
	platforms, axes = true, true
	for _, list := range sets {
		for _, p := range list {
			platforms, axes = platforms && p.U == p.U, axes && p.UAxis == p.UAxis
		}
	}
	return platforms, axes
}

// stepsOf returns the moves of one standard uncertainty of a position: three of its platform, or two of its axis (rad).
func stepsOf(p Position, axis bool) []r3.Vec {
	switch {
	case axis && p.UAxis > 0:
		x := across(r3.Vec{X: 1}, p.Axis)
		if y := across(r3.Vec{Y: 1}, p.Axis); r3.Norm(y) > r3.Norm(x) {
			x = y
		}
		u := p.UAxis * math.Pi / 180
		x = r3.Scale(u, r3.Unit(x))
		return []r3.Vec{x, r3.Cross(p.Axis, x)}
	case !axis && p.U > 0:
		return []r3.Vec{{X: p.U}, {Y: p.U}, {Z: p.U}}
	}
	return nil
}

// moveBy moves position i of the k-th doubt's set by ± step, lays the sets on each other again and adds half the
// difference to the spread of each gap. A fit that a move makes impossible leaves the spread not known.
//
// Source: JCGM 100:2008, 5.1.3 note 2.
func moveBy(fit fitter, k, i int, step r3.Vec, from, to []Position, gaps []Gap) {
	var sides [2][]Gap
	for n, sign := range []float64{1, -1} {
		a, b := from, to
		moved := append([]Position{}, from...)
		if k >= 2 {
			moved = append([]Position{}, to...)
			b = moved
		} else {
			a = moved
		}
		if k%2 == 1 {
			moved[i].Axis = r3.Unit(r3.Add(moved[i].Axis, r3.Scale(sign, step)))
		} else {
			moved[i].At = r3.Add(moved[i].At, r3.Scale(sign, step))
		}
		t, err := fit(a, b)
		if err != nil {
			for g := range gaps {
				gaps[g].place.known, gaps[g].tip.known = false, false
			}
			return
		}
		sides[n] = gapsAt(t, a, b)
	}
	for g := range gaps {
		up, down := sides[0][g], sides[1][g]
		gaps[g].place.add(k, r3.Scale(0.5, r3.Sub(up.D, down.D)))
		gaps[g].tip.add(k, r3.Scale(0.5, r3.Sub(r3.Sub(up.Other, up.Axis), r3.Sub(down.Other, down.Axis))))
	}
}

// Distance returns the distance between the platforms, mm.
func (g *Gap) Distance() uncertainty.Length {
	return uncertainty.Length{Value: r3.Norm(g.D), Budget: g.place.length(g.D, 1)}
}

// Height returns how much deeper, toward the apex, the second platform stands along the first's axis, mm.
func (g *Gap) Height() uncertainty.Length {
	h := r3.Dot(g.D, g.Axis)
	return uncertainty.Length{Value: h, Budget: g.leaning(g.place.budget(g.Axis, 1), r3.Norm(across(g.D, g.Axis)))}
}

// Lateral returns the distance of the platforms across the first's axis, mm.
func (g *Gap) Lateral() uncertainty.Length {
	v := across(g.D, g.Axis)
	flat := g.place
	for k := range doubts {
		flat.cov[k] = projected(g.place.cov[k], g.Axis)
	}
	return uncertainty.Length{Value: r3.Norm(v), Budget: g.leaning(flat.length(v, 1), r3.Dot(g.D, g.Axis))}
}

// leaning adds what the doubt of the axis itself does to a part of a gap whose other part is so many mm.
func (g *Gap) leaning(b uncertainty.Budget, other float64) uncertainty.Budget {
	switch {
	case b == nil || g.lean != g.lean && other != 0:
		return nil
	case g.lean > 0:
		b = append(b, uncertainty.Term{Name: "direction of the first axis", Std: g.lean * math.Abs(other)})
	}
	return b
}

// projected returns the covariance of what remains across the axis: P·C·P, P = I − a·aᵀ.
func projected(c [3][3]float64, axis r3.Vec) (out [3][3]float64) {
	a := coordinates(axis)
	var p [3][3]float64
	for i := range 3 {
		for j := range 3 {
			p[i][j] = -a[i] * a[j]
		}
		p[i][i]++
	}
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				for l := range 3 {
					out[i][j] += p[i][k] * c[k][l] * p[j][l]
				}
			}
		}
	}
	return out
}

// Part returns the part of the gap between the platforms along the unit vector dir, mm.
func (g *Gap) Part(dir r3.Vec) uncertainty.Length {
	return uncertainty.Length{Value: r3.Dot(g.D, dir), Budget: g.place.budget(dir, 1)}
}

// Angle returns the angle between the axes in degrees.
func (g *Gap) Angle() uncertainty.Angle {
	return uncertainty.Angle{Value: angleBetween(g.Axis, g.Other), Budget: g.tip.length(r3.Sub(g.Other, g.Axis), 180/math.Pi)}
}

// Tilt returns by how much the second axis leans, with its apex, along the unit vector dir, in degrees.
func (g *Gap) Tilt(dir r3.Vec) uncertainty.Angle {
	v := math.Atan2(r3.Dot(g.Other, dir), r3.Dot(g.Other, g.Axis)) * 180 / math.Pi
	return uncertainty.Angle{Value: v, Budget: g.tip.budget(dir, 180/math.Pi)}
}
