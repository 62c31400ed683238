package phantom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// halfways returns where grey values along a line from a to b pass half-way between soft tissue and cortex, mm from a.
func halfways(v *volume.Volume, g Levels, a, b r3.Vec) (at []float64) {
	const n = 2000
	way := r3.Sub(b, a)
	row := make([]float32, n+1)
	v.Sample(row, volume.Plane{Origin: a, StepX: r3.Scale(1.0/n, way), StepY: r3.Vec{Z: 1}, Width: n + 1, Height: 1})
	half := (g.Soft + g.Cortex) / 2
	for i := range n {
		p, q := float64(row[i])-half, float64(row[i+1])-half
		if p*q < 0 {
			at = append(at, r3.Norm(way)/n*(float64(i)+p/(p-q)))
		}
	}
	return at
}

// A jaw drawn quickly has its edges where the exact one has them: the walls of the ridge, out and in, within 0.01 mm, in the
// least blur that is drawn so and in more. The aliasing of the lattice moves an edge by 0.0007 mm at most (see kernel.go); what
// is more is the cortex, 1.5 mm thick, whose two sides are softened apart.
func TestQuickJawHasTheSameEdges(t *testing.T) {
	for _, blur := range []float64{0.15, 0.2, 0.28} {
		o := small(t, Options{Scan: Scan{Voxel: [3]float64{0.3, 0.3, 0.3}, Blur: blur}}, 36, 18)
		exactJaw, exact := scanOf(t, o)
		o.Scan.Quick = true
		quickJaw, quick := scanOf(t, o)
		if e, q := newKernel(exactJaw.grid, blur, false), newKernel(quickJaw.grid, blur, true); e.fine != [3]int{2, 2, 2} || q.fine != [3]int{1, 1, 1} {
			t.Fatalf("blur %g: %v and %v lattice points a voxel, want 2 and 1", blur, e.fine, q.fine)
		}
		sec, _ := exactJaw.SectionAt(exactJaw.Plan().Sites[0].At)
		for _, deep := range []float64{2, 5} {
			middle := r3.Add(sec.Origin, r3.Scale(-deep, sec.Up))
			a, b := r3.Add(middle, r3.Scale(-7, sec.Buccal)), r3.Add(middle, r3.Scale(7, sec.Buccal))
			want, got := halfways(exact, exactJaw.opt.Grey, a, b), halfways(quick, quickJaw.opt.Grey, a, b)
			if len(want) < 2 || len(got) != len(want) {
				t.Fatalf("blur %g, %g mm below the arch: %d edges, want %d", blur, deep, len(got), len(want))
			}
			for i := range want {
				if math.Abs(got[i]-want[i]) > 0.01 {
					t.Errorf("blur %g, %g mm below the arch: edge %d at %.4f mm, want %.4f", blur, deep, i, got[i], want[i])
				}
			}
		}
	}
}

// A narrow kernel has the variance that it is asked for, and one of no width is one weight.
func TestNarrowKernelHasItsVariance(t *testing.T) {
	for _, sigma := range []float64{0, 0.1, 0.3, 0.499, 0.8, 2} {
		w := gaussian(sigma)
		sum, square := 0.0, 0.0
		for i, x := range w {
			k := float64(i - len(w)/2)
			sum, square = sum+x, square+k*k*x
		}
		if math.Abs(sum-1) > 1e-12 || math.Abs(square-sigma*sigma) > 0.001*sigma*sigma+1e-12 {
			t.Errorf("sigma %g: sum %g, variance %g", sigma, sum, square)
		}
	}
}
