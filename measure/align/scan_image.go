package align

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

// image is a volume made ready to be asked at scattered points: one product a coordinate, no call a corner.
type image struct {
	size   [3]int
	origin r3.Vec
	to     [3]r3.Vec // a point's index is its dot product with these, less the origin's; voxels/mm
	stored []int16   // column fastest, then row, then slice
	scale  []volume.Rescale
	blank  int16
	blanks bool
}

func newImage(v *volume.Volume) *image {
	m := &image{size: v.Size, origin: v.Origin, stored: v.Stored}
	for axis, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		i := v.IndexVec(e)
		for row, x := range [3]float64{i.I, i.J, i.K} {
			*[3]*float64{&m.to[row].X, &m.to[row].Y, &m.to[row].Z}[axis] = x
		}
	}
	for k := range v.Size[2] {
		m.scale = append(m.scale, v.RescaleOf(k))
	}
	if v.Blank != nil {
		m.blank, m.blanks = *v.Blank, true
	}
	return m
}

// index returns the place of patient point p (mm) on the grid, voxels.
func (m *image) index(p r3.Vec) [3]float64 {
	d := r3.Sub(p, m.origin)
	return [3]float64{r3.Dot(d, m.to[0]), r3.Dot(d, m.to[1]), r3.Dot(d, m.to[2])}
}

// at returns the grey value at patient point p by trilinear interpolation, and its gradient in the patient (grey values
// per mm). ok is false outside the field and beside a blank voxel.
func (m *image) at(p r3.Vec) (grey float64, slope r3.Vec, ok bool) {
	x := m.index(p)
	var cell [3]int
	var f [3]float64
	for a := range 3 {
		if !(x[a] >= 0 && x[a] < float64(m.size[a]-1)) {
			return 0, r3.Vec{}, false
		}
		cell[a] = int(x[a])
		f[a] = x[a] - float64(cell[a])
	}
	row, slice := m.size[0], m.size[0]*m.size[1]
	first := (cell[2]*m.size[1]+cell[1])*row + cell[0]
	var c [8]float64
	for k := range 2 {
		s := m.scale[cell[2]+k]
		low, high := m.stored[first+k*slice:first+k*slice+2], m.stored[first+k*slice+row:first+k*slice+row+2]
		if m.blanks && (low[0] == m.blank || low[1] == m.blank || high[0] == m.blank || high[1] == m.blank) {
			return 0, r3.Vec{}, false
		}
		c[4*k], c[4*k+1] = s.Slope*float64(low[0])+s.Intercept, s.Slope*float64(low[1])+s.Intercept
		c[4*k+2], c[4*k+3] = s.Slope*float64(high[0])+s.Intercept, s.Slope*float64(high[1])+s.Intercept
	}
	// along columns, then rows, then slices
	d00, d10, d01, d11 := c[1]-c[0], c[3]-c[2], c[5]-c[4], c[7]-c[6]
	a00, a10, a01, a11 := c[0]+f[0]*d00, c[2]+f[0]*d10, c[4]+f[0]*d01, c[6]+f[0]*d11
	b0, b1 := a00+f[1]*(a10-a00), a01+f[1]*(a11-a01)
	gi := (1-f[2])*((1-f[1])*d00+f[1]*d10) + f[2]*((1-f[1])*d01+f[1]*d11)
	gj := (1-f[2])*(a10-a00) + f[2]*(a11-a01)
	gk := b1 - b0
	slope = r3.Add(r3.Add(r3.Scale(gi, m.to[0]), r3.Scale(gj, m.to[1])), r3.Scale(gk, m.to[2]))
	return b0 + f[2]*gk, slope, true
}

// reduced returns the volume with as many voxels put into one, along each axis, as bring their spacing nearest to edge
// mm, and never beyond; the volume itself where its voxels are that large. A voxel without any value is blank.
func reduced(v *volume.Volume, edge float64) *volume.Volume {
	var by [3]int
	whole := true
	for axis, h := range v.Spacing() {
		by[axis] = max(1, min(v.Size[axis]/2, int(edge/h)))
		whole = whole && by[axis] == 1
	}
	if whole {
		return v
	}
	g := v.Grid
	for axis := range 3 {
		g.Size[axis] = v.Size[axis] / by[axis]
		g.Origin = r3.Add(g.Origin, r3.Scale(float64(by[axis]-1)/2, v.Step[axis]))
		g.Step[axis] = r3.Scale(float64(by[axis]), v.Step[axis])
	}
	out := &volume.Volume{Grid: g, Stored: make([]int16, g.Size[0]*g.Size[1]*g.Size[2]), Rescale: []volume.Rescale{{Slope: 1}}}
	blank := int16(math.MinInt16)
	out.Blank = &blank
	fit.Each(g.Size[2], func(k int) { reduceSlice(v, out, by, k) })
	return out
}

// reduceSlice fills slice k of out with the means of v's voxels.
func reduceSlice(v, out *volume.Volume, by [3]int, k int) {
	n := out.Size
	sum, count := make([]float64, n[0]*n[1]), make([]float64, n[0]*n[1])
	for dk := range by[2] {
		s := v.RescaleOf(k*by[2] + dk)
		for j := range n[1] * by[1] {
			row := v.Stored[((k*by[2]+dk)*v.Size[1]+j)*v.Size[0]:]
			at := j / by[1] * n[0]
			for i := range n[0] {
				for _, x := range row[i*by[0] : (i+1)*by[0]] {
					if v.Blank == nil || x != *v.Blank {
						sum[at+i] += s.Slope*float64(x) + s.Intercept
						count[at+i]++
					}
				}
			}
		}
	}
	slice := out.Stored[k*n[0]*n[1]:]
	for i, c := range count {
		slice[i] = *out.Blank
		if c > 0 {
			slice[i] = int16(max(-32000, min(32000, math.Round(sum[i]/c))))
		}
	}
}
