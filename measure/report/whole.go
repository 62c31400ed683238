package report

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// gapRadius is the radius, mm, of the ball that cannot pass a gap in the cortex: our choice. Openings narrower than
// twice it are closed: noise in a thin plate, the mental foramen (about 3 mm wide, from memory), and a narrow
// socket with them. Larger, wider sockets would be closed; smaller, a foramen would empty the bone.
const gapRadius = 2.0

// lattice is a block's grid as flags, widened across the section (columns and rows) by a rim that is outside the
// bone. Along the arch it is not: the bone goes on there, and nothing comes in by its cut ends.
type lattice struct {
	size [3]int
	rim  int
	ball [][3]int // steps no longer than gapRadius
}

func latticeOf(b Block) lattice {
	least := math.Min(r3.Norm(b.Step[0]), math.Min(r3.Norm(b.Step[1]), r3.Norm(b.Step[2])))
	n := int(math.Ceil(gapRadius / least))
	c := lattice{rim: n + 1, size: [3]int{b.Size[0] + 2*n + 2, b.Size[1] + 2*n + 2, b.Size[2]}}
	for k := -n; k <= n; k++ {
		for j := -n; j <= n; j++ {
			for i := -n; i <= n; i++ {
				s := r3.Add(r3.Scale(float64(i), b.Step[0]), r3.Add(r3.Scale(float64(j), b.Step[1]), r3.Scale(float64(k), b.Step[2])))
				if r3.Norm(s) <= gapRadius+1e-9 {
					c.ball = append(c.ball, [3]int{i, j, k})
				}
			}
		}
	}
	return c
}

// of returns the flag of each value of the block as cells; the rim is false.
func (c lattice) of(b Block, is func(grey float64) bool) []bool {
	out := make([]bool, c.size[0]*c.size[1]*c.size[2])
	c.each(b, func(cell, value int) { out[cell] = is(float64(b.Grey[value])) })
	return out
}

// each calls do with every value of the block and the number of its cell.
func (c lattice) each(b Block, do func(cell, value int)) {
	value := 0
	for k := range b.Size[2] {
		for j := range b.Size[1] {
			for i := range b.Size[0] {
				do((k*c.size[1]+j+c.rim)*c.size[0]+i+c.rim, value)
				value++
			}
		}
	}
}

// near returns the cells that a ball about any of the set ones reaches.
func (c lattice) near(set []bool) []bool {
	out := make([]bool, len(set))
	for n, is := range set {
		if !is {
			continue
		}
		i, j, k := n%c.size[0], n/c.size[0]%c.size[1], n/c.size[0]/c.size[1]
		for _, d := range c.ball {
			if x, y, z := i+d[0], j+d[1], k+d[2]; x >= 0 && y >= 0 && z >= 0 && x < c.size[0] && y < c.size[1] && z < c.size[2] {
				out[(z*c.size[1]+y)*c.size[0]+x] = true
			}
		}
	}
	return out
}

// flood sets mark to name in every cell that faces lead to from cell n without leaving free ones; it returns
// how many.
func (c lattice) flood(n int, free []bool, mark []int, name int) int {
	row, slice := c.size[0], c.size[0]*c.size[1]
	mark[n] = name
	found := []int{n}
	for at := 0; at < len(found); at++ {
		n := found[at]
		i, j := n%row, n/row%c.size[1]
		for _, to := range [6]struct {
			n  int
			in bool
		}{{n - 1, i > 0}, {n + 1, i < row-1}, {n - row, j > 0}, {n + row, j < c.size[1]-1}, {n - slice, n >= slice}, {n + slice, n+slice < len(free)}} {
			if to.in && free[to.n] && mark[to.n] == 0 {
				mark[to.n] = name
				found = append(found, to.n)
			}
		}
	}
	return len(found)
}

// wholeBone returns the block with the bone solid and in one piece at level: marrow, canals and gaps of the cortex
// that no ball of [gapRadius] reaches from outside the section are bone, and pieces apart from the largest are none.
// A value that changes sides is mirrored at level. Values outside the field stop the ball, so that bone cut by the
// field stays whole; where the field shows nothing outside the bone, the block comes back as it is.
func wholeBone(b Block, level float64) Block {
	c := latticeOf(b)
	bone := c.of(b, func(g float64) bool { return g >= level })
	beyond := c.of(b, math.IsNaN)
	outside, shown := c.outside(c.pieces(bone, len(c.ball)), beyond, b) // noise in soft tissue does not stop the ball
	if !shown {
		return b
	}
	solid := c.of(b, func(g float64) bool { return !math.IsNaN(g) })
	for n, out := range outside {
		solid[n] = solid[n] && (bone[n] || !out)
	}
	largest := c.pieces(solid, 0)
	grey := make([]float32, len(b.Grey))
	c.each(b, func(cell, value int) {
		grey[value] = b.Grey[value]
		if !beyond[cell] && largest[cell] != bone[cell] {
			grey[value] = float32(2*level) - b.Grey[value]
		}
	})
	b.Grey = grey
	return b
}

// outside returns the cells that the ball covers on its way from the rim, and whether any of them is in the block.
func (c lattice) outside(bone, beyond []bool, b Block) (covered []bool, shown bool) {
	free := c.near(bone)
	for n := range free {
		free[n] = !free[n] && !beyond[n]
	}
	mark := make([]int, len(free))
	c.flood(0, free, mark, 1) // a corner of the rim, which is all in one piece
	reached := make([]bool, len(free))
	for n := range free {
		reached[n] = mark[n] == 1
	}
	c.each(b, func(cell, _ int) { shown = shown || reached[cell] })
	return c.near(reached), shown
}

// pieces returns the set cells without those of pieces of fewer than least cells; 0: of any but the largest.
func (c lattice) pieces(set []bool, least int) []bool {
	mark, sizes := make([]int, len(set)), []int{0}
	for n, is := range set {
		if is && mark[n] == 0 {
			sizes = append(sizes, c.flood(n, set, mark, len(sizes)))
		}
	}
	if least == 0 {
		least = slices.Max(sizes)
	}
	out := make([]bool, len(set))
	for n, name := range mark {
		out[n] = name > 0 && sizes[name] >= least
	}
	return out
}
