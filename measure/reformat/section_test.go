package reformat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// slope is a grey value that is linear in the patient: a section and a panoramic view give it back exactly.
func slope(p r3.Vec) float64 { return 7*p.X - 3*p.Y + 10*p.Z + 300 }

// sloped is a field of 61 × 41 × 31 voxels, 1 × 1.5 × 2 mm, about the origin.
func sloped(t testing.TB) *volume.Volume {
	g := volume.Grid{Size: [3]int{61, 41, 31}, Origin: r3.Vec{X: -30, Y: -30, Z: -30}, Step: [3]r3.Vec{{X: 1}, {Y: 1.5}, {Z: 2}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	v.Rescale = []volume.Rescale{{Slope: 0.5, Intercept: 100}}
	for n := range v.Stored {
		p := g.Patient(volume.Index{I: float64(n % 61), J: float64(n / 61 % 41), K: float64(n / (61 * 41))})
		v.Stored[n] = int16(math.Round((slope(p) - 100) / 0.5))
	}
	return v
}

// A section's raster runs from its least u and greatest v, both ends included; a pixel's place and a place's
// pixel undo each other; every pixel has the field's value at its place.
func TestSectionOfALinearField(t *testing.T) {
	v, c := sloped(t), arch(t)
	for _, step := range []float64{0.5, 0} {
		s := Resample(v, c.Frame(30), UV{-5, -8}, UV{6, 8}, step)
		if step == 0 {
			step = 1 // the smallest voxel step
		}
		require.Equal(t, []int{int(11/step) + 1, int(16/step) + 1, len(s.Grey)}, []int{s.Width, s.Height, s.Width * s.Height})
		require.Equal(t, []any{UV{-5, 8}, step}, []any{s.Corner, s.Step})
		for n, got := range s.Grey {
			at := UV{-5 + float64(n%s.Width)*step, 8 - float64(n/s.Width)*step}
			require.InDelta(t, 0, math.Hypot(s.Place(float64(n%s.Width), float64(n/s.Width)).U-at.U, s.Place(float64(n%s.Width), float64(n/s.Width)).V-at.V), 1e-12)
			require.InDelta(t, slope(s.Patient(at)), float64(got), 1e-3)
		}
		x, y := s.Pixel(UV{-5 + 3*step, 8 - 7*step})
		require.InDeltaSlice(t, []float64{3, 7}, []float64{x, y}, 1e-9)
	}
	odd := Resample(v, c.Frame(30), UV{0, 0}, UV{1.74, 1.76}, 0.5)
	require.Equal(t, [2]int{4, 5}, [2]int{odd.Width, odd.Height}, "to the nearest pixel")
}

// A panoramic view has a column for every step of arc length from 0 on and a row for every step of height from the
// top down. A pixel is the mean over the slab, of a linear field the value at its middle.
func TestPanoramicViewOfALinearField(t *testing.T) {
	v, c := sloped(t), arch(t)
	const low, high, half, step = -5.0, 6.0, 2.0, 0.5
	p := Unroll(v, c, low, high, half, step)
	require.Equal(t, []int{int(c.Length()/step) + 1, 23, len(p.Grey)}, []int{p.Width, p.Height, p.Width * p.Height})
	require.Equal(t, [2]float64{step, high}, [2]float64{p.Step, p.Top})
	for n, got := range p.Grey {
		at := c.Frame(float64(n%p.Width) * step).Patient(UV{0, high - float64(n/p.Width)*step})
		require.InDelta(t, slope(at), float64(got), 2e-2, "pixel %d", n)
	}
}

// The panoramic slab is as thick as asked, and its mean is of the values that there are. In a field whose grey value
// is the square of the depth behind the arch, ±2 mm in steps of 0.5 mm have the mean 2·(0.5²+1²+1.5²+2²)/9 = 5/3;
// where the field ends in the curve's own plane the inner half alone is left: (0.5²+1²+1.5²+2²)/5 = 1.5. Past
// its top there is none.
func TestPanoramicSlab(t *testing.T) {
	for _, c := range []struct {
		first int // of the columns, half a millimetre apart from −4 mm on, that the field has
		want  float64
	}{{0, 5. / 3}, {8, 1.5}} {
		g := volume.Grid{Size: [3]int{17 - c.first, 50, 11}, Origin: r3.Vec{X: -4 + 0.5*float64(c.first), Y: -25, Z: -5}, Step: [3]r3.Vec{{X: 0.5}, {Y: 1}, {Z: 1}}}
		v, err := volume.New(g)
		require.NoError(t, err)
		for n := range v.Stored {
			x := g.Patient(volume.Index{I: float64(n % g.Size[0])}).X
			v.Stored[n] = int16(math.Round(400 * x * x))
		}
		v.Rescale = []volume.Rescale{{Slope: 1. / 400}}
		curve, err := NewCurve([]r3.Vec{{Y: -20}, {Y: -5}, {Y: 5}, {Y: 20}}, up)
		require.NoError(t, err)
		p := Unroll(v, curve, -2, 6, 2, 0.5)
		for n, got := range p.Grey {
			if p.Top-float64(n/p.Width)*p.Step > 5 {
				require.True(t, math.IsNaN(float64(got)), "above the field")
				continue
			}
			require.InDelta(t, c.want, float64(got), 1e-5)
		}
	}
}
