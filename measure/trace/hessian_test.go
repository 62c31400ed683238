package trace

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Source: Frangi et al. 1998, α = β = 0.5; values computed apart from this code.
func TestFrangiOfIdealTubes(t *testing.T) {
	strength := func(l [3]float64) float64 { return math.Sqrt(l[0]*l[0] + l[1]*l[1] + l[2]*l[2]) }
	for _, c := range []struct {
		l    [3]float64
		want float64
	}{
		{[3]float64{0, 1, 1}, 0.747645072416},
		{[3]float64{0.1, 1, 1.2}, 0.638330663756},
		{[3]float64{0, -1, -1}, 0}, // a bright tube
		{[3]float64{0, -1, 1}, 0},  // a saddle
		{[3]float64{0, 0, 0}, 0},
	} {
		if got := frangi(c.l, strength(c.l)/2); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("frangi(%v) = %.12f, want %.12f", c.l, got, c.want)
		}
	}
}

// Eigenvalues against gonum's LAPACK, eigenvectors by their equation.
func TestEigenvaluesAgreeWithGonum(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 500 {
		h := symmetric{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
		var e mat.EigenSym
		if !e.Factorize(mat.NewSymDense(3, []float64{h.xx, h.xy, h.xz, h.xy, h.yy, h.yz, h.xz, h.yz, h.zz}), false) {
			t.Fatal("gonum finds no eigenvalues")
		}
		v := e.Values(nil)
		want := byMagnitude(v[0], v[1], v[2])
		got := h.eigenvalues()
		for i := range want {
			if math.Abs(got[i]-want[i]) > 1e-9 {
				t.Fatalf("eigenvalues of %+v = %v, want %v", h, got, want)
			}
		}
		x := h.eigenvector(got[0])
		y := r3.Vec{X: h.xx*x.X + h.xy*x.Y + h.xz*x.Z, Y: h.xy*x.X + h.yy*x.Y + h.yz*x.Z, Z: h.xz*x.X + h.yz*x.Y + h.zz*x.Z}
		if d := r3.Norm(r3.Sub(y, r3.Scale(got[0], x))); d > 1e-6 {
			t.Fatalf("eigenvector of %+v misses its equation by %g", h, d)
		}
	}
}

// A Gaussian blurred by a Gaussian is a Gaussian: variances add. 1 % for the lattice and the
// kernel's ends.
func TestBlurAddsVariances(t *testing.T) {
	n := [3]int{31, 29, 27}
	g := make([]float32, n[0]*n[1]*n[2])
	at := func(sigma float64) func(i int) float64 {
		return func(i int) float64 {
			x, y, z := float64(i%n[0]-15), float64(i/n[0]%n[1]-14), float64(i/n[0]/n[1]-13)
			return math.Exp(-(x*x+y*y+z*z)/(2*sigma*sigma)) / math.Pow(sigma, 3)
		}
	}
	for i := range g {
		g[i] = float32(at(2)(i))
	}
	out := blur(g, n, 1.5)
	for i := range out {
		if want := at(2.5)(i); math.Abs(float64(out[i])-want) > 0.01*at(2.5)((13*29+14)*31+15) {
			t.Fatalf("node %d: %g, want %g", i, out[i], want)
		}
	}
}

// D on the axis of a disc is the Rayleigh distribution function, 1 − exp(−r²/2σ²); on a far,
// flat edge it is the normal one shifted by σ²/2r. The half level at r 1.0, sigma 0.3 lies at
// 0.953150 and at r 1.5 at 1.469480. Source: reference values computed apart from this code.
func TestBlurredDisc(t *testing.T) {
	if got, want := discValue(0, 0.5, 0.3), 1-math.Exp(-0.25/0.18); math.Abs(got-want) > 1e-4 {
		t.Errorf("D(0, 0.5) = %.6f, want %.6f", got, want)
	}
	for r, rho := range map[float64]float64{1.0: 0.953150, 1.5: 1.469480} {
		if got := discValue(rho, r, 0.3); math.Abs(got-0.5) > 1e-3 {
			t.Errorf("D(%.6f, %.1f) = %.5f, want 0.5", rho, r, got)
		}
	}
	d := newDisc(0.3)
	v, _, _ := d.at(0.953150, 1)
	if math.Abs(v-0.5) > 4e-3 {
		t.Errorf("table reads %.5f, want 0.5", v)
	}
}
