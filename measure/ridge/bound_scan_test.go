package ridge

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
)

// The exact images that bound_test.go fits. Nothing here uses the fit's formulas: grey values come
// from closed forms (planes) or a numerical blur (cylinders).

// scan is an exact image of one surface, and what a fit of it must find out.
type scan struct {
	name         string
	body         string // "plane", "cylinder" or "plate"
	voxel, sigma float64
	noise        float64
	plate        float64 // its thickness, mm; 0: none
	learnt       bool    // the series is known, as in a run's second pass
}

const (
	boundRadius = 4.0 // of the cylinder, mm
	boundPlate  = 1.5 // thickness of the plate, mm
)

// scansOf returns the scans of each body with the given voxels, mm, with little blur and noise
// and with more.
func scansOf(voxels ...float64) (all []scan) {
	for _, body := range []string{"plane", "cylinder", "plate"} {
		for _, voxel := range voxels {
			for _, s := range []scan{{sigma: 0.2, noise: 50}, {sigma: 0.3, noise: 100}} {
				s.body, s.voxel = body, voxel
				s.name = fmt.Sprintf("%s/voxel=%g/blur=%g/noise=%g", body, voxel, s.sigma, s.noise)
				if body == "plate" {
					s.plate = boundPlate
				}
				learnt := s
				learnt.learnt, learnt.name = true, s.name+"/learnt"
				all = append(all, s, learnt)
			}
		}
	}
	return all
}

// site is one random placing of a surface: it passes through the origin, in mm of the frame
// U, V, T = x, z, y, and in is its inward normal in the section.
type site struct {
	scan
	in       reformat.UV
	normal   r3.Vec // inward, in space
	side, up r3.Vec // tangents of the surface at the origin: in the section, and at right angles to it
	axis     r3.Vec // of a cylinder, through centre
	centre   r3.Vec
	blurred  func(depth float64) float64 // a cylinder's share of bone at a depth behind its surface
	lean     float64                     // cosine between normal and in
}

func inSpace(p reformat.UV) r3.Vec { return r3.Vec{X: p.U, Z: p.V} }

func (s scan) place(r *rand.Rand, blurred func(float64) float64) site {
	angle, off := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64()
	o := site{scan: s, in: reformat.UV{U: math.Cos(angle), V: math.Sin(angle)}, blurred: blurred}
	n, t, x := inSpace(o.in), r3.Vec{Y: 1}, inSpace(left(o.in))
	if lean := 0.25 * (2*r.Float64() - 1); s.body != "cylinder" {
		o.normal = r3.Add(r3.Scale(math.Cos(lean), n), r3.Scale(math.Sin(lean), t))
	} else {
		o.axis = r3.Unit(r3.Add(t, r3.Scale(lean/2, r3.Add(r3.Scale(math.Cos(off), n), r3.Scale(math.Sin(off), x)))))
		along := r3.Dot(n, o.axis)
		o.centre = r3.Scale(boundRadius/math.Sqrt(1-along*along), n)
		o.normal = r3.Unit(r3.Sub(n, r3.Scale(along, o.axis)))
	}
	o.lean = r3.Dot(o.normal, n)
	o.side = r3.Unit(r3.Sub(x, r3.Scale(r3.Dot(x, o.normal)/o.lean, n)))
	o.up = r3.Cross(o.normal, o.side)
	return o
}

// depth returns how deep p lies behind the surface, mm, and the point of the surface nearest to it.
func (o site) depth(p r3.Vec) (float64, r3.Vec) {
	if o.body != "cylinder" {
		d := r3.Dot(p, o.normal)
		return d, r3.Sub(p, r3.Scale(d, o.normal))
	}
	q := r3.Sub(p, o.centre)
	q = r3.Sub(q, r3.Scale(r3.Dot(q, o.axis), o.axis))
	r := r3.Norm(q)
	return boundRadius - r, r3.Add(p, r3.Scale(boundRadius/r-1, q))
}

func phi(z float64) float64   { return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi) }
func cumul(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// grey is the exact grey value at a depth behind the surface.
func (o site) grey(d float64) float64 {
	switch o.body {
	case "cylinder":
		return soft + (cortex-soft)*o.blurred(d)
	case "plate":
		return soft + (cortex-soft)*cumul(d/o.sigma) + (marrow-cortex)*cumul((d-o.plate)/o.sigma)
	}
	return soft + (cortex-soft)*cumul(d/o.sigma)
}

// blurredDisc returns a disc of radius boundRadius seen through a Gaussian of sigma, by depth behind
// its rim: the integral over lateral offsets y of what the chord at y holds of the Gaussian.
func blurredDisc(sigma float64) func(depth float64) float64 {
	const low, step, n = -4.0, 0.005, 1600
	table := make([]float64, n+1)
	for i := range table {
		r := boundRadius - (low + step*float64(i))
		for z := -6.0; z <= 6; z += 0.02 {
			half := math.Sqrt(math.Max(0, boundRadius*boundRadius-z*z*sigma*sigma))
			table[i] += 0.02 * phi(z) * (cumul((half-r)/sigma) - cumul((-half-r)/sigma))
		}
	}
	return func(d float64) float64 {
		at := math.Max(0, math.Min(n-1e-9, (d-low)/step))
		i := int(at)
		return table[i] + (at-float64(i))*(table[i+1]-table[i])
	}
}

// field makes the image on a grid turned and shifted at random, and returns the voxels of the
// patch that a fit with its true start is given.
func (o site) field(t testing.TB, r *rand.Rand) (reformat.Field, []r3.Vec) {
	turn := r3.NewRotation(2*math.Pi*r.Float64(), r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}))
	n, middle := int(11/o.voxel), inSpace(scale(1.2, o.in))
	g := volume.Grid{Size: [3]int{n, n, n}, Step: [3]r3.Vec{turn.Rotate(r3.Vec{X: o.voxel}), turn.Rotate(r3.Vec{Y: o.voxel}), turn.Rotate(r3.Vec{Z: o.voxel})}}
	half := float64(n) / 2
	g.Origin = r3.Sub(middle, g.Patient(volume.Index{I: half + r.Float64(), J: half + r.Float64(), K: half + r.Float64()}))
	v, err := volume.New(g)
	require.NoError(t, err)
	f := reformat.NewField(v, reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}})
	s := fitScale(f)
	for _, k := range f.Near(nil, reformat.UV{}, o.in, -3*s, 5.3*s, patchOn(f).along+0.9) {
		d, _ := o.depth(o.where(k))
		v.Stored[k.Voxel] = int16(math.Round(o.grey(d) + o.noise*r.NormFloat64()))
	}
	var seen []r3.Vec
	for _, k := range patchOn(f).part(1, f.Near(nil, reformat.UV{}, o.in, -patchOutside*s, patchInside*s, patchOn(f).along), nil) {
		seen = append(seen, o.where(k))
	}
	return f, seen
}

func (o site) where(k reformat.VoxelSample) r3.Vec {
	return r3.Add(inSpace(add(scale(k.N, o.in), scale(k.X, left(o.in)))), r3.Vec{Y: k.T})
}
