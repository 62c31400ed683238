package solid

import (
	"fmt"
	"io"
	"math"
	"slices"

	"ridgerule/measure/fit"

	"gonum.org/v1/gonum/spatial/r3"
)

// Sheet is a triangle surface that need not be closed: teeth as a scanner of surfaces sees them, a set-up of planned
// teeth. It has no inside; its facets' normals follow from the order of their corners. It must not change once made.
type Sheet struct {
	Points    []r3.Vec // mm
	Triangles [][3]int // indices of Points
	search    *Surface // the same facets with their tree
}

// NewSheet returns the sheet of these facets, or [ErrBody] where there is none, a corner is no point of the list or a
// coordinate is not finite.
func NewSheet(points []r3.Vec, triangles [][3]int) (*Sheet, error) {
	if len(triangles) == 0 {
		return nil, fmt.Errorf("%w: a surface without facets", ErrBody)
	}
	if !fit.Finite(points...) {
		return nil, fmt.Errorf("%w: surface with a coordinate that is not finite", ErrBody)
	}
	for i, t := range triangles {
		for _, k := range t {
			if k < 0 || k >= len(points) {
				return nil, fmt.Errorf("%w: triangle %d has corners %v of %d points", ErrBody, i+1, t, len(points))
			}
		}
	}
	s := &Surface{Points: points, Triangles: triangles}
	shape := &Shape{triangles: make([]Triangle, len(triangles))}
	boxes := make([]box, len(triangles))
	for i := range triangles {
		shape.triangles[i] = s.Triangle(i)
		boxes[i] = shape.triangles[i].box()
	}
	shape.tree = newTree(boxes)
	s.ready = shape
	return &Sheet{Points: points, Triangles: triangles, search: s}, nil
}

// ReadSheet reads an STL file as [ReadSTL] does, but takes open surfaces too, and leaves the facets as they face.
func ReadSheet(r io.Reader, size int64) (*Sheet, error) {
	s, err := readFacets(r, size)
	if err != nil {
		return nil, err
	}
	if len(s.Triangles) == 0 {
		return nil, &STLError{Reason: "no facets", Err: ErrBody}
	}
	if err := checkExtent(s); err != nil {
		return nil, err
	}
	return NewSheet(s.Points, s.Triangles)
}

// Bounds returns the box of the sheet, mm.
func (s *Sheet) Bounds() r3.Box {
	b := &s.search.ready.tree.nodes[0]
	return r3.Box{Min: r3.Vec{X: b.lo[0], Y: b.lo[1], Z: b.lo[2]}, Max: r3.Vec{X: b.hi[0], Y: b.hi[1], Z: b.hi[2]}}
}

// Triangle returns facet i, its corners in mm.
func (s *Sheet) Triangle(i int) Triangle { return s.search.ready.triangles[i] }

// Normal returns the unit normal of facet i, by the order of its corners, and its area in mm²; a facet without area has
// the zero vector.
func (s *Sheet) Normal(i int) (r3.Vec, float64) {
	t := s.Triangle(i)
	n := r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))
	l := length(n)
	if l == 0 {
		return r3.Vec{}, 0
	}
	return r3.Scale(1/l, n), l / 2
}

// Nearest returns the point of the sheet nearest to x, mm, and its facet.
func (s *Sheet) Nearest(x r3.Vec) (r3.Vec, int) {
	best, at := math.Inf(1), 0
	s.search.nearest(0, &box{lo: coordinates(x), hi: coordinates(x)}, x, &best, &at)
	t := s.Triangle(at)
	p, _ := t.Nearest(x)
	return p, at
}

// Crossing is where a line meets a facet.
type Crossing struct {
	At    float64 // along the line, mm; negative: before its first point
	Facet int
}

// Crossings returns where the line through from along the unit vector dir meets the sheet, in the order along the line.
// On an edge or a corner that facets share each of them counts.
//
// Source: Möller T, Trumbore B. J Graphics Tools 1997;2:21–28 (from memory).
func (s *Sheet) Crossings(from, dir r3.Vec) []Crossing {
	var out []Crossing
	var visit func(i int)
	t := s.search.ready.tree
	visit = func(i int) {
		n := &t.nodes[i]
		if d := r3.Sub(n.middle, from); r3.Norm2(d)-math.Pow(r3.Dot(d, dir), 2) > n.radius*n.radius*(1+1e-12)+1e-12 {
			return
		}
		if !n.leaf() {
			visit(n.left)
			visit(n.right)
			return
		}
		for _, k := range t.order[n.from:n.to] {
			if at, meets := s.search.ready.triangles[k].crossing(from, dir); meets {
				out = append(out, Crossing{at, k})
			}
		}
	}
	visit(0)
	slices.SortFunc(out, func(a, b Crossing) int {
		if a.At != b.At {
			return int(math.Copysign(1, a.At-b.At))
		}
		return a.Facet - b.Facet
	})
	return out
}

// crossing returns where the line through from along dir meets the triangle; a line in its plane does not meet it.
func (t *Triangle) crossing(from, dir r3.Vec) (float64, bool) {
	e, f := r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0])
	h := r3.Cross(dir, f)
	det := r3.Dot(e, h)
	if math.Abs(det) < 1e-14*length(e)*length(f) || det == 0 {
		return 0, false
	}
	d := r3.Sub(from, t[0])
	u := r3.Dot(d, h) / det
	q := r3.Cross(d, e)
	v := r3.Dot(dir, q) / det
	const rim = 1e-12 // rounding of the two weights: a line on a shared edge meets one of its facets at least
	if u < -rim || v < -rim || u+v > 1+rim {
		return 0, false
	}
	return r3.Dot(f, q) / det, true
}

// Moved returns the sheet with each point moved by f.
func (s *Sheet) Moved(f func(r3.Vec) r3.Vec) *Sheet {
	points := make([]r3.Vec, len(s.Points))
	for i, p := range s.Points {
		points[i] = f(p)
	}
	out, err := NewSheet(points, s.Triangles)
	if err != nil {
		panic(fmt.Sprintf("solid: a sheet moved to where there is none: %v", err))
	}
	return out
}

// Parts returns the facets of each connected piece of the sheet, the largest first; pieces are connected by common
// corners.
func (s *Sheet) Parts() [][]int {
	root := make([]int, len(s.Points))
	for i := range root {
		root[i] = i
	}
	find := func(i int) int {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	for _, t := range s.Triangles {
		root[find(t[1])] = find(t[0])
		root[find(t[2])] = find(t[0])
	}
	at := map[int]int{}
	var out [][]int
	for i, t := range s.Triangles {
		r := find(t[0])
		k, known := at[r]
		if !known {
			k = len(out)
			at[r] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], i)
	}
	slices.SortStableFunc(out, func(a, b []int) int { return len(b) - len(a) })
	return out
}

// WriteSheet writes the sheet as [WriteSTL] does; frame names the frame of its coordinates in the head of the file.
func WriteSheet(out io.Writer, s *Sheet, frame string) error {
	return writeSTL(out, s.search, "ridgerule surface, "+frame+", mm")
}
