// Package volume holds grey values on a grid, and the grid's place in the patient.
//
// A [Volume] flows in from package dicomio (a scan) or measure/phantom (a synthetic jaw) and is
// sampled by the rooms that measure. Frames:
//
//	Index   (i, j, k)  column, row, slice; integers on voxel centres; voxels
//	r3.Vec  (x, y, z)  patient, LPS: +x Left, +y Posterior, +z Superior; mm
//
// Outside the field there is no value: NaN, never 0 and never the value at the edge.
package volume

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrGrid says that a grid is unusable; test for it with [errors.Is].
var ErrGrid = errors.New("volume: unusable grid")

// Index is a position on the grid in voxels, continuous; whole numbers are voxel centres.
type Index struct{ I, J, K float64 }

// Grid is the place of a volume's voxels in the patient, a general affine map:
//
//	P = Origin + i·Step[0] + j·Step[1] + k·Step[2]
//
// The three steps need not be orthogonal: the slices of a tilted gantry are sheared.
//
// Source: DICOM PS3.3 C.7.6.2.1.1.
type Grid struct {
	Size   [3]int    // voxels: columns, rows, slices
	Origin r3.Vec    // patient position of the centre of voxel (0, 0, 0), mm
	Step   [3]r3.Vec // patient vector from a voxel to the next column, row, slice, mm
}

// Rescale turns a stored value into a grey value: Slope·stored + Intercept. A grey value is
// relative; it is not a Hounsfield unit and not a density.
type Rescale struct{ Slope, Intercept float64 }

// Volume is a grid of grey values, 16 bits a voxel.
type Volume struct {
	Grid
	Stored  []int16   // Size[0]·Size[1]·Size[2] stored values: column fastest, then row, then slice
	Rescale []Rescale // one for all slices, or one a slice (len Size[2])
	Blank   *int16    // stored value that marks a voxel outside the field (padding); nil: none
}

// New returns an empty volume on g with slope 1 and intercept 0, or an error wrapping
// [ErrGrid] when g cannot hold one.
func New(g Grid) (*Volume, error) {
	if err := g.Check(); err != nil {
		return nil, err
	}
	n := g.Size[0] * g.Size[1] * g.Size[2]
	return &Volume{Grid: g, Stored: make([]int16, n), Rescale: []Rescale{{Slope: 1}}}, nil
}

// Check returns an error wrapping [ErrGrid] when the grid is empty, not finite or flat
// (its three steps span no volume).
func (g Grid) Check() error {
	for axis, n := range g.Size {
		if n < 1 {
			return fmt.Errorf("%w: %d voxels along axis %d", ErrGrid, n, axis)
		}
	}
	det := r3.Dot(g.Step[0], r3.Cross(g.Step[1], g.Step[2]))
	s := g.Spacing()
	if !(math.Abs(det) > 1e-6*s[0]*s[1]*s[2]) || math.IsInf(det, 0) || hasNaN(g.Origin) {
		return fmt.Errorf("%w: its steps from voxel to voxel, %s, %s and %s mm, span no volume", ErrGrid, coordinates(g.Step[0]), coordinates(g.Step[1]), coordinates(g.Step[2]))
	}
	return nil
}

// coordinates writes a vector, mm, as a person does.
func coordinates(v r3.Vec) string { return fmt.Sprintf("(%.4g, %.4g, %.4g)", v.X, v.Y, v.Z) }

func hasNaN(v r3.Vec) bool { return math.IsNaN(v.X + v.Y + v.Z) }

// Spacing returns the distance between neighbouring voxel centres along each grid axis, in mm.
func (g Grid) Spacing() [3]float64 {
	return [3]float64{r3.Norm(g.Step[0]), r3.Norm(g.Step[1]), r3.Norm(g.Step[2])}
}

// coarseVoxel is the largest voxel size that implant planning is used to, mm. Source: Fokas et al. 2018, systematic
// review, doi:10.1111/clr.13142: 0.3 to 0.4 mm is adequate (abstract read).
const coarseVoxel = 0.4

// Coarse returns the caution, a sentence, that voxels over 0.4 mm in any direction earn; "" where none is due. A hundredth
// more is let pass: steps are fitted.
func (g Grid) Coarse() string {
	d := g.Spacing()
	if max(d[0], d[1], d[2]) <= coarseVoxel*1.01 {
		return ""
	}
	return fmt.Sprintf("voxels of %.3g × %.3g × %.3g mm are coarser than the %.1f mm that implant planning is used to: thin plates and sharp crests are lost, and every number is less sure than it would be", d[0], d[1], d[2], coarseVoxel)
}

// Patient returns the patient position of ix, in mm (LPS).
func (g Grid) Patient(ix Index) r3.Vec {
	p := r3.Add(g.Origin, r3.Scale(ix.I, g.Step[0]))
	p = r3.Add(p, r3.Scale(ix.J, g.Step[1]))
	return r3.Add(p, r3.Scale(ix.K, g.Step[2]))
}

// Bounds returns the box in the patient that holds every voxel centre, mm (LPS).
func (g Grid) Bounds() r3.Box {
	b := r3.Box{Min: g.Origin, Max: g.Origin}
	for corner := range 8 {
		p := g.Patient(Index{
			I: float64((corner & 1) * (g.Size[0] - 1)), J: float64((corner >> 1 & 1) * (g.Size[1] - 1)), K: float64((corner >> 2) * (g.Size[2] - 1)),
		})
		b.Min = r3.Vec{X: min(b.Min.X, p.X), Y: min(b.Min.Y, p.Y), Z: min(b.Min.Z, p.Z)}
		b.Max = r3.Vec{X: max(b.Max.X, p.X), Y: max(b.Max.Y, p.Y), Z: max(b.Max.Z, p.Z)}
	}
	return b
}

// Extent words [Grid.Bounds]: "x -20.0 to 20.0, y 3.1 to 40.2, z -8.0 to 31.0 mm".
func (g Grid) Extent() string {
	b := g.Bounds()
	return fmt.Sprintf("x %.1f to %.1f, y %.1f to %.1f, z %.1f to %.1f mm", b.Min.X, b.Max.X, b.Min.Y, b.Max.Y, b.Min.Z, b.Max.Z)
}

// Index returns the position of patient point p (mm, LPS) on the grid, in voxels. It is the
// inverse of [Grid.Patient].
func (g Grid) Index(p r3.Vec) Index { return g.IndexVec(r3.Sub(p, g.Origin)) }

// IndexVec returns the index difference that belongs to patient vector d (mm, LPS), in voxels.
func (g Grid) IndexVec(d r3.Vec) Index {
	bc, ca, ab, det := g.inverse()
	return Index{r3.Dot(d, bc) / det, r3.Dot(d, ca) / det, r3.Dot(d, ab) / det}
}

// inverse returns the cross products of the steps, mm², and their determinant, mm³: a vector's index is its dot
// products with those over this.
func (g Grid) inverse() (bc, ca, ab r3.Vec, det float64) {
	bc = r3.Cross(g.Step[1], g.Step[2])
	return bc, r3.Cross(g.Step[2], g.Step[0]), r3.Cross(g.Step[0], g.Step[1]), r3.Dot(g.Step[0], bc)
}

// Contains reports whether ix lies within the voxel centres of the grid, where interpolation
// has a value.
func (g Grid) Contains(ix Index) bool {
	in := func(x float64, n int) bool { return x >= 0 && x <= float64(n-1) }
	return in(ix.I, g.Size[0]) && in(ix.J, g.Size[1]) && in(ix.K, g.Size[2])
}

// RescaleOf returns the rescale of slice k.
func (v *Volume) RescaleOf(k int) Rescale {
	if len(v.Rescale) == 1 {
		return v.Rescale[0]
	}
	return v.Rescale[k]
}

// Grey returns the grey value of voxel (i, j, k), or NaN where the voxel is blank.
// It panics outside the grid, as a slice does. The result is a relative grey value without unit.
func (v *Volume) Grey(i, j, k int) float64 {
	s := v.Stored[(k*v.Size[1]+j)*v.Size[0]+i]
	if v.Blank != nil && s == *v.Blank {
		return math.NaN()
	}
	r := v.RescaleOf(k)
	return r.Slope*float64(s) + r.Intercept
}
