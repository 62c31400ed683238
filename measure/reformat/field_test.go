package reformat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// The voxels near a point are those whose centres lie in the cylinder, on a sheared grid looked at aslant: asked of
// every voxel one by one. A blank one is left out; each slice has its own rescale.
func TestVoxelsOfACylinder(t *testing.T) {
	g := volume.Grid{Size: [3]int{17, 15, 13}, Origin: r3.Vec{X: -4, Y: -4, Z: -3}, Step: [3]r3.Vec{{X: 0.5, Y: 0.1}, {X: -0.1, Y: 0.6, Z: 0.05}, {X: 0.1, Y: 0.2, Z: 0.5}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	for n := range v.Stored {
		v.Stored[n] = int16(n)
	}
	for k := range g.Size[2] {
		v.Rescale = append(v.Rescale[:k], volume.Rescale{Slope: 1 + float64(k), Intercept: -3 * float64(k)})
	}
	blank := v.Stored[(6*15+4)*17+8] // near the origin
	v.Blank = &blank
	f := NewField(v, Frame{Origin: r3.Vec{X: 0.3, Y: 0.2, Z: 0.1}, U: r3.Unit(r3.Vec{X: 1, Y: 0.2}), V: r3.Vec{Z: 1}, T: r3.Unit(r3.Vec{X: -0.2, Y: 1})})
	seen := 0
	for _, at := range []UV{{}, {0.7, -0.4}, {4, 2}, {-4.2, -2.9}, {30, 0}} { // the last three at and past the grid's ends
		for _, c := range [][3]float64{{-1.117, 2.331, 0.911}, {-2.013, -0.517, 1.507}, {0.217, 3.011, 0.613}} {
			for _, normal := range []UV{{U: 1}, {U: -0.6, V: 0.8}, {V: -1}} {
				want := map[int]VoxelSample{}
				for n := range v.Stored {
					i, j, k := n%17, n/17%15, n/(17*15)
					p, off := f.Frame.Section(g.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)}))
					d := UV{p.U - at.U, p.V - at.V}
					grain := VoxelSample{N: d.U*normal.U + d.V*normal.V, X: d.V*normal.U - d.U*normal.V, T: off, Grey: v.Grey(i, j, k), Voxel: n}
					if grain.N >= c[0] && grain.N <= c[1] && grain.X*grain.X+off*off <= c[2]*c[2] && !math.IsNaN(grain.Grey) {
						want[n] = grain
					}
				}
				got := f.Near(nil, at, normal, c[0], c[1], c[2])
				require.Len(t, got, len(want), "%v %v %v", at, c, normal)
				for _, x := range got {
					w := want[x.Voxel]
					require.InDeltaSlice(t, []float64{w.N, w.X, w.T, w.Grey}, []float64{x.N, x.X, x.T, x.Grey}, 1e-9)
				}
				seen += len(want)
			}
		}
	}
	require.Greater(t, seen, 500)
	s := f.Strides()
	require.Equal(t, int(blank), 8*s[0]+4*s[1]+6*s[2])
}

// A voxel just on the cylinder's skin lies in it: of a grid of 1 mm, 3 layers of 5 within 1 mm each way.
func TestVoxelsOnTheSkinOfACylinder(t *testing.T) {
	v, err := volume.New(volume.Grid{Size: [3]int{9, 9, 9}, Origin: r3.Vec{X: -4, Y: -4, Z: -4}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	require.NoError(t, err)
	f := NewField(v, Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}})
	require.Len(t, f.Near(nil, UV{}, UV{U: 1}, -1, 1, 1), 15)
	require.Len(t, f.Near(nil, UV{4, 4}, UV{U: 1}, -1, 1, 1), 2*4, "at the grid's edge")
}

// A field hands out the volume's own numbers: spacings, a section, and a slab that is the mean of its sections,
// without a value where one of them has none.
func TestFieldHandsOutItsVolume(t *testing.T) {
	v, c := sloped(t), arch(t)
	f := NewField(v, c.Frame(30))
	least, most := f.Voxel()
	require.Equal(t, [5]float64{1, 2, 1, 1.5, 2}, [5]float64{least, most, f.Spacing()[0], f.Spacing()[1], f.Spacing()[2]})
	require.Equal(t, Resample(v, f.Frame, UV{-3, -3}, UV{3, 3}, 0.5), f.Section(UV{-3, -3}, UV{3, 3}, 0.5))
	at := r3.Add(f.Patient(UV{1, 2}), r3.Scale(1.5, f.T))
	require.InDelta(t, slope(at), f.Grey(UV{1, 2}, 1.5), 1e-3)
	slab := f.Slab(UV{-3, -3}, UV{3, 3}, 0.5, -1, 0, 4)
	require.Equal(t, f.Frame, slab.Frame)
	for n, got := range slab.Grey {
		p := slab.Place(float64(n%slab.Width), float64(n/slab.Width))
		require.InDelta(t, slope(f.Along(1).Patient(p)), float64(got), 1e-3, "the mean of the offsets is 1 mm")
	}
	for _, g := range f.Slab(UV{-3, -3}, UV{3, 3}, 0.5, 0, 200).Grey {
		require.True(t, math.IsNaN(float64(g)))
	}
}
