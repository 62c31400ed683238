package ridge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
)

// scene is a volume whose grey value is known at every point of the section, and does not change
// along the arch but for shear, rise and twist.
type scene struct {
	voxel      float64     // mm, the same each way
	min, max   reformat.UV // of the field, mm
	depth      float64     // half extent along the arch, mm
	noise      float64
	correlated float64     // how far the noise is, in the grid's columns and slices, sigma in voxels; 0: white
	turn       float64     // of the grid about the arch, radians
	offset     reformat.UV // of the grid, voxels
	seed       uint64
	rescale    volume.Rescale // of the grey values; zero: as they are
	shear      float64        // how far it lies toward buccal per mm along the arch
	rise       float64        // how far it lies coronally per mm along the arch
	twist      float64        // how far it is turned about the origin, from u to v, per mm along the arch, radians
}

// field samples grey at the voxel centres, adds noise and rounds as a scanner does.
func (s scene) field(t testing.TB, grey func(p reformat.UV) float64) reformat.Field {
	frame := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	turn := r3.NewRotation(s.turn, r3.Vec{Y: 1})
	g := volume.Grid{Step: [3]r3.Vec{turn.Rotate(r3.Vec{X: s.voxel}), {Y: s.voxel}, turn.Rotate(r3.Vec{Z: s.voxel})}}
	g.Size = [3]int{int((s.max.U - s.min.U) / s.voxel), int(2 * s.depth / s.voxel), int((s.max.V - s.min.V) / s.voxel)}
	corner := volume.Index{I: float64(g.Size[0])/2 + s.offset.U, J: float64(g.Size[1]) / 2, K: float64(g.Size[2])/2 + s.offset.V}
	middle := frame.Patient(reformat.UV{U: (s.min.U + s.max.U) / 2, V: (s.min.V + s.max.V) / 2})
	g.Origin = r3.Sub(middle, g.Patient(corner))
	v, err := volume.New(g)
	require.NoError(t, err)
	noise := s.grain(g.Size)
	for k := range g.Size[2] {
		for i := range g.Size[0] {
			p, _ := frame.Section(g.Patient(volume.Index{I: float64(i), K: float64(k)}))
			value := grey(p)
			for j := range g.Size[1] {
				if s.shear != 0 || s.rise != 0 || s.twist != 0 {
					along := g.Patient(volume.Index{J: float64(j)}).Y
					value = grey(turnBy(sub(p, reformat.UV{U: s.shear * along, V: s.rise * along}), -s.twist*along))
				}
				at := (k*g.Size[1]+j)*g.Size[0] + i
				v.Stored[at] = int16(math.Round(value + s.noise*noise[at]))
			}
		}
	}
	if s.rescale.Slope != 0 {
		v.Rescale = []volume.Rescale{s.rescale}
	}
	return reformat.NewField(v, frame)
}

// grain returns standard normal deviates for a grid, smoothed in columns and slices when the scene's
// noise is correlated.
func (s scene) grain(size [3]int) []float64 {
	r := rand.New(rand.NewPCG(s.seed, 99))
	x := make([]float64, size[0]*size[1]*size[2])
	for i := range x {
		x[i] = r.NormFloat64()
	}
	if s.correlated == 0 {
		return x
	}
	var kernel [7]float64
	power := 0.0
	for i := range kernel {
		kernel[i] = math.Exp(-float64((i-3)*(i-3)) / (2 * s.correlated * s.correlated))
		power += kernel[i] * kernel[i]
	}
	for _, stride := range []int{1, size[0] * size[1]} {
		out := make([]float64, len(x))
		for i := range x {
			for d, w := range kernel {
				n := len(x)
				out[i] += w * x[((i+(d-3)*stride)%n+n)%n] / math.Sqrt(power)
			}
		}
		x = out
	}
	return x
}

// around is a scene that holds a ridge of the given height with its crest at the origin, however
// the grid is turned.
func around(height, voxel, noise float64) scene {
	half := height/2 + 6
	return scene{voxel: voxel, noise: noise, min: reformat.UV{U: -half, V: -height/2 - half}, max: reformat.UV{U: half, V: half - height/2}, depth: 2}
}

// turned is the grey profile turned about the origin by angle radians from u to v.
func turned(grey func(p reformat.UV) float64, angle float64) func(p reformat.UV) float64 {
	return func(p reformat.UV) float64 { return grey(turnBy(p, -angle)) }
}

// The grey values of the scenes; relative, like a cone-beam scan's.
const (
	air, soft, marrow, cortex = -1000.0, 60.0, 450.0, 1600.0
)

// bony is the grey value of a ridge with a marrow space inside it and soft tissue around.
func bony(outer, inner shape, sigma float64) func(p reformat.UV) float64 {
	a, b := outer.blurred(sigma), inner.blurred(sigma)
	return func(p reformat.UV) float64 { return soft + (cortex-soft)*a(p) + (marrow-cortex)*b(p) }
}
