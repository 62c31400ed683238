package ridge

import (
	"cmp"
	"slices"

	"ridgerule/measure/reformat"
)

// thin returns an even share of the samples where they are more than most, in their own room: those the
// squares of whose index distances from the middle one add up to a multiple of a prime p, one in p or
// so, and the same ones whichever way round the grid is stored.
func thin(all []reformat.VoxelSample, strides [3]int, most int) []reformat.VoxelSample {
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
	return slices.DeleteFunc(all, func(g reformat.VoxelSample) bool { return l.squares(g)%p != 0 })
}

// lattice is the grid about the voxel nearest to the patch's origin, or about the middle of those that
// are equally near: a plane half-way between two layers of voxels belongs to neither.
type lattice struct{ strides, twice [3]int } // twice the middle's index

func newLattice(all []reformat.VoxelSample, strides [3]int) lattice {
	away := func(g reformat.VoxelSample) float64 { return g.N*g.N + g.X*g.X + g.T*g.T }
	best := slices.MinFunc(all, func(a, b reformat.VoxelSample) int { return cmp.Compare(away(a), away(b)) })
	near := away(best) + rounding
	l := lattice{strides: strides}
	low := l.index(best)
	high := low
	for _, g := range all {
		if away(g) > near {
			continue
		}
		for a, i := range l.index(g) {
			low[a], high[a] = min(low[a], i), max(high[a], i)
		}
	}
	for a := range low {
		l.twice[a] = low[a] + high[a]
	}
	return l
}

func (l lattice) index(g reformat.VoxelSample) [3]int {
	return [3]int{g.Voxel % l.strides[1], g.Voxel % l.strides[2] / l.strides[1], g.Voxel / l.strides[2]}
}

// squares adds up the squares of the index distances from the middle, each without its half.
func (l lattice) squares(g reformat.VoxelSample) (sum int) {
	for a, i := range l.index(g) {
		d := abs(2*i-l.twice[a]) / 2
		sum += d * d
	}
	return sum
}
