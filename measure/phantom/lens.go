package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// The image is the sharp shape convolved with an isotropic Gaussian of sigma s, sampled at the
// voxel centres. The convolution is split: s² = p² + r². Every surface is softened in closed
// form by the small p, an error function of the distance with the shift of a curved surface;
// the rest, r, is a discrete Gaussian on a lattice m times as fine as the voxels, which then
// also blurs corners, junctions and thin plates as they are. p is chosen so large that the
// lattice's aliasing moves an edge by less than 0.001 mm, and no larger:
// with spacing f and p = 0.55·f the shift is at most f/π·exp(−2π²·0.55²) = 0.0008·f.
const (
	softPart = 0.55 // p over the lattice spacing
	lattice  = 1.05 // lattice spacing over s, at most
	reachOf  = 4.3  // half-width of the discrete kernel over r
)

// lens is the split for one grid.
type lens struct {
	p      float64      // sigma softened in closed form, mm
	fine   [3]int       // lattice points a voxel, along column, row, slice normal
	pitch  [3]float64   // lattice spacing, mm
	kernel [3][]float64 // weights −R…R of the rest
}

// newLens plans the split for a blur of sigma mm on g. The third axis is the slice normal.
func newLens(g volume.Grid, sigma float64) lens {
	sp := g.Spacing()
	sp[2] = math.Abs(r3.Dot(g.Step[2], normal(g)))
	var l lens
	widest := 0.0
	for i, h := range sp {
		l.fine[i] = max(1, int(math.Ceil(h/(lattice*sigma)-1e-9)))
		l.pitch[i] = h / float64(l.fine[i])
		widest = max(widest, l.pitch[i])
	}
	l.p = softPart * widest
	rest := math.Sqrt(sigma*sigma - l.p*l.p)
	for i, f := range l.pitch {
		l.kernel[i] = gaussian(rest / f)
	}
	return l
}

// gaussian samples a Gaussian of the given sigma at the integers, of sum 1.
func gaussian(sigma float64) []float64 {
	r := int(math.Ceil(reachOf * sigma))
	w := make([]float64, 2*r+1)
	sum := 0.0
	for i := range w {
		x := float64(i-r) / sigma
		w[i] = math.Exp(-x * x / 2)
		sum += w[i]
	}
	for i := range w {
		w[i] /= sum
	}
	return w
}

func normal(g volume.Grid) r3.Vec { return r3.Unit(r3.Cross(g.Step[0], g.Step[1])) }

// sheet evaluates the softened shape on one plane of the lattice and blurs it in the plane.
type sheet struct {
	h       *shape
	grey    *Levels
	grain   *grain
	lens    lens
	columns int // of the lattice
	rows    int
	ex, ey  r3.Vec // lattice steps, jaw frame
	origin  r3.Vec // of lattice point (0, 0), jaw frame
	value   []float32
	half    []float32 // rows × voxels' columns
	scratch scratch
}

func newSheet(h *shape, g *Levels, t *grain, ln lens, size [3]int) *sheet {
	s := &sheet{h: h, grey: g, grain: t, lens: ln}
	s.columns = (size[0]-1)*ln.fine[0] + len(ln.kernel[0])
	s.rows = (size[1]-1)*ln.fine[1] + len(ln.kernel[1])
	s.value = make([]float32, s.columns*s.rows)
	s.half = make([]float32, s.rows*size[0])
	return s
}

// at returns the place of lattice point (i, j), jaw frame.
func (s *sheet) at(i, j float64) r3.Vec {
	return r3.Vec{
		X: s.origin.X + i*s.ex.X + j*s.ey.X,
		Y: s.origin.Y + i*s.ex.Y + j*s.ey.Y,
		Z: s.origin.Z + i*s.ex.Z + j*s.ey.Z,
	}
}

// draw fills the plane, tile by tile.
func (s *sheet) draw() {
	const tile = 32
	var l layers
	for j := 0; j < s.rows; j += tile {
		for i := 0; i < s.columns; i += tile {
			s.tile(i, j, tile, 1<<lCount-1, l)
		}
	}
}

// tile fills a square of the lattice: at once where no surface is near, else in quarters.
func (s *sheet) tile(i, j, size int, m mask, l layers) {
	if i >= s.columns || j >= s.rows {
		return
	}
	if size <= 2 {
		s.points(i, j, size, m, &l)
		return
	}
	c := float64(size-1) / 2
	s.h.fill(s.at(float64(i)+c, float64(j)+c), m, &l, &s.scratch)
	reach := c*math.Hypot(s.lens.pitch[0], s.lens.pitch[1]) + 4.1*s.lens.p
	m = s.h.near(&l, m, reach)
	if m == 0 {
		if s.grain != nil && l.d[lMarrow] < 0 {
			s.points(i, j, size, 0, &l)
			return
		}
		s.flood(i, j, size, float32(s.h.paint(&l, s.grey, s.lens.p, nil, r3.Vec{})))
		return
	}
	q := size / 2
	s.tile(i, j, q, m, l)
	s.tile(i+q, j, q, m, l)
	s.tile(i, j+q, q, m, l)
	s.tile(i+q, j+q, q, m, l)
}

func (s *sheet) flood(i, j, size int, v float32) {
	right := min(i+size, s.columns)
	for y := j; y < min(j+size, s.rows); y++ {
		row := s.value[y*s.columns+i : y*s.columns+right]
		for x := range row {
			row[x] = v
		}
	}
}

func (s *sheet) points(i, j, size int, m mask, l *layers) {
	for y := j; y < min(j+size, s.rows); y++ {
		for x := i; x < min(i+size, s.columns); x++ {
			p := s.at(float64(x), float64(y))
			s.h.fill(p, m, l, &s.scratch)
			s.value[y*s.columns+x] = float32(s.h.paint(l, s.grey, s.lens.p, s.grain, p))
		}
	}
}

// blur blurs the plane along its rows, at the voxels' columns only.
func (s *sheet) blur(size [3]int) {
	kx, fx := s.lens.kernel[0], s.lens.fine[0]
	for y := range s.rows {
		row := s.value[y*s.columns : (y+1)*s.columns]
		out := s.half[y*size[0] : (y+1)*size[0]]
		if flat(row) {
			for x := range out {
				out[x] = row[0]
			}
			continue
		}
		for x := range out {
			sum := 0.0
			for i, v := range row[x*fx : x*fx+len(kx)] {
				sum += kx[i] * float64(v)
			}
			out[x] = float32(sum)
		}
	}
}

func flat(row []float32) bool {
	for _, v := range row {
		if v != row[0] {
			return false
		}
	}
	return true
}

// addTo adds the plane, blurred along its columns too, to each slice with its weight.
func (s *sheet) addTo(slices [][]float32, weights []float64, size [3]int) {
	ky, fy := s.lens.kernel[1], s.lens.fine[1]
	n := size[0]
	sum := make([]float32, n)
	for y := range size[1] {
		clear(sum)
		for i, k := range ky {
			row := s.half[(y*fy+i)*n : (y*fy+i+1)*n]
			w := float32(k)
			for x, v := range row {
				sum[x] += w * v
			}
		}
		for q, out := range slices {
			w, out := float32(weights[q]), out[y*n:(y+1)*n]
			for x, v := range sum {
				out[x] += w * v
			}
		}
	}
}
