package align

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Where the first scan is asked: at random places, off the grid, in bone and within a few millimetres of it. Skin, tongue
// and air away from bone do not keep their place between two scans.

const (
	coarseEdge = 1.4  // mm, voxels of the search from afar; our choice: capture of some 6 mm and 10°
	middleEdge = 0.75 // mm, voxels of the way between
	nearBone   = 2    // coarse voxels about bone that count as near it
	brick      = 15.0 // mm, edge of the blocks whose scatter gives the uncertainty; our choice: halving it moves u by a tenth
)

// histogram counts the grey values of a reduced volume between its ends.
type histogram struct {
	span
	count []float64
}

func newHistogram(v *volume.Volume) histogram {
	var all []float64
	for i := 0; i < len(v.Stored); i += 1 + len(v.Stored)/200000 { // so many say what all say
		if v.Blank == nil || v.Stored[i] != *v.Blank {
			s := v.RescaleOf(i / (v.Size[0] * v.Size[1]))
			all = append(all, s.Slope*float64(v.Stored[i])+s.Intercept)
		}
	}
	h := histogram{count: make([]float64, 512)}
	if len(all) == 0 {
		return h
	}
	slices.Sort(all)
	h.low, h.high = all[0], all[min(len(all)-1, len(all)*999/1000)]
	for _, g := range all {
		h.count[int(max(0, min(511, 511*(g-h.low)/max(1e-9, h.high-h.low))))]++
	}
	return h
}

// bone returns the grey value from which on a voxel counts as bone or tooth: what is not air is split once more.
func (h histogram) bone() float64 {
	tissue := split(h.count)
	at := tissue + split(h.count[tissue:])
	return h.low + (h.high-h.low)*float64(at)/511
}

// split returns the bin at which the upper of two classes begins, for the greatest variance between them.
//
// Source: Otsu N. IEEE Trans Syst Man Cybern 1979;9:62–66. doi:10.1109/TSMC.1979.4310076
func split(count []float64) (at int) {
	total, sum := 0.0, 0.0
	for i, c := range count {
		total, sum = total+c, sum+c*float64(i)
	}
	best, below, part := -1.0, 0.0, 0.0
	for i, c := range count[:max(0, len(count)-1)] {
		below, part = below+c, part+c*float64(i)
		if below == 0 || below == total {
			continue
		}
		d := part/below - (sum-part)/(total-below)
		if v := below * (total - below) * d * d; v > best {
			best, at = v, i+1
		}
	}
	return at
}

// bony returns the coarse voxels of v that are bone or near it and that keep (nil: all) lets stand, as points (mm), and
// the middle of those that are bone themselves, mm.
func bony(v *volume.Volume, level float64, keep func(r3.Vec) bool) (near []r3.Vec, middle r3.Vec) {
	n := v.Size
	marked := make([]bool, len(v.Stored))
	count := 0.0
	for k := range n[2] {
		for j := range n[1] {
			for i := range n[0] {
				if !(v.Grey(i, j, k) > level) {
					continue
				}
				p := v.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)})
				middle = r3.Add(middle, p)
				count++
				around(n, i, j, k, func(at int) { marked[at] = true })
			}
		}
	}
	for at, is := range marked {
		p := v.Patient(volume.Index{I: float64(at % n[0]), J: float64(at / n[0] % n[1]), K: float64(at / (n[0] * n[1]))})
		if is && (keep == nil || keep(p)) {
			near = append(near, p)
		}
	}
	return near, r3.Scale(1/max(1, count), middle)
}

// around calls f for the voxels within nearBone of one, along each axis.
func around(n [3]int, i, j, k int, f func(at int)) {
	for c := max(0, k-nearBone); c <= min(n[2]-1, k+nearBone); c++ {
		for b := max(0, j-nearBone); b <= min(n[1]-1, j+nearBone); b++ {
			for a := max(0, i-nearBone); a <= min(n[0]-1, i+nearBone); a++ {
				f((c*n[1]+b)*n[0] + a)
			}
		}
	}
}

// scatter returns count random points in the cells (the coarse voxels of grid g), with their grey values in the volume v
// among the bins of s, and how many blocks they fall into. Points come cell by cell: neighbours share memory.
func scatter(v *volume.Volume, g volume.Grid, cells []r3.Vec, keep func(r3.Vec) bool, s span, count int, r *rand.Rand) ([]sample, int) {
	m := newImage(v)
	blocks := map[[3]int]int{}
	var out []sample
	for i := range count {
		cell := cells[int(float64(i)*float64(len(cells))/float64(count))]
		p := cell
		for _, step := range g.Step {
			p = r3.Add(p, r3.Scale(r.Float64()-0.5, step))
		}
		grey, _, ok := m.at(p)
		if !ok || keep != nil && !keep(p) {
			continue
		}
		x, _ := s.bin(grey)
		at := [3]int{int(math.Floor(p.X / brick)), int(math.Floor(p.Y / brick)), int(math.Floor(p.Z / brick))}
		b, known := blocks[at]
		if !known {
			b = len(blocks)
			blocks[at] = b
		}
		bin := int(x)
		out = append(out, sample{p: p, bin: bin, f: x - float64(bin), block: b})
	}
	return out, len(blocks)
}

// rangeOf returns the grey values that the bins divide: those of the cells, moved, but for half a hundredth at either end,
// so that the little metal there is counts as one grey.
func rangeOf(v *volume.Volume, cells []r3.Vec, move func(r3.Vec) r3.Vec) span {
	m := newImage(v)
	var all []float64
	for i := 0; i < len(cells); i += 1 + len(cells)/20000 {
		if g, _, ok := m.at(move(cells[i])); ok {
			all = append(all, g)
		}
	}
	if len(all) == 0 {
		return span{0, 1}
	}
	slices.Sort(all)
	low, high := all[len(all)/200], all[len(all)-1-len(all)/200]
	if high <= low {
		high = low + 1
	}
	return span{low, high}
}

// BoneGrey returns the grey value from which on a voxel of the scan counts as bone or tooth.
func BoneGrey(v *volume.Volume) float64 { return newHistogram(v).bone() }
