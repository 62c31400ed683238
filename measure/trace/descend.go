package trace

import (
	"fmt"
	"math"
)

const (
	stride    = 0.25 // lattice steps a descent step: several within one cell's gradient
	stepLimit = 100  // descent steps allowed for each lattice step of the box's edges
)

// descend returns the way from target down the arrival times to source, in node positions:
// steepest descent by the midpoint rule on linearly interpolated gradients. Where they give
// no way down it steps to the earliest neighbour, so it always arrives.
func (f *front) descend(target, source [3]float64) ([][3]float64, error) {
	path := [][3]float64{target}
	p := target
	for range stepLimit * (f.n[0] + f.n[1] + f.n[2]) {
		if apart(p, source) <= ball {
			return append(path, source), nil
		}
		next, ok := f.downhill(p)
		if !ok || !(f.time(next) < f.time(p)) {
			next = f.earliest(p)
		}
		if next == p {
			break
		}
		p = next
		path = append(path, p)
	}
	return nil, fmt.Errorf("%w: the way back ends at node (%.1f, %.1f, %.1f)", ErrNoPath, p[0], p[1], p[2])
}

// downhill returns the position one stride further down, by the midpoint rule.
func (f *front) downhill(p [3]float64) ([3]float64, bool) {
	g, ok := f.slope(p)
	if !ok {
		return p, false
	}
	mid, ok := f.slope(along(p, g, -stride/2))
	if !ok {
		mid = g
	}
	return along(p, mid, -stride), true
}

func along(p, d [3]float64, by float64) [3]float64 {
	return [3]float64{p[0] + by*d[0], p[1] + by*d[1], p[2] + by*d[2]}
}

// apart returns the distance between node positions, in lattice steps.
func apart(p, q [3]float64) float64 {
	return math.Hypot(math.Hypot(p[0]-q[0], p[1]-q[1]), p[2]-q[2])
}

// corners calls g with the eight nodes around p and their linear weights, leaving out those
// the front has not reached. It returns false outside the lattice.
func (f *front) corners(p [3]float64, g func(node int, w float64)) bool {
	var lo [3]int
	var fr [3]float64
	for i := range 3 {
		if !(p[i] >= 0 && p[i] <= float64(f.n[i]-1)) {
			return false
		}
		lo[i] = min(int(p[i]), max(0, f.n[i]-2))
		fr[i] = p[i] - float64(lo[i])
	}
	for corner := range 8 {
		w, node := 1.0, 0
		for i := range 3 {
			bit := corner >> i & 1
			w *= math.Abs(float64(1-bit) - fr[i])
			node += (lo[i] + bit) * f.stride[i]
		}
		if w > 0 && !math.IsInf(f.t[node], 1) {
			g(node, w)
		}
	}
	return true
}

// time returns the arrival time at p from the nodes around it that have one.
func (f *front) time(p [3]float64) float64 {
	var sum, weight float64
	f.corners(p, func(node int, w float64) { sum, weight = sum+w*f.t[node], weight+w })
	if weight == 0 {
		return math.Inf(1)
	}
	return sum / weight
}

// slope returns the unit gradient of arrival time at p.
func (f *front) slope(p [3]float64) ([3]float64, bool) {
	var g [3]float64
	ok := f.corners(p, func(node int, w float64) { g = along(g, f.gradient(node), w) })
	size := apart(g, [3]float64{})
	if !ok || size == 0 || math.IsNaN(size) {
		return p, false
	}
	return along([3]float64{}, g, 1/size), true
}

// gradient returns the gradient of arrival time at a node: central differences, one-sided
// where one neighbour has no time.
func (f *front) gradient(node int) [3]float64 {
	var g [3]float64
	q := f.coords(node)
	for axis := range 3 {
		before, after := f.t[node], f.t[node]
		span := 0.0
		if n := node - f.stride[axis]; q[axis] > 0 && !math.IsInf(f.t[n], 1) {
			before = f.t[n]
			span++
		}
		if n := node + f.stride[axis]; q[axis] < f.n[axis]-1 && !math.IsInf(f.t[n], 1) {
			after = f.t[n]
			span++
		}
		if span > 0 {
			g[axis] = (after - before) / span
		}
	}
	return g
}

// earliest returns the earliest node around p that is earlier than p, or p.
func (f *front) earliest(p [3]float64) [3]float64 {
	best, at := f.time(p), p
	f.around(p, math.Sqrt(3), func(node int, _ float64) {
		if q := f.coords(node); f.t[node] < best {
			best, at = f.t[node], [3]float64{float64(q[0]), float64(q[1]), float64(q[2])}
		}
	})
	return at
}
