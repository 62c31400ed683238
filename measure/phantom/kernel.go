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
	leastOf  = 0.5  // s over the voxel, at least, for a lattice of the voxels alone: an edge moves by 0.0023 of a voxel at most
	fewOf    = 0.5  // r over the lattice spacing, below which a sampled Gaussian is narrower than it says: three weights of its variance
)

// kernel is the split for one grid.
type kernel struct {
	p       float64      // sigma softened in closed form, mm
	fine    [3]int       // lattice points a voxel, along column, row, slice normal
	pitch   [3]float64   // lattice spacing, mm
	weights [3][]float64 // weights −R…R of the rest
}

// newKernel plans the split for a blur of sigma mm on g. The third axis is the slice normal. quick makes do with a lattice of the
// voxels where sigma allows: up to eight times fewer points, edges where they are, and corners, junctions and plates thinner than
// sigma softened more in closed form.
func newKernel(g volume.Grid, sigma float64, quick bool) kernel {
	sp := g.Spacing()
	sp[2] = math.Abs(r3.Dot(g.Step[2], normal(g)))
	var l kernel
	widest := 0.0
	quick = quick && sigma >= leastOf*max(sp[0], sp[1], sp[2])-1e-9
	for i, h := range sp {
		l.fine[i] = max(1, int(math.Ceil(h/(lattice*sigma)-1e-9)))
		if quick {
			l.fine[i] = 1
		}
		l.pitch[i] = h / float64(l.fine[i])
		widest = max(widest, l.pitch[i])
	}
	l.p = min(softPart*widest, sigma)
	rest := math.Sqrt(sigma*sigma - l.p*l.p)
	for i, f := range l.pitch {
		l.weights[i] = gaussian(rest / f)
	}
	return l
}

// gaussian samples a Gaussian of the given sigma at the integers, of sum 1; of a narrow one three weights have its variance.
func gaussian(sigma float64) []float64 {
	if sigma < fewOf {
		side := sigma * sigma / 2
		return []float64{side, 1 - 2*side, side}
	}
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
