package phantom

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// only returns a jaw of which nothing can be seen but the given tubes, 1000 on 0, in a cube
// of edge mm about the origin.
func only(t *testing.T, sc Scan, edge float64, ts ...tube) *Jaw {
	t.Helper()
	sc = sc.withDefaults()
	for i, v := range sc.Voxel {
		sc.Size[i] = int(edge/v) + 1
	}
	sc.Centre = &r3.Vec{X: 0.031, Y: -0.047, Z: 0.013} // no symmetry with the lattice
	j, err := New(Options{Scan: sc, Grey: Levels{Dentine: 1000}, Sites: []int{}, Teeth: []int{}})
	if err != nil {
		t.Fatal(err)
	}
	j.shape.roots = ts
	return j
}

// Source: the average of a step over a ball, in closed form (own derivation, checked against
// the half-level radius of reference values computed elsewhere).
func ballProfile(r, radius, s float64) float64 {
	if r < 1e-6 {
		r = 1e-6
	}
	k := s * math.Sqrt2
	return (math.Erf((radius-r)/k)+math.Erf((radius+r)/k))/2 -
		s/(r*math.Sqrt(2*math.Pi))*(math.Exp(-(radius-r)*(radius-r)/(2*s*s))-math.Exp(-(radius+r)*(radius+r)/(2*s*s)))
}

// rodProfile is a blurred cylinder: the chord's normal share in one direction, integrated
// against the Gaussian in the other, by Simpson's rule over ±8 s.
func rodProfile(r, radius, s float64) float64 {
	const n = 120
	lo, hi := max(-radius, r-8*s), min(radius, r+8*s)
	if hi <= lo {
		return 0
	}
	// x = radius·sin φ takes the square root's kink at the ends away
	a, b := math.Asin(lo/radius), math.Asin(hi/radius)
	sum := 0.0
	for i := 0; i <= n; i++ {
		w := [2]float64{2, 4}[i%2]
		if i == 0 || i == n {
			w = 1
		}
		phi := a + (b-a)*float64(i)/n
		x, half := radius*math.Sin(phi), radius*math.Cos(phi)
		g := math.Exp(-(x-r)*(x-r)/(2*s*s)) / (s * math.Sqrt(2*math.Pi))
		sum += w * g * math.Erf(half/(s*math.Sqrt2)) * radius * math.Cos(phi)
	}
	return sum * (b - a) / n / 3
}

// Half-level radii of a blurred tube and ball, computed elsewhere with 20 digits (reference
// values, own computation there, no published number claimed).
func TestProfilesHaveTheReferenceHalfLevelRadii(t *testing.T) {
	for _, c := range []struct {
		name             string
		f                func(r, radius, s float64) float64
		radius, s, level float64
	}{
		{"rod", rodProfile, 1.5, 0.3, 1.469480}, {"rod", rodProfile, 1.0, 0.3, 0.953150},
		{"rod", rodProfile, 1.5, 0.2, 1.486566}, {"ball", ballProfile, 1.5, 0.3, 1.438304},
	} {
		got := root(func(r float64) float64 { return 0.5 - c.f(r, c.radius, c.s) }, 0.2, 2.5)
		if math.Abs(got-c.level) > 2e-6 {
			t.Errorf("%s R %g s %g: half level at %.6f mm, want %.6f", c.name, c.radius, c.s, got, c.level)
		}
	}
}

// offBy returns the largest difference between the volume and a profile 1000·f, expressed as
// the distance an edge of slope 1000/(s·√2π) would have to move for it, mm.
func offBy(v *volume.Volume, s float64, f func(p r3.Vec) float64) float64 {
	worst := 0.0
	for k := range v.Size[2] {
		for j := range v.Size[1] {
			for i := range v.Size[0] {
				want := 1000 * f(v.Patient(volume.Index{I: float64(i), J: float64(j), K: float64(k)}))
				worst = max(worst, math.Abs(v.Grey(i, j, k)-want)-0.5) // half a grey value is rounding
			}
		}
	}
	return worst / 1000 * s * math.Sqrt(2*math.Pi)
}

// Every voxel of a blurred ball, rod and half-space lies within 0.003 mm of the closed form,
// whatever the grid: isotropic or not, oblique, sheared, coarse against its blur.
func TestBlurredShapesFollowTheirClosedForm(t *testing.T) {
	scans := []Scan{
		{Voxel: [3]float64{0.2, 0.2, 0.2}, Blur: 0.2},
		{Voxel: [3]float64{0.4, 0.4, 0.4}, Blur: 0.2},
		{Voxel: [3]float64{0.3, 0.3, 0.3}, Blur: 0.3},
		{Voxel: [3]float64{0.2, 0.25, 0.4}, Blur: 0.25},
		{Voxel: [3]float64{0.25, 0.25, 0.25}, Blur: 0.2, Turn: r3.Vec{X: 20, Y: -35, Z: 10}},
		{Voxel: [3]float64{0.3, 0.3, 0.5}, Blur: 0.3, Gantry: 20},
	}
	dir := r3.Unit(r3.Vec{X: 0.3, Y: -0.5, Z: 0.8})
	far := r3.Scale(60, dir)
	forms := []struct {
		name string
		t    tube
		f    func(p r3.Vec, s float64) float64
	}{
		{"ball", tube{[]r3.Vec{{}}, []float64{1.5}}, func(p r3.Vec, s float64) float64 {
			return ballProfile(r3.Norm(p), 1.5, s)
		}},
		{"rod", tube{[]r3.Vec{r3.Scale(-1, far), far}, []float64{1.5, 1.5}}, func(p r3.Vec, s float64) float64 {
			return rodProfile(r3.Norm(r3.Sub(p, r3.Scale(r3.Dot(p, dir), dir))), 1.5, s)
		}},
		{"half-space", tube{[]r3.Vec{r3.Scale(-1e5, dir)}, []float64{1e5}}, func(p r3.Vec, s float64) float64 {
			return soften(r3.Dot(p, dir) / s)
		}},
	}
	for _, sc := range scans {
		for _, c := range forms {
			v, err := only(t, sc, 4.2, c.t).Volume(context.Background(), nil)
			if err != nil {
				t.Fatal(err)
			}
			got := offBy(v, sc.Blur, func(p r3.Vec) float64 { return c.f(p, sc.Blur) })
			if got > 0.003 {
				t.Errorf("%s, voxel %v blur %g turn %v gantry %g: off by %.4f mm", c.name, sc.Voxel, sc.Blur, sc.Turn, sc.Gantry, got)
			}
			t.Logf("%-10s voxel %v blur %g: %.5f mm", c.name, sc.Voxel, sc.Blur, got)
		}
	}
}
