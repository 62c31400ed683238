package trace

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/fit"
)

// Nothing panics, and what comes back is finite, in a picture of noise of any size.
func FuzzFollow(f *testing.F) {
	f.Add(uint8(3), uint8(3), uint8(3), 0.5, 0.1, 0.1, 0.1, 0.9, 0.9, 0.9)
	f.Add(uint8(1), uint8(9), uint8(30), 0.4, 0.0, 0.2, 0.3, 1.0, 1.0, 1.0)
	f.Add(uint8(2), uint8(2), uint8(2), 1.5, 0.0, 0.0, 0.0, 1.0, 0.0, 1.0)
	f.Add(uint8(30), uint8(20), uint8(20), 0.3, math.NaN(), 0.2, 0.3, 0.8, 0.5, 0.5)
	f.Fuzz(func(t *testing.T, nx, ny, nz uint8, step, ax, ay, az, bx, by, bz float64) {
		n := [3]int{int(nx%32) + 1, int(ny%32) + 1, int(nz%32) + 1}
		if !(step > 0.05 && step < 2) { // larger boxes are slow, not different
			return
		}
		v, err := volume.New(volume.Grid{Size: n, Step: [3]r3.Vec{{X: step}, {Y: step, Z: 0.1 * step}, {Z: step}}})
		if err != nil {
			return
		}
		r := rand.New(rand.NewPCG(uint64(nx), uint64(ny)))
		for i := range v.Stored {
			v.Stored[i] = int16(r.IntN(1000))
		}
		at := func(x, y, z float64) r3.Vec {
			return v.Patient(volume.Index{I: x * float64(n[0]-1), J: y * float64(n[1]-1), K: z * float64(n[2]-1)})
		}
		p, err := Follow(t.Context(), v, []r3.Vec{at(ax, ay, az), at(bx, by, bz)}, Options{})
		if err != nil {
			return
		}
		for i, q := range p.Points {
			if !fit.Finite(q) || !(p.Radii[i] > 0) || !(p.SD[i] > 0) || !(p.Confidence[i] >= 0 && p.Confidence[i] <= 1) {
				t.Fatalf("point %d: %v radius %g sd %g confidence %g", i, q, p.Radii[i], p.SD[i], p.Confidence[i])
			}
		}
	})
}

// A canal of 70 mm in 512×512×512 voxels of 0.2 mm.
func BenchmarkFollow(b *testing.B) {
	s := bar(sbend(66))
	g := volume.Grid{Size: [3]int{512, 512, 512}, Origin: r3.Vec{X: -51.1, Y: -51.1, Z: -51.1}, Step: [3]r3.Vec{{X: 0.2}, {Y: 0.2}, {Z: 0.2}}}
	small := s.paint(b, s.straightGrid(0.4))
	v, err := volume.New(g)
	if err != nil {
		b.Fatal(err)
	}
	for k := range 512 { // painted coarsely, sampled finely: the time is the same
		for j := range 512 {
			p := volume.Plane{Origin: g.Patient(volume.Index{J: float64(j), K: float64(k)}), StepX: g.Step[0], Width: 512, Height: 1}
			for i, x := range small.Sample(nil, p) {
				if x == x {
					v.Stored[(k*512+j)*512+i] = int16(x)
				}
			}
		}
	}
	b.ReportAllocs()
	for b.Loop() {
		p, err := Follow(context.Background(), v, s.ends(), Options{})
		if err != nil {
			b.Fatal(err)
		}
		e := s.errors(p.Points)
		b.ReportMetric(mean(e), "mm-error")
	}
}
