package phantom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// tile is the edge, in lattice points, of the squares that a plane of the lattice is cut into.
const tile = 32

// tiler evaluates the softened shape on strips of the lattice, tile by tile. One goroutine has one tiler.
type tiler struct {
	h             *shape
	grey          *Levels
	texture       *texture
	p             float64 // sigma softened in closed form, mm
	diagonal      float64 // of a cell of the lattice, mm
	columns, rows int     // of the lattice
	ex, ey        r3.Vec  // lattice steps, jaw frame

	slab *Slab // jaw frame: what lies outside of it is not drawn; nil: all is

	origin r3.Vec    // of the plane: lattice point (0, 0), jaw frame
	top    int       // first row of the strip
	value  []float32 // of the strip in the plane
	place  place
	point  [tile * tile]column         // of the tile's lattice points
	centre [tile / 2 * tile / 2]column // of the middles of its parts
}

func newTiler(j *Jaw, ln kernel, size [3]int) *tiler {
	b := &tiler{h: j.shape, grey: &j.opt.Grey, texture: j.texture, p: ln.p, diagonal: math.Hypot(ln.pitch[0], ln.pitch[1])}
	b.columns = (size[0]-1)*ln.fine[0] + len(ln.weights[0])
	b.rows = (size[1]-1)*ln.fine[1] + len(ln.weights[1])
	b.ex = j.toJaw(r3.Scale(1/float64(ln.fine[0]), j.grid.Step[0]))
	b.ey = j.toJaw(r3.Scale(1/float64(ln.fine[1]), j.grid.Step[1]))
	return b
}

// at returns the place of lattice point (i, j), jaw frame.
func (b *tiler) at(i, j float64) r3.Vec {
	return r3.Vec{
		X: b.origin.X + i*b.ex.X + j*b.ey.X,
		Y: b.origin.Y + i*b.ex.Y + j*b.ey.Y,
		Z: b.origin.Z + i*b.ex.Z + j*b.ey.Z,
	}
}

// strip fills the rows from top in every plane: value[k], row by row, for the plane at
// origins[k]. It goes tile by tile and, of the copies that take turns in the list, one after the
// other, so that planes one above the other share a tile's columns.
func (b *tiler) strip(top int, origins []r3.Vec, copies int, value [][]float32) {
	b.top = top
	for i := 0; i < b.columns; i += tile {
		for c := range copies {
			for k := c; k < len(origins); k += copies {
				b.origin, b.value = origins[k], value[k]
				b.tile(i, top, tile, 1<<lCount-1, layers{})
			}
		}
	}
}

// tile fills a square of the lattice: at once where no surface is near, else in quarters.
func (b *tiler) tile(i, j, size int, m mask, l layers) {
	if i >= b.columns || j >= b.rows {
		return
	}
	if size <= 2 {
		b.points(i, j, size, m, &l)
		return
	}
	c := float64(size-1) / 2
	if b.slab != nil && b.slab.off(b.at(float64(i)+c, float64(j)+c)) > b.slab.Half+c*b.diagonal {
		return
	}
	// the middles of parts of 32, 16, 8, 4 points have different whole parts of (i+c)/2
	b.place.column = &b.centre[(j%tile+size/2)/2*(tile/2)+(i%tile+size/2)/2]
	reach := c*b.diagonal + 4.1*b.p
	b.h.fill(b.at(float64(i)+c, float64(j)+c), m, &l, &b.place, reach)
	all := m
	m = b.h.near(&l, m, reach)
	shares{b.h, &l, b.p}.saturate(all &^ m)
	if m == 0 {
		if b.texture != nil && l.d[lMarrow] < 0 {
			b.points(i, j, size, 0, &l)
			return
		}
		b.flood(i, j, size, float32(b.h.paint(&l, b.grey, b.p, nil, r3.Vec{})))
		return
	}
	q := size / 2
	b.tile(i, j, q, m, l)
	b.tile(i+q, j, q, m, l)
	b.tile(i, j+q, q, m, l)
	b.tile(i+q, j+q, q, m, l)
}

func (b *tiler) flood(i, j, size int, v float32) {
	right := min(i+size, b.columns)
	for y := j; y < min(j+size, b.rows); y++ {
		row := b.value[(y-b.top)*b.columns+i : (y-b.top)*b.columns+right]
		for x := range row {
			row[x] = v
		}
	}
}

func (b *tiler) points(i, j, size int, m mask, l *layers) {
	for y := j; y < min(j+size, b.rows); y++ {
		for x := i; x < min(i+size, b.columns); x++ {
			p := b.at(float64(x), float64(y))
			b.place.column = &b.point[y%tile*tile+x%tile]
			l.request(p, m, &b.place, 4*b.p)
			b.value[(y-b.top)*b.columns+x] = float32(b.h.paint(l, b.grey, b.p, b.texture, p))
		}
	}
}
