package trace

import (
	"context"
	"math"
)

// front is a fast-marching front on a lattice: the arrival time T of a front that starts at a
// source and runs with the given speed, |∇T| = 1/speed.
//
// Source: Sethian JA. SIAM Rev 1999;41:199–235. doi:10.1137/S0036144598347059 (from memory):
// the first-order and second-order upwind differences.
type front struct {
	n      [3]int
	stride [3]int
	step   float64                // lattice step, mm
	speed  func(node int) float64 // 0 where the front cannot go
	t      []float64              // arrival times; +Inf where the front has not been
	known  []bool                 // nodes whose time is final
	heap   heap
	order  int
}

func newFront(n [3]int, step float64, speed func(int) float64) *front {
	size := n[0] * n[1] * n[2]
	f := &front{n: n, stride: [3]int{1, n[0], n[0] * n[1]}, step: step, speed: speed}
	f.t, f.known = make([]float64, size), make([]bool, size)
	for i := range f.t {
		f.t[i] = math.Inf(1)
	}
	f.heap = heap{t: f.t, place: make([]int32, size)}
	return f
}

// ball is the radius around the source inside which times are exact, lattice steps. The front
// is most curved there, so there the upwind differences would err most.
const ball = 2.0

// run marches from source until target and the nodes around it are known. order is 1 or 2; the
// second starts from a small exact ball, the first from the node nearest to the source alone.
func (f *front) run(ctx context.Context, source, target [3]float64, order int) error {
	f.order = order
	radius := ball
	if order == 1 {
		radius = 0
	}
	f.start(source, radius)
	if err := f.spread(ctx, f.cell(target)); err != nil {
		return err
	}
	if math.IsInf(f.t[f.nearest(target)], 1) {
		return ErrNoPath
	}
	return nil
}

// spread marches until every node of goal is known, or nothing is left.
func (f *front) spread(ctx context.Context, goal map[int]bool) error {
	for count := 0; len(f.heap.nodes) > 0 && len(goal) > 0; count++ {
		if count%4096 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		node := f.heap.pop()
		f.known[node] = true
		f.relax(node)
		delete(goal, node)
	}
	return nil
}

// start gives the nodes within radius steps of source their exact time, and the node nearest to it.
func (f *front) start(source [3]float64, radius float64) {
	middle := f.nearest(source)
	slow := 1 / max(f.speed(middle), 1e-6)
	f.t[middle], f.known[middle] = f.distance(source, middle)*slow, true
	f.around(source, radius, func(node int, d float64) {
		if v := f.speed(node); v > 0 {
			f.t[node], f.known[node] = d*(slow+1/v)/2, true
		}
	})
	f.relax(middle)
	f.around(source, radius, func(node int, _ float64) {
		if f.known[node] {
			f.relax(node)
		}
	})
}

// around calls g for every node within radius steps of p, with its distance in mm.
func (f *front) around(p [3]float64, radius float64, g func(node int, mm float64)) {
	lo, hi := [3]int{}, [3]int{}
	for i := range 3 {
		lo[i] = max(0, int(math.Ceil(p[i]-radius)))
		hi[i] = min(f.n[i]-1, int(math.Floor(p[i]+radius)))
	}
	for c := lo[2]; c <= hi[2]; c++ {
		for b := lo[1]; b <= hi[1]; b++ {
			for a := lo[0]; a <= hi[0]; a++ {
				node := (c*f.n[1]+b)*f.n[0] + a
				if d := f.distance(p, node); d <= radius*f.step {
					g(node, d)
				}
			}
		}
	}
}

func (f *front) coords(node int) [3]int {
	return [3]int{node % f.n[0], node / f.n[0] % f.n[1], node / f.stride[2]}
}

// distance returns the distance from node position p to a node, mm.
func (f *front) distance(p [3]float64, node int) float64 {
	q := f.coords(node)
	return f.step * math.Hypot(math.Hypot(p[0]-float64(q[0]), p[1]-float64(q[1])), p[2]-float64(q[2]))
}

func (f *front) nearest(p [3]float64) int {
	node := 0
	for i := range 3 {
		node += min(f.n[i]-1, max(0, int(math.Round(p[i])))) * f.stride[i]
	}
	return node
}

// cell returns the open nodes at the corners of the lattice cell around p that are not known.
func (f *front) cell(p [3]float64) map[int]bool {
	goal := map[int]bool{}
	f.around(p, math.Sqrt(3), func(node int, _ float64) {
		q := f.coords(node)
		for i := range 3 {
			if math.Abs(float64(q[i])-p[i]) >= 1 {
				return
			}
		}
		if f.speed(node) > 0 && !f.known[node] {
			goal[node] = true
		}
	})
	return goal
}

// relax gives the neighbours of a known node their time anew.
func (f *front) relax(node int) {
	q := f.coords(node)
	for axis := range 3 {
		for _, dir := range [2]int{-1, 1} {
			if k := q[axis] + dir; k < 0 || k >= f.n[axis] {
				continue
			}
			next := node + dir*f.stride[axis]
			if f.known[next] {
				continue
			}
			if v := f.speed(next); v > 0 {
				if t := f.solve(next, 1/v); t < f.t[next] {
					f.t[next] = t
					f.heap.push(next)
				}
			}
		}
	}
}

// upwind is one axis' share of the equation Σ a·(T − v)² = 1/speed².
type upwind struct{ a, v, first float64 }

// solve returns the arrival time at a node from its known neighbours. slow is 1/speed.
func (f *front) solve(node int, slow float64) float64 {
	var side [3]upwind
	m := 0
	q := f.coords(node)
	for axis := range 3 {
		if u, ok := f.upwind(node, q[axis], axis); ok {
			side[m] = u
			for k := m; k > 0 && side[k].first < side[k-1].first; k-- {
				side[k], side[k-1] = side[k-1], side[k]
			}
			m++
		}
	}
	for ; m > 0; m-- { // drop the latest neighbour while the front cannot have come over it
		if t, ok := quadratic(side[:m], slow); ok && t >= side[m-1].first {
			return t
		}
		if m == 1 {
			return side[0].first + slow*f.step // first order: always later than its neighbour
		}
	}
	return math.Inf(1)
}

// upwind returns the difference to the earlier known neighbour along axis; second order where
// the node behind it is known and earlier still:
//
//	first   (T − T1)/h          second   (3T − 4T1 + T2)/2h
func (f *front) upwind(node, q, axis int) (upwind, bool) {
	best, dir := math.Inf(1), 0
	for _, d := range [2]int{-1, 1} {
		if k := q + d; k >= 0 && k < f.n[axis] {
			if n := node + d*f.stride[axis]; f.known[n] && f.t[n] < best {
				best, dir = f.t[n], d
			}
		}
	}
	if dir == 0 {
		return upwind{}, false
	}
	h2 := f.step * f.step
	if k := q + 2*dir; f.order == 2 && k >= 0 && k < f.n[axis] {
		if n := node + 2*dir*f.stride[axis]; f.known[n] && f.t[n] <= best {
			return upwind{9 / (4 * h2), (4*best - f.t[n]) / 3, best}, true
		}
	}
	return upwind{1 / h2, best, best}, true
}

func quadratic(side []upwind, slow float64) (float64, bool) {
	var a, b, c float64
	for _, u := range side {
		a += u.a
		b += u.a * u.v
		c += u.a * u.v * u.v
	}
	disc := b*b - a*(c-slow*slow)
	if disc < 0 {
		return 0, false
	}
	return (b + math.Sqrt(disc)) / a, true
}

// heap is a binary heap of nodes, the earliest first. place holds each node's position + 1.
type heap struct {
	t     []float64
	nodes []int32
	place []int32
}

// push adds node, or lifts it when it is in the heap and its time has fallen.
func (h *heap) push(node int) {
	if h.place[node] == 0 {
		h.nodes = append(h.nodes, int32(node))
		h.place[node] = int32(len(h.nodes))
	}
	i := int(h.place[node]) - 1
	for i > 0 {
		up := (i - 1) / 2
		if h.t[h.nodes[up]] <= h.t[node] {
			break
		}
		h.set(i, h.nodes[up])
		i = up
	}
	h.set(i, int32(node))
}

func (h *heap) set(i int, node int32) {
	h.nodes[i] = node
	h.place[node] = int32(i) + 1
}

// pop takes the earliest node out.
func (h *heap) pop() int {
	top, last := h.nodes[0], h.nodes[len(h.nodes)-1]
	h.nodes = h.nodes[:len(h.nodes)-1]
	h.place[top] = 0
	if len(h.nodes) == 0 {
		return int(top)
	}
	i := 0
	for {
		kid := 2*i + 1
		if kid >= len(h.nodes) {
			break
		}
		if kid+1 < len(h.nodes) && h.t[h.nodes[kid+1]] < h.t[h.nodes[kid]] {
			kid++
		}
		if h.t[h.nodes[kid]] >= h.t[last] {
			break
		}
		h.set(i, h.nodes[kid])
		i = kid
	}
	h.set(i, last)
	return int(top)
}
