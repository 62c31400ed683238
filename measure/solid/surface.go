package solid

import (
	"fmt"
	"math"
	"sync"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/spatial/r3"
)

// Surface is a closed triangle surface in the patient (LPS, mm). It must not change once a
// distance has been asked of it: its search tree is built at the first question and kept.
type Surface struct {
	Points    []r3.Vec `json:"points_mm"` // mm
	Triangles [][3]int `json:"triangles"` // indices of Points, counter-clockwise seen from outside

	once          sync.Once
	ready         *Shape
	err           error
	faces         []r3.Vec         // normal of each triangle
	cornerNormals [][3]r3.Vec      // angle-weighted normal at each corner
	edge          map[uint64]int32 // the triangle that runs through an edge in this direction, see edgeKey
}

// Shape returns [ErrBody] unless the surface is finite, closed and consistently oriented: every
// edge is run through exactly once each way.
func (s *Surface) Shape() (*Shape, error) {
	s.once.Do(s.prepare)
	return s.ready, s.err
}

func (s *Surface) prepare() {
	if s.err = s.check(); s.err != nil {
		return
	}
	s.ready = &Shape{surface: s, triangles: make([]Triangle, len(s.Triangles))}
	boxes := make([]box, len(s.Triangles))
	for i := range s.Triangles {
		s.ready.triangles[i] = s.Triangle(i)
		boxes[i] = s.ready.triangles[i].box()
	}
	s.ready.tree = newTree(boxes)
	s.normals()
}

// Triangle returns facet i of the surface, its corners in mm.
func (s *Surface) Triangle(i int) Triangle {
	t := s.Triangles[i]
	return Triangle{s.Points[t[0]], s.Points[t[1]], s.Points[t[2]]}
}

func (s *Surface) check() error {
	if len(s.Triangles) < 4 {
		return fmt.Errorf("%w: a closed surface has at least 4 triangles, not %d", ErrBody, len(s.Triangles))
	}
	if !fit.Finite(s.Points...) {
		return fmt.Errorf("%w: surface with a coordinate that is not finite", ErrBody)
	}
	s.edge = make(map[uint64]int32, 3*len(s.Triangles))
	for i, t := range s.Triangles {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if a < 0 || a >= len(s.Points) || a == b {
				return fmt.Errorf("%w: triangle %d has corners %v of %d points", ErrBody, i+1, t, len(s.Points))
			}
			if _, twice := s.edge[edgeKey(a, b)]; twice {
				p := s.Points[a]
				return fmt.Errorf("%w: surface edge at (%.3f, %.3f, %.3f) mm is used twice in one direction: facets overlap or face both ways", ErrBody, p.X, p.Y, p.Z)
			}
			s.edge[edgeKey(a, b)] = int32(i)
		}
	}
	for _, t := range s.Triangles {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if _, closed := s.edge[edgeKey(b, a)]; !closed {
				p := s.Points[a]
				return fmt.Errorf("%w: surface is open at (%.3f, %.3f, %.3f) mm: close it in the program that made it", ErrBody, p.X, p.Y, p.Z)
			}
		}
	}
	if v := s.Volume(); !(v > 0) {
		return fmt.Errorf("%w: surface encloses %g mm³: its facets face inwards", ErrBody, v)
	}
	return nil
}

// edgeKey numbers the edge that runs from point a to point b.
func edgeKey(a, b int) uint64 { return uint64(a)<<32 | uint64(b) }

// Volume returns the enclosed volume, mm³; negative when the facets face inwards.
//
//	V = Σ a·(b × c) / 6    (divergence theorem)
func (s *Surface) Volume() float64 {
	if len(s.Points) == 0 {
		return 0
	}
	sum, o := 0.0, s.Points[0]
	for _, t := range s.Triangles {
		a, b, c := r3.Sub(s.Points[t[0]], o), r3.Sub(s.Points[t[1]], o), r3.Sub(s.Points[t[2]], o)
		sum += r3.Dot(a, r3.Cross(b, c)) / 6
	}
	return sum
}

// normals makes the normals that say inside from outside at faces and corners; at an edge it
// is the sum of its two faces' normals. Where two parts of a surface touch in one point, each
// part has its own corner normal.
//
// Source: Bærentzen JA, Aanæs H. IEEE Trans Vis Comput Graph 2005;11:243–253 (angle-weighted
// pseudonormals; from memory).
func (s *Surface) normals() {
	s.faces = make([]r3.Vec, len(s.Triangles))
	s.cornerNormals = make([][3]r3.Vec, len(s.Triangles))
	for i := range s.Triangles {
		c := s.Triangle(i)
		if n := r3.Cross(r3.Sub(c[1], c[0]), r3.Sub(c[2], c[0])); length(n) > 0 {
			s.faces[i] = unit(n)
		}
	}
	seen := make([][3]bool, len(s.Triangles))
	for i := range s.Triangles {
		for k := range 3 {
			if !seen[i][k] {
				s.fan(i, k, seen)
			}
		}
	}
}

// fan walks once around the point at corner k of triangle i and gives every corner it meets the
// same normal.
func (s *Surface) fan(i, k int, seen [][3]bool) {
	var sum r3.Vec
	var met [][2]int
	for !seen[i][k] {
		seen[i][k] = true
		met = append(met, [2]int{i, k})
		c := s.Triangle(i)
		u, v := r3.Sub(c[(k+1)%3], c[k]), r3.Sub(c[(k+2)%3], c[k])
		sum = r3.Add(sum, r3.Scale(math.Atan2(length(r3.Cross(u, v)), r3.Dot(u, v)), s.faces[i]))
		here := s.Triangles[i][k]
		i = int(s.edge[edgeKey(here, s.Triangles[i][(k+2)%3])])
		for k = 0; s.Triangles[i][k] != here; k++ {
		}
	}
	for _, m := range met {
		s.cornerNormals[m[0]][m[1]] = sum
	}
}

// signed returns the distance of x from the surface, negative inside, mm, and the surface's
// nearest point.
func (s *Surface) signed(x r3.Vec) (float64, r3.Vec) {
	best, at := math.Inf(1), 0
	s.nearest(0, &box{lo: coordinates(x), hi: coordinates(x)}, x, &best, &at)
	t := s.Triangles[at]
	p, w := s.ready.triangles[at].Nearest(x)
	n := s.faces[at]
	for k := range 3 {
		a, b := (k+1)%3, (k+2)%3
		switch {
		case w[a] == 0 && w[b] == 0:
			n = s.cornerNormals[at][k]
		case w[k] == 0 && w[a] > 0 && w[b] > 0:
			n = r3.Add(s.faces[at], s.faces[s.edge[edgeKey(t[b], t[a])]])
		}
	}
	if d := math.Sqrt(best); r3.Dot(r3.Sub(x, p), n) >= 0 {
		return d, p
	} else {
		return -d, p
	}
}

func coordinates(x r3.Vec) [3]float64 { return [3]float64{x.X, x.Y, x.Z} }

// nearest finds the triangle nearest to x; best is the squared distance, mm².
func (s *Surface) nearest(i int, b *box, x r3.Vec, best *float64, at *int) {
	t := s.ready.tree
	n := &t.nodes[i]
	if n.leaf() {
		for _, k := range t.order[n.from:n.to] {
			p, _ := s.ready.triangles[k].Nearest(x)
			if d := r3.Norm2(r3.Sub(x, p)); d < *best {
				*best, *at = d, k
			}
		}
		return
	}
	l, r := n.left, n.right
	dl, dr := t.nodes[l].apart(b), t.nodes[r].apart(b)
	if dr < dl {
		l, r, dl, dr = r, l, dr, dl
	}
	if dl*dl < *best {
		s.nearest(l, b, x, best, at)
	}
	if dr*dr < *best {
		s.nearest(r, b, x, best, at)
	}
}
