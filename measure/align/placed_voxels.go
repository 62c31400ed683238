package align

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

// Which voxels are asked. Wide enough for what lies outside to show, narrow enough for a straight line. Our choice: of synthetic implants
// the platform is 0.013 to 0.019 mm off (root mean square) with 2.5 to 4 blurs outward; with 1.5 some are lost.
const (
	inward   = 2.5  // blurs, from the surface
	outward  = 3.0  // blurs
	rim      = 0.3  // mm from where sides and ends meet: the rim's bloom is round
	shown    = 0.95 // of the way from tissue to metal: a voxel expected to be brighter is not asked, the scan may have cut it off
	sectors  = 8    // patches about the axis
	slab     = 1.5  // mm, of a patch along the axis
	noiseSet = 100  // grey values, before it is known
	rounds   = 5    // of choosing the voxels and fitting
)

// fit moves the body onto its voxels.
func (f *finder) fit(v *volume.Volume) (FoundImplant, error) {
	b := &bodyFit{want: f.want, middle: f.middle, axis: f.axis}
	b.u, b.w = frameOf(b.axis)
	b.at[placedBloom], b.at[placedBlur], b.at[placedMetal] = 0.2, 0.5, f.tissue+1.3*(f.metal-f.tissue)
	var last *fit.Equations
	for round := range rounds {
		b.gather(v, f.tissue+shown*(f.metal-f.tissue))
		if err := b.enough(); err != nil {
			return FoundImplant{}, err
		}
		if round > 0 {
			b.weigh()
		}
		ok := false
		last, ok = fit.Descend(b, fit.Descent{Steps: 30, Ease: 0.2, Settled: 1e-7})
		if !ok {
			return FoundImplant{}, fmt.Errorf("%w: the surface of the bright body is not seen all round", ErrNoImplant)
		}
		b.recentre()
	}
	return b.found(last)
}

// enough refuses a body of which too little is seen.
func (b *bodyFit) enough() error {
	var seen [3]int
	for _, s := range b.samples {
		seen[s.face]++
	}
	for on, least := range [3]int{60, 8, 8} { // our choice
		if seen[on] < least {
			return fmt.Errorf("%w: only %d voxels of its %s are seen", ErrNoImplant, seen[on], [3]string{"sides", "coronal end", "apical end"}[on])
		}
	}
	return nil
}

// gather collects the voxels about the surface as it now is, but for those expected to be brighter than top.
func (b *bodyFit) gather(v *volume.Volume, top float64) {
	old, own := b.patches, b.outside
	b.samples, b.patches = nil, map[patch]int{}
	low, high := b.box(v)
	for k := low[2]; k <= high[2]; k++ {
		for j := low[1]; j <= high[1]; j++ {
			for i := low[0]; i <= high[0]; i++ {
				p := v.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)})
				grey := v.Grey(i, j, k)
				at, near := b.patchOf(p)
				if !near || grey != grey {
					continue
				}
				share, outside := b.expects(p, at.face, &b.at)
				expected := share*b.at[placedMetal] + (1-share)*700 // at first: about bone
				if n, known := old[at]; known {
					expected = share*b.at[placedMetal] + outside[0]*own[n][0] + outside[1]*own[n][1]
				}
				if expected > top {
					continue
				}
				n, known := b.patches[at]
				if !known {
					n = len(b.patches)
					b.patches[at] = n
				}
				b.samples = append(b.samples, voxelSample{p, grey, at.face, n, 1.0 / (noiseSet * noiseSet)})
			}
		}
	}
}

// box returns the voxels that may lie near the surface.
func (b *bodyFit) box(v *volume.Volume) (low, high [3]int) {
	beyond := outward * b.at[placedBlur]
	long := b.want.Length/2 + b.at[placedEnds] + beyond
	wide := max(b.want.Apex, b.want.Diameter)/2 + b.at[placedBloom] + beyond
	for axis := range 3 {
		low[axis] = v.Size[axis]
	}
	for corner := range 8 {
		side := func(n int) float64 { return float64(1 - 2*(corner>>n&1)) }
		off := r3.Add(r3.Scale(side(0)*long, b.axis), r3.Add(r3.Scale(side(1)*wide, b.u), r3.Scale(side(2)*wide, b.w)))
		at := v.Index(r3.Add(b.middle, off))
		for axis, x := range [3]float64{at.I, at.J, at.K} {
			low[axis] = max(0, min(low[axis], int(math.Floor(x))))
			high[axis] = min(v.Size[axis]-1, max(high[axis], int(math.Ceil(x))))
		}
	}
	return low, high
}

// patchOf returns the patch of the surface that p belongs to; near is false where it belongs to none.
func (b *bodyFit) patchOf(p r3.Vec) (at patch, near bool) {
	q := r3.Sub(p, b.middle)
	z := r3.Dot(q, b.axis)
	side := across(q, b.axis)
	r, _ := b.radius(z, &b.at)
	in, out := -inward*b.at[placedBlur], outward*b.at[placedBlur]
	turn := math.Atan2(r3.Dot(side, b.w), r3.Dot(side, b.u))/(2*math.Pi) + 0.5
	sector := min(sectors-1, int(turn*sectors))
	if d := r3.Norm(side) - r; math.Abs(z) < b.want.Length/2-rim && in < d && d < out {
		return patch{bodySide, sector, int(math.Floor(z / slab))}, true
	}
	if e := math.Abs(z) - b.want.Length/2 - b.at[placedEnds]; r3.Norm(side) < r-rim && in < e && e < out {
		return patch{map[bool]face{false: coronalEnd, true: apicalEnd}[z > 0], sector / 2, 0}, true
	}
	return patch{}, false
}

// covariance returns that of the unknowns: the patches' slopes scatter as what is wrong with them does, because voxels
// of one patch err together (as in scan_budget.go).
func (b *bodyFit) covariance(last *fit.Equations) (*mat.Dense, bool) {
	inverse, ok := last.Covariance(0)
	if !ok {
		return nil, false
	}
	rows := b.slopes()
	rest := rows.Data[placedUnknowns*rows.Stride:]
	by := make([][placedUnknowns]float64, len(b.patches))
	for q := range placedUnknowns {
		row := rows.Data[q*rows.Stride:]
		for i, s := range b.samples {
			by[s.patch][q] += row[i] * rest[i]
		}
		for n := range by {
			by[n][q] += row[len(b.samples)+n] * rest[len(b.samples)+n]
		}
	}
	scatter := mat.NewSymDense(placedUnknowns, nil)
	for n := range by {
		scatter.SymRankOne(scatter, 1, mat.NewVecDense(placedUnknowns, by[n][:]))
	}
	n := float64(len(b.patches))
	scatter.ScaleSym(n/max(1, n-placedUnknowns), scatter)
	var out mat.Dense
	out.Product(inverse, scatter, inverse)
	return &out, true
}
