package reformat

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Field is a volume seen from a section's frame: the room that finds the ridge asks it for
// rasters, lines and the voxels themselves, and never learns how they lie in the patient.
type Field struct {
	Frame
	v     *volume.Volume
	probe volume.Probe
}

// NewField returns v as seen from frame f.
func NewField(v *volume.Volume, f Frame) Field { return Field{f, v, v.Probe()} }

// Voxel returns the smallest and the largest distance between neighbouring voxels, in mm.
func (f Field) Voxel() (least, most float64) {
	s := f.v.Spacing()
	return min(s[0], s[1], s[2]), max(s[0], s[1], s[2])
}

// Spacing returns the distances between neighbouring voxels along column, row and slice, in mm.
func (f Field) Spacing() [3]float64 { return f.v.Spacing() }

// Section resamples the section itself; see [Resample].
func (f Field) Section(min, max UV, step float64) Section {
	return Resample(f.v, f.Frame, min, max, step)
}

// Grey returns the grey value at section point p, off mm along T from the section; NaN outside
// the field. The result is a relative grey value without unit.
func (f Field) Grey(p UV, off float64) float64 {
	return f.probe.At(r3.Add(f.Patient(p), r3.Scale(off, f.T)))
}

// VoxelSample is one voxel near a point of the section, in a local frame of that point.
type VoxelSample struct {
	N    float64 // along the given normal, mm
	X    float64 // at right angles to it in the section (normal turned by +90° from u to v), mm
	T    float64 // along the arch, mm
	Grey float64 // relative grey value

	Voxel int // its place in the grid, column fastest: see [Field.Strides]
}

// Strides returns by how much a voxel's Voxel grows from a column, a row and a slice to the next.
func (f Field) Strides() [3]int { return [3]int{1, f.v.Size[0], f.v.Size[0] * f.v.Size[1]} }

// Near appends to dst the voxels whose centres lie in the cylinder around section point p with
// its axis along the unit vector normal: N between low and high, X² + T² ≤ radius² (mm). Blank
// voxels and voxels beyond the grid are left out.
func (f Field) Near(dst []VoxelSample, p, normal UV, low, high, radius float64) []VoxelSample {
	at := f.Patient(p)
	n, x := f.Direction(normal), f.Direction(UV{-normal.V, normal.U})
	lo, hi := f.box(at, n, low, high, radius)
	g := f.v.Grid
	stepI := r3.Vec{X: r3.Dot(g.Step[0], n), Y: r3.Dot(g.Step[0], x), Z: r3.Dot(g.Step[0], f.T)}
	for k := lo[2]; k <= hi[2]; k++ {
		rescale := f.v.RescaleOf(k)
		for j := lo[1]; j <= hi[1]; j++ {
			d := r3.Sub(g.Patient(volume.Index{I: float64(lo[0]), J: float64(j), K: float64(k)}), at)
			q := r3.Vec{X: r3.Dot(d, n), Y: r3.Dot(d, x), Z: r3.Dot(d, f.T)}
			first := (k*g.Size[1] + j) * g.Size[0]
			row := f.v.Stored[first:]
			for i := lo[0]; i <= hi[0]; i++ {
				if q.X >= low && q.X <= high && q.Y*q.Y+q.Z*q.Z <= radius*radius && (f.v.Blank == nil || row[i] != *f.v.Blank) {
					dst = append(dst, VoxelSample{q.X, q.Y, q.Z, rescale.Slope*float64(row[i]) + rescale.Intercept, first + i})
				}
				q = r3.Add(q, stepI)
			}
		}
	}
	return dst
}

// box returns the index range that holds the cylinder, cut to the grid.
func (f Field) box(at, n r3.Vec, low, high, radius float64) (lo, hi [3]int) {
	g := f.v.Grid
	centre := g.Index(at)
	det := r3.Dot(g.Step[0], r3.Cross(g.Step[1], g.Step[2]))
	for axis, c := range [3]float64{centre.I, centre.J, centre.K} {
		grad := r3.Scale(1/det, r3.Cross(g.Step[(axis+1)%3], g.Step[(axis+2)%3])) // of the index, per mm
		along := r3.Dot(grad, n)
		across := radius * math.Sqrt(math.Max(0, r3.Norm2(grad)-along*along))
		lo[axis] = max(0, int(math.Ceil(c+math.Min(along*low, along*high)-across)))
		hi[axis] = min(g.Size[axis]-1, int(math.Floor(c+math.Max(along*low, along*high)+across)))
	}
	return lo, hi
}
