package align

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
)

// Bodies returns the scan bodies among the connected pieces of the surface, each piece one at most; a piece that is none,
// mucosa say, is passed over. It returns [ErrBody] where none is found, and where a piece is a cylinder with two flat ends:
// which of them is the top cannot be told, and a mark must say it ([BodyAt]).
func Bodies(s *solid.Sheet) ([]Body, error) {
	var out []Body
	for _, part := range s.Parts() {
		if len(part) < leastSides/2 {
			continue
		}
		piece, err := solid.NewSheet(s.Points, pick(s.Triangles, part))
		if err != nil {
			return nil, err
		}
		b, err := bodyOf(piece)
		switch {
		case errors.Is(err, errTwoEnds):
			return nil, err
		case err == nil:
			out = append(out, b)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%w: none of the %d pieces of the surface is an upright cylinder with a flat top; mark the tops (--marks)", ErrBody, len(s.Parts()))
	}
	return out, nil
}

func pick[T any](list []T, which []int) []T {
	out := make([]T, len(which))
	for i, k := range which {
		out[i] = list[k]
	}
	return out
}

var errTwoEnds = fmt.Errorf("%w: a cylinder with two flat ends: mark its top (--marks)", ErrBody)

// bodyOf fits a piece of a surface. The axis is one of the three principal directions of its facets' normals.
func bodyOf(s *solid.Sheet) (Body, error) {
	m := mat.NewSymDense(3, nil)
	for i := range s.Triangles {
		n, area := s.Normal(i)
		c := coordinates(n)
		for a := range 3 {
			for b := a; b < 3; b++ {
				m.SetSym(a, b, m.At(a, b)+area*c[a]*c[b])
			}
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(m, true) {
		return Body{}, fmt.Errorf("%w: a piece without directions", ErrBody)
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	best, found, ends := Body{RMS: math.Inf(1)}, errors.New("none"), 0
	for k := range 3 {
		e, here := r3.Vec{X: vectors.At(0, k), Y: vectors.At(1, k), Z: vectors.At(2, k)}, 0
		for _, up := range []r3.Vec{e, r3.Scale(-1, e)} {
			p, flat := flatEnd(s, up)
			if !flat {
				continue
			}
			b, err := fitBody(s, p, r3.Scale(-1, up))
			if err != nil {
				continue
			}
			if here++; b.RMS < best.RMS || here == 2 {
				best, found, ends = b, nil, here
			}
		}
	}
	switch {
	case found != nil:
		return Body{}, fmt.Errorf("%w: no cylinder with a flat top", ErrBody)
	case ends == 2:
		return Body{}, errTwoEnds
	}
	return best, nil
}

// flatEnd returns the middle of the outermost facets that face along up, and whether there are any.
func flatEnd(s *solid.Sheet, up r3.Vec) (r3.Vec, bool) {
	most := math.Inf(-1)
	for i := range s.Triangles {
		if n, area := s.Normal(i); area > 0 && r3.Dot(n, up) > topCos {
			t := s.Triangle(i)
			most = max(most, r3.Dot(centroid(t[:]), up))
		}
	}
	var sum r3.Vec
	total := 0.0
	for i := range s.Triangles {
		n, area := s.Normal(i)
		t := s.Triangle(i)
		if c := centroid(t[:]); area > 0 && r3.Dot(n, up) > topCos && r3.Dot(c, up) > most-0.5 {
			sum, total = r3.Add(sum, r3.Scale(area, c)), total+area
		}
	}
	return r3.Scale(1/total, sum), total > 0.1*math.Pi*leastRadius*leastRadius
}

const (
	mostOrders  = 8   // bodies whose every order is tried: 40,320 fits of some µs
	clearlyLess = 0.5 // the best order must leave less than so much of what the second best leaves. Our choice: nearer to 1 names bodies that hardly tell apart
)

// NameBodies gives the bodies the names of the planned positions: of all orders, the one in which platforms and axes, 10 mm
// long, fit the plan best. It returns [ErrPoints] where another order fits nearly as well, and where there are fewer than
// three bodies, more than eight, or not as many as planned: then marks must name them.
func NameBodies(planned Set, bodies []Body, long float64) ([]Position, error) {
	n := len(planned.Positions)
	if len(bodies) != n || n < 3 || n > mostOrders {
		return nil, fmt.Errorf("%w: %d scan bodies were found and %d positions are planned: they are named by themselves where there are as many as planned, 3 to %d; "+
			"else mark each with its name (--marks)", ErrPoints, len(bodies), n, mostOrders)
	}
	list := make([]Position, n)
	for i, b := range bodies {
		list[i] = b.Platform("", long)
	}
	best, second := math.Inf(1), math.Inf(1)
	var order []int
	permute(n, func(p []int) {
		f, err := FitPoints(axisEnds(planned.Positions), axisEnds(pick(list, p)))
		switch {
		case err != nil:
		case f.RMS < best:
			second, best, order = best, f.RMS, slices.Clone(p)
		case f.RMS < second:
			second = f.RMS
		}
	})
	if order == nil || best > clearlyLess*second {
		return nil, fmt.Errorf("%w: which scan body is which cannot be told: one order leaves %.2f mm, another %.2f mm; mark each with its name (--marks)", ErrPoints, best, second)
	}
	list = pick(list, order)
	for i := range list {
		list[i].Name = planned.Positions[i].Name
	}
	return list, nil
}

// permute calls do with each order of n things.
//
// Source: Heap BR. Comput J 1963;6:293–298 (from memory).
func permute(n int, do func([]int)) {
	p, c := make([]int, n), make([]int, n)
	for i := range p {
		p[i] = i
	}
	do(p)
	for i := 1; i < n; {
		if c[i] >= i {
			c[i] = 0
			i++
			continue
		}
		k := 0
		if i%2 == 1 {
			k = c[i]
		}
		p[k], p[i] = p[i], p[k]
		do(p)
		c[i]++
		i = 1
	}
}
