package ridge

import (
	"math"
	"slices"

	"ridgerule/measure/reformat"
)

// thin returns an even share of the grains where they are more than most, in their own room: those the
// squares of whose index distances from the middle one add up to a multiple of a prime p, one in p or
// so, and the same ones whichever way round the grid is stored.
func thin(all []reformat.Grain, strides [3]int, most int) []reformat.Grain {
	if len(all) <= most {
		return all
	}
	p := 2
	for _, p = range [...]int{2, 3, 5, 7, 11, 13, 17, 23, 31, 43, 61, 89, 127} {
		if p*most >= len(all) {
			break
		}
	}
	l := newLattice(all, strides)
	return slices.DeleteFunc(all, func(g reformat.Grain) bool { return l.squares(g)%p != 0 })
}

// lattice is the grid about the grain nearest to the patch's origin.
type lattice struct{ strides, middle [3]int }

func newLattice(all []reformat.Grain, strides [3]int) lattice {
	l := lattice{strides: strides}
	best := math.Inf(1)
	for _, g := range all {
		if d := g.N*g.N + g.X*g.X + g.T*g.T; d < best {
			best, l.middle = d, l.index(g)
		}
	}
	return l
}

func (l lattice) index(g reformat.Grain) [3]int {
	return [3]int{g.Voxel % l.strides[1], g.Voxel % l.strides[2] / l.strides[1], g.Voxel / l.strides[2]}
}

// squares adds up the squares of the index distances from the middle.
func (l lattice) squares(g reformat.Grain) (sum int) {
	for a, i := range l.index(g) {
		sum += (i - l.middle[a]) * (i - l.middle[a])
	}
	return sum
}
