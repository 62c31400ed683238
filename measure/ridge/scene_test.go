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

// scene is a volume whose grey value is known at every point of the section: it does not change
// along the arch.
type scene struct {
	voxel  [3]float64 // mm
	half   float64    // half edge of the cube, mm
	noise  float64
	turn   *r3.Rotation // of the grid against the section; nil: aligned
	offset r3.Vec       // of the grid, voxels
	seed   uint64
}

// field samples grey at the voxel centres, adds noise and rounds as a scanner does.
func (s scene) field(t testing.TB, grey func(p reformat.UV) float64) reformat.Field {
	frame := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	g := volume.Grid{Step: [3]r3.Vec{{X: s.voxel[0]}, {Y: s.voxel[1]}, {Z: s.voxel[2]}}}
	for axis := range 3 {
		g.Size[axis] = int(2*s.half/s.voxel[axis]) + 2
		if s.turn != nil {
			g.Step[axis] = s.turn.Rotate(g.Step[axis])
		}
	}
	mid := volume.Index{I: float64(g.Size[0]-1)/2 + s.offset.X, J: float64(g.Size[1]-1)/2 + s.offset.Y, K: float64(g.Size[2]-1)/2 + s.offset.Z}
	g.Origin = r3.Scale(-1, g.Patient(mid))
	v, err := volume.New(g)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(s.seed, 99))
	n := 0
	for k := range g.Size[2] {
		for j := range g.Size[1] {
			for i := range g.Size[0] {
				p, _ := frame.Section(g.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)}))
				v.Stored[n] = int16(math.Round(grey(p) + s.noise*r.NormFloat64()))
				n++
			}
		}
	}
	return reformat.NewField(v, frame)
}

// The grey values of the scenes; relative, like a cone-beam scan's.
const (
	air, soft, marrow, cortex = -1000.0, 60.0, 450.0, 1600.0
)

// blurredDisc returns the grey profile by radius of a disc of radius r and grey value 1, blurred
// by sigma: ∫ over 0…r of ρ/σ²·exp(−(ρ²+x²)/2σ²)·I0(ρx/σ²) dρ, tabulated.
func blurredDisc(r, sigma float64) func(x float64) float64 {
	const step = 0.005
	table := make([]float64, int((r+3)/step))
	for i := range table {
		table[i] = discAt(float64(i)*step, r, sigma)
	}
	return func(x float64) float64 {
		at := x / step
		i := int(at)
		if i+2 >= len(table) {
			return 0
		}
		if i < 1 {
			i = 1
		}
		f := at - float64(i) // cubic through four entries
		a, b, c, d := table[i-1], table[i], table[i+1], table[i+2]
		return b + 0.5*f*(c-a+f*(2*a-5*b+4*c-d+f*(3*(b-c)+d-a)))
	}
}

func discAt(x, r, sigma float64) float64 {
	lo, hi := math.Max(0, x-7*sigma), math.Min(r, x+7*sigma)
	if lo >= hi {
		return 0
	}
	const n = 400
	h := (hi - lo) / n
	f := func(rho float64) float64 {
		z := rho * x / (sigma * sigma)
		return rho / (sigma * sigma) * math.Exp(-(rho-x)*(rho-x)/(2*sigma*sigma)) * scaledI0(z)
	}
	sum := f(lo) + f(hi)
	for i := 1; i < n; i++ {
		sum += f(lo+float64(i)*h) * float64(2+2*(i%2))
	}
	return sum * h / 3
}

// scaledI0 returns exp(−z)·I0(z). Source: Abramowitz & Stegun 9.8.1 and 9.8.2 (from memory).
func scaledI0(z float64) float64 {
	if z < 3.75 {
		t := z / 3.75 * z / 3.75
		return math.Exp(-z) * (1 + t*(3.5156229+t*(3.0899424+t*(1.2067492+t*(0.2659732+t*(0.0360768+t*0.0045813))))))
	}
	t := 3.75 / z
	return (0.39894228 + t*(0.01328592+t*(0.00225319+t*(-0.00157565+t*(0.00916281+t*(-0.02057706+t*(0.02635537+t*(-0.01647633+t*0.00392377)))))))) / math.Sqrt(z)
}
