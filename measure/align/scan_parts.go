package align

import (
	"cmp"
	"math"
	"slices"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/spatial/r3"
)

// How the bone is cut to ask whether it is one rigid body. Our choice: parts so small that the two walls of a ridge fall into
// different ones, because two jaws of different width differ there most; and so few points tell little of a motion
// along a wall, that a part which could as well slide stays where it is.
const (
	partsOf   = 64  // of as many points each
	slideLess = 0.5 // mm: a motion that the points tell nothing of is as unlikely as beyond this many standard deviations
)

// moved is where a part of the bone lies, in the first scan, and how far from where the whole takes it, both mm.
type moved struct {
	at r3.Vec
	by float64
}

// partMoves lets each part of the bone seek its own place by a shift from m, and returns how far they go, the least first. One
// rigid bone stays where it is; parts of two different jaws do not. What greys belong together is taken from the whole.
func (n *information) partMoves(m motion) []moved {
	seen := make([]reading, len(n.samples))
	n.read(m, seen)
	h, total := n.count(seen)
	_, table := h.logs(total)
	list := [][]sample{slices.Clone(n.samples)}
	for len(list) < partsOf {
		var halves [][]sample
		for _, s := range list {
			a, b := halve(s)
			halves = append(halves, a, b)
		}
		list = halves
	}
	out := make([]moved, len(list))
	fit.Each(len(list), func(i int) {
		for _, q := range list[i] {
			out[i].at = r3.Add(out[i].at, r3.Scale(1/float64(len(list[i])), q.p))
		}
		out[i].by = n.partMove(m, list[i], &table)
	})
	slices.SortFunc(out, func(a, b moved) int { return cmp.Compare(a.by, b.by) })
	return out
}

// partMove returns how far the points s are from where their greys fit best, mm: where the sum of the table over them is
// greatest, less d²/(2·slideLess²) for a shift of d.
func (n *information) partMove(m motion, s []sample, table *joint) float64 {
	ask := func(x, slope []float64) float64 {
		d := r3.Vec{X: x[0], Y: x[1], Z: x[2]}
		sum := -r3.Norm2(d) / (2 * slideLess * slideLess)
		all := r3.Scale(-1/(slideLess*slideLess), d)
		for i := range s {
			one := n.readOne(r3.Add(m.apply(s[i].p), d))
			if !one.inside {
				continue
			}
			value, by := s[i].fits(table, one.x)
			sum += value
			all = r3.Add(all, r3.Scale(by, one.slope))
		}
		if slope != nil {
			slope[0], slope[1], slope[2] = -all.X, -all.Y, -all.Z
		}
		return -sum
	}
	problem := optimize.Problem{Func: func(x []float64) float64 { return ask(x, nil) }, Grad: func(g, x []float64) { ask(x, g) }}
	got, err := optimize.Minimize(problem, make([]float64, 3), &optimize.Settings{MajorIterations: 40, GradientThreshold: 1e-2}, &optimize.BFGS{})
	if err != nil && got == nil {
		return math.Inf(1)
	}
	return r3.Norm(r3.Vec{X: got.X[0], Y: got.X[1], Z: got.X[2]})
}

// axes are the three coordinates of a point.
var axes = [3]func(r3.Vec) float64{func(v r3.Vec) float64 { return v.X }, func(v r3.Vec) float64 { return v.Y }, func(v r3.Vec) float64 { return v.Z }}

// sortAlong sorts points by one coordinate.
func sortAlong(s []sample, axis int) {
	slices.SortStableFunc(s, func(x, y sample) int { return cmp.Compare(axes[axis](x.p), axes[axis](y.p)) })
}

// halve cuts points in two across their longest extent.
func halve(s []sample) (a, b []sample) {
	longest, axis := 0.0, 0
	for i, f := range axes {
		by := func(a, b sample) int { return cmp.Compare(f(a.p), f(b.p)) }
		if d := f(slices.MaxFunc(s, by).p) - f(slices.MinFunc(s, by).p); d > longest {
			longest, axis = d, i
		}
	}
	sortAlong(s, axis)
	return s[:len(s)/2], s[len(s)/2:]
}
