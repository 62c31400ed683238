package volume

import (
	"math"
	"runtime"
	"sync"
	"unsafe"

	"gonum.org/v1/gonum/spatial/r3"
)

// Plane is a raster of points in the patient: pixel (x, y) lies at Origin + x·StepX + y·StepY.
type Plane struct {
	Origin        r3.Vec // centre of pixel (0, 0), patient LPS, mm
	StepX, StepY  r3.Vec // patient vectors from a pixel to its right and its lower neighbour, mm
	Width, Height int    // pixels
}

// edge is how far outside the outermost voxel centres a point still counts as on them, in
// voxels: the rounding of a few float64 operations on coordinates of some hundred voxels.
const edge = 1e-6

// At returns the grey value at patient point p (LPS, mm) by trilinear interpolation, or NaN
// outside the field. The result is a relative grey value without unit. Who asks at many points asks a [Probe].
func (v *Volume) At(p r3.Vec) float64 { return v.Probe().At(p) }

// Probe reads a volume at single points; it holds what they share.
type Probe struct {
	v          *Volume
	bc, ca, ab r3.Vec  // as of [Grid.inverse]
	det        float64 // mm³
}

// Probe returns a probe of the volume.
func (v *Volume) Probe() Probe {
	bc, ca, ab, det := v.inverse()
	return Probe{v, bc, ca, ab, det}
}

// At is [Volume.At]: a relative grey value without unit, NaN outside the field.
func (p Probe) At(at r3.Vec) float64 {
	d := r3.Sub(at, p.v.Origin)
	return float64(p.v.at(Index{r3.Dot(d, p.bc) / p.det, r3.Dot(d, p.ca) / p.det, r3.Dot(d, p.ab) / p.det}))
}

// at interpolates at ix; NaN outside the voxel centres and next to a blank voxel with weight.
func (v *Volume) at(ix Index) float32 {
	i, fi, ok1 := cell(ix.I, v.Size[0])
	j, fj, ok2 := cell(ix.J, v.Size[1])
	k, fk, ok3 := cell(ix.K, v.Size[2])
	if !ok1 || !ok2 || !ok3 {
		return float32(math.NaN())
	}
	if v.plain() && i+1 < v.Size[0] && j+1 < v.Size[1] && k+1 < v.Size[2] {
		return v.within(i, j, k, fi, fj, fk)
	}
	sum := 0.0
	for corner := range 8 {
		di, dj, dk := corner&1, corner>>1&1, corner>>2
		w := weight(fi, di) * weight(fj, dj) * weight(fk, dk)
		if w == 0 {
			continue
		}
		sum += w * v.Grey(i+di, j+dj, k+dk)
	}
	return float32(sum)
}

// within is at in a whole cell of a plain volume: the same sum, term by term.
func (v *Volume) within(i, j, k int, fi, fj, fk float64) float32 {
	r, row, slice, sum := v.Rescale[0], v.Size[0], v.Size[0]*v.Size[1], 0.0
	for dk, wk := range [2]float64{1 - fk, fk} {
		first := (k+dk)*slice + j*row + i
		low, high := v.Stored[first:first+2], v.Stored[first+row:first+row+2]
		sum += (1 - fi) * (1 - fj) * wk * (r.Slope*float64(low[0]) + r.Intercept)
		sum += fi * (1 - fj) * wk * (r.Slope*float64(low[1]) + r.Intercept)
		sum += (1 - fi) * fj * wk * (r.Slope*float64(high[0]) + r.Intercept)
		sum += fi * fj * wk * (r.Slope*float64(high[1]) + r.Intercept)
	}
	return float32(sum)
}

func weight(f float64, upper int) float64 {
	if upper == 1 {
		return f
	}
	return 1 - f
}

// cell returns the voxel below x on an axis of n voxels and the fraction above it.
func cell(x float64, n int) (int, float64, bool) {
	if !(x >= -edge && x <= float64(n-1)+edge) {
		return 0, 0, false
	}
	i := int(x)
	switch f := x - float64(i); { // on a voxel centre the neighbours have no say, blank ones least of all
	case f <= edge:
		return i, 0, true
	case f >= 1-edge:
		return i + 1, 0, true
	default:
		return i, f, true
	}
}

// Sample fills dst (Width·Height grey values, row by row) with the volume on the plane, by
// trilinear interpolation; NaN outside the field. dst is allocated when it is too short. Rows
// are shared out to as many goroutines as there are processors.
func (v *Volume) Sample(dst []float32, p Plane) []float32 { return v.SampleMean(dst, p, p.Origin) }

// SampleMean is [Volume.Sample] of the mean of as many copies of the plane as it has origins (patient LPS, mm); NaN
// where one of them has no value. They are read row by row together: they share much of the memory.
func (v *Volume) SampleMean(dst []float32, p Plane, origins ...r3.Vec) []float32 {
	n := p.Width * p.Height
	if cap(dst) < n {
		dst = make([]float32, n)
	}
	dst = dst[:n]
	workers := min(runtime.GOMAXPROCS(0), 1+n/4096)
	if workers == 1 {
		v.rows(dst, p, origins, 0, 1)
		return dst
	}
	var wait sync.WaitGroup
	for w := range workers {
		wait.Go(func() { v.rows(dst, p, origins, w, workers) })
	}
	wait.Wait()
	return dst
}

// rows samples every step-th row from the first on.
func (v *Volume) rows(dst []float32, p Plane, origins []r3.Vec, first, step int) {
	var copied []float32
	if len(origins) > 1 {
		copied = make([]float32, p.Width)
	}
	for y := first; y < p.Height; y += step {
		row, down := dst[y*p.Width:(y+1)*p.Width], r3.Scale(float64(y), p.StepY)
		v.row(row, r3.Add(origins[0], down), p.StepX)
		for _, o := range origins[1:] {
			v.row(copied, r3.Add(o, down), p.StepX)
			for x, g := range copied {
				row[x] += g
			}
		}
		if len(origins) > 1 {
			for x := range row {
				row[x] /= float32(len(origins))
			}
		}
	}
}

// row samples one row of pixels that starts at patient point p.
func (v *Volume) row(dst []float32, p, step r3.Vec) {
	a, d := v.Index(p), v.IndexVec(step)
	point := func(x int) Index {
		f := float64(x)
		return Index{a.I + f*d.I, a.J + f*d.J, a.K + f*d.K}
	}
	lo, hi := 0, 0
	if v.plain() {
		lo, hi = v.inside(a, d, len(dst))
		for x := lo; x < hi; x += stretch {
			v.step(dst[x:min(hi, x+stretch)], point(x), d)
		}
	}
	for x := range lo {
		dst[x] = v.at(point(x))
	}
	for x := hi; x < len(dst); x++ {
		dst[x] = v.at(point(x))
	}
}

// plain reports whether the fast loop applies: one rescale, no blank voxels, no flat axis.
func (v *Volume) plain() bool {
	return v.Blank == nil && len(v.Rescale) == 1 && v.Size[0] > 1 && v.Size[1] > 1 && v.Size[2] > 1
}

// inside returns the pixels lo ≤ x < hi of a row of n whose cell lies well within the grid.
func (v *Volume) inside(a, d Index, n int) (lo, hi int) {
	l, h := 0.0, float64(n-1)
	clip := func(start, step float64, size int) {
		top := float64(size-1) - edge
		switch {
		case step == 0 && !(start >= edge && start <= top):
			h = -1
		case step > 0:
			l, h = math.Max(l, (edge-start)/step), math.Min(h, (top-start)/step)
		case step < 0:
			l, h = math.Max(l, (top-start)/step), math.Min(h, (edge-start)/step)
		}
	}
	clip(a.I, d.I, v.Size[0])
	clip(a.J, d.J, v.Size[1])
	clip(a.K, d.K, v.Size[2])
	if !(l <= h) {
		return 0, 0
	}
	lo, hi = int(math.Ceil(l)), int(math.Floor(h))+1
	if lo >= hi {
		return 0, 0
	}
	return lo, hi
}

// fixed is a grid coordinate with 32 fractional bits: adding a step is exact to 2⁻³³ voxel, so
// a stretch of pixels ends within half of edge of where it should.
func fixed(x float64) int64 { return int64(math.Round(x * (1 << 32))) }

// stretch is after how many pixels a row's place is worked out anew: stretch·2⁻³³ voxel < edge/2.
const stretch = 4096

// floats holds each stored value as a float32, by its bits: a load from here is half as dear as a
// conversion, of which a sample needs eight. A scan's few thousand values stay in the nearest cache;
// all 65536, which no scan has, cost less than a tenth of the speed.
var floats = func() (table [1 << 16]float32) {
	for i := range table {
		table[i] = float32(int16(i))
	}
	return table
}()

// held reports whether the cells at i, i+di … i+(n−1)·di, n ≤ stretch, fixed, all have a voxel below and one above on
// an axis of size voxels. It is exact: between its two ends an arithmetic progression of integers leaves no
// interval that holds both, and nothing overflows unseen. With |di| ≤ 2⁵⁰ and n ≤ 2¹² the way is at most
// 2⁶², so i ≥ 0 less the way fits an int64, and i plus the way either fits or comes out negative.
func held(i, di int64, n, size int) bool {
	const far = 1 << 50
	last := int64(size) - 2
	if n > stretch || di < -far || di > far {
		return false
	}
	end := i + int64(n-1)*di
	return i >= 0 && i>>32 <= last && end >= 0 && end>>32 <= last
}

// step fills dst, at most stretch pixels, with the grey values at a, a+d, a+2d … Where a cell would lie outside the
// grid, which inside leaves to none, the checked way is taken.
func (v *Volume) step(dst []float32, a, d Index) {
	if len(dst) == 0 {
		return
	}
	i, j, k := fixed(a.I), fixed(a.J), fixed(a.K)
	di, dj, dk := fixed(d.I), fixed(d.J), fixed(d.K)
	n := v.Size
	if len(v.Stored) == n[0]*n[1]*n[2] && held(i, di, len(dst), n[0]) && held(j, dj, len(dst), n[1]) && held(k, dk, len(dst), n[2]) {
		v.unchecked(dst, [3]int64{i, j, k}, [3]int64{di, dj, dk})
		return
	}
	for x := range dst {
		f := float64(x)
		dst[x] = v.at(Index{a.I + f*d.I, a.J + f*d.J, a.K + f*d.K})
	}
}

// unchecked is the hot loop: trilinear interpolation at fixed coordinates a, a+d, a+2d …, all of whose cells are
// held. One voxel below and one above on each axis, and as many stored values as the grid has voxels,
// are all that the loads touch. Checking each load instead took 1.08 times as long, held 1.01 times (rows of 600, least of 600 rounds).
func (v *Volume) unchecked(dst []float32, a, d [3]int64) {
	const frac = 1.0 / (1 << 32)
	i, j, k := a[0], a[1], a[2]
	di, dj, dk := d[0], d[1], d[2]
	row := uintptr(v.Size[0]) * 2
	slice := row * uintptr(v.Size[1])
	base, table := unsafe.Pointer(&v.Stored[0]), &floats
	slope, intercept := float32(v.Rescale[0].Slope), float32(v.Rescale[0].Intercept)
	for x := range dst {
		p := unsafe.Add(base, uintptr(k>>32)*slice+uintptr(j>>32)*row+uintptr(i>>32)*2)
		fi := float32(int64(uint32(i))) * frac
		fj := float32(int64(uint32(j))) * frac
		fk := float32(int64(uint32(k))) * frac
		i, j, k = i+di, j+dj, k+dk // here, not last: fewer values wait in registers
		c00 := lerp(table, p, fi)
		c10 := lerp(table, unsafe.Add(p, row), fi)
		c0 := c00 + fj*(c10-c00)
		p = unsafe.Add(p, slice)
		c01 := lerp(table, p, fi)
		c11 := lerp(table, unsafe.Add(p, row), fi)
		c1 := c01 + fj*(c11-c01)
		dst[x] = slope*(c0+fk*(c1-c0)) + intercept
	}
}

// lerp interpolates between the stored value at p and its right neighbour.
func lerp(table *[1 << 16]float32, p unsafe.Pointer, f float32) float32 {
	pair := (*[2]uint16)(p)
	a, b := table[pair[0]], table[pair[1]]
	return a + f*(b-a)
}
