package solid

import (
	"container/heap"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// surfaceGap returns the gap between two shapes of which at least one is a closed surface; best is
// the gap of their surfaces. Where those do not meet one body may still contain the other.
func (s *Shape) surfaceGap(o *Shape, best Gap) Gap {
	if best.Distance > 0 && !s.contains(o) && !o.contains(s) {
		return best
	}
	deep := Gap{}
	if s.surface != nil {
		deep = s.surface.deepest(o).swapped()
	}
	if o.surface != nil {
		if g := o.surface.deepest(s); g.Distance < deep.Distance {
			deep = g
		}
	}
	if deep.Distance == 0 {
		deep.Near = best.Near
	}
	return deep
}

// contains reports whether a point of o lies inside the closed surface s.
func (s *Shape) contains(o *Shape) bool {
	if s.surface == nil {
		return false
	}
	d, _ := s.surface.signed(o.anyPoint())
	return d < 0
}

// anyPoint returns a point of the body.
func (s *Shape) anyPoint() r3.Vec {
	switch {
	case s.cone != nil:
		return s.cone.c
	case s.chain != nil:
		return s.chain[0].a
	}
	return s.triangles[0][0]
}

// signed returns the signed distance of x from the body, negative inside, mm, and the body's
// point nearest to x (x itself inside).
func (s *Shape) signed(x r3.Vec) (float64, r3.Vec) {
	if s.surface != nil {
		d, p := s.surface.signed(x)
		if d < 0 {
			p = x
		}
		return d, p
	}
	best, n := math.Inf(1), r3.Vec{}
	try := func(d float64, m r3.Vec) {
		if d < best {
			best, n = d, m
		}
	}
	if s.cone != nil {
		try(s.cone.signed(x))
	}
	for i := range s.chain {
		try(s.chain[i].signed(x))
	}
	return best, r3.Sub(x, r3.Scale(max(best, 0), n))
}

// depthTolerance is how near to the greatest depth the search ends, mm: no verdict on an overlap
// depends on it.
const depthTolerance = 0.02

// deepest returns the deepest point of the body below the surface, as a gap: the body's point
// first, then the surface's point nearest to it.
//
// Method: branch and bound over cubes. Between two points depth differs by no more than their
// distance, so a cube of half diagonal ρ holds nothing deeper than its centre's depth + ρ.
func (s *Surface) deepest(o *Shape) Gap {
	root := o.tree.nodes[0].box
	best := Gap{}
	q := cubes{}
	put := func(c cube) {
		d, p := o.signed(c.c)
		rho := math.Sqrt(3) * c.half
		if d > rho {
			return
		}
		depth, _ := s.signed(c.c)
		if here, at := s.signed(p); here < best.Distance {
			best = Gap{Distance: here, Near: [2]r3.Vec{p, at}}
		}
		if c.bound = rho - depth; c.bound > depthTolerance-best.Distance {
			heap.Push(&q, c)
		}
	}
	put(cubeAround(root))
	for n := 0; len(q) > 0 && n < 4000; n++ {
		c := heap.Pop(&q).(cube)
		if c.bound <= depthTolerance-best.Distance {
			break
		}
		h := c.half / 2
		for k := range 8 {
			put(cube{c: r3.Add(c.c, r3.Vec{X: sign(k, 0) * h, Y: sign(k, 1) * h, Z: sign(k, 2) * h}), half: h})
		}
	}
	return best
}

// sign returns −1 or +1, from one bit of k.
func sign(k, bit int) float64 { return float64(k>>bit&1)*2 - 1 }

// cube is a piece of the search; bound is the greatest depth it may hold, mm.
type cube struct {
	c           r3.Vec
	half, bound float64
}

func cubeAround(b box) cube {
	c := cube{c: r3.Vec{X: b.centre(0), Y: b.centre(1), Z: b.centre(2)}}
	for i := range 3 {
		c.half = max(c.half, (b.hi[i]-b.lo[i])/2)
	}
	return c
}

// cubes is a heap, the most promising cube first.
type cubes []cube

func (q cubes) Len() int           { return len(q) }
func (q cubes) Less(i, j int) bool { return q[i].bound > q[j].bound }
func (q cubes) Swap(i, j int)      { q[i], q[j] = q[j], q[i] }
func (q *cubes) Push(x any)        { *q = append(*q, x.(cube)) }
func (q *cubes) Pop() any {
	old := *q
	c := old[len(old)-1]
	*q = old[:len(old)-1]
	return c
}

// axisDepth stands for the depth of a frustum's overlap with a chain or a surface, see [Shape.Estimate].
func (s *Shape) axisDepth(o *Shape) float64 {
	f := s.cone
	axis := roundCone{a: f.c, u: f.a, l: f.l, cos: 1}
	least := 0.0
	if o.surface != nil {
		for i := range 9 {
			x, _ := axis.at(f.l * float64(i) / 8)
			d, _ := o.surface.signed(x)
			least = min(least, d)
		}
	} else {
		least = math.Inf(1)
		for i := range o.chain {
			least = min(least, lineSearch(&o.chain[i], &axis, math.Inf(-1), math.Inf(1)).Distance)
		}
	}
	return least - max(f.r0, f.r1)
}
