package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ridgerule/measure/reformat"
)

// The table of the normal distribution against math.Erfc; past 4.5 it is taken as ended, 4e-6 early.
func TestNormalTable(t *testing.T) {
	for z := -8.0; z <= 8; z += 0.00137 {
		cum, dens := normal(z)
		require.InDelta(t, 0.5*math.Erfc(-z/math.Sqrt2), cum, 4e-6)
		require.InDelta(t, math.Exp(-z*z/2)/math.Sqrt(2*math.Pi), dens, 2e-5)
		if math.Abs(z) < 4.49 { // within the table: third order in steps of 1/128
			require.InDelta(t, 0.5*math.Erfc(-z/math.Sqrt2), cum, 1e-8)
			require.InDelta(t, math.Exp(-z*z/2)/math.Sqrt(2*math.Pi), dens, 1e-7)
		}
	}
}

func drawn(t *rapid.T) params {
	f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
	return params{f(-0.1, 0.1, "e"), f(-0.05, 0.05, "sx"), f(-0.1, 0.1, "st"), f(-0.2, 0.4, "cxx"), f(-0.05, 0.05, "cxt"), f(-0.05, 0.05, "ctt"),
		soft, cortex, marrow, f(0.3, 3, "tau"), f(0.15, 0.4, "sigma"), f(-0.1, 0.1, "taux"), air, f(0.5, 3, "gamma"), f(-0.2, 0.2, "c3"), f(-0.2, 0.2, "tauxx")}
}

// The model's derivatives against differences, anywhere in a patch: a fit finds its minimum, and
// states its covariance, by them. Grey values per unit of the parameter, in the thousands; the table of
// the normal distribution is good for a thousandth.
func TestModelDerivatives(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawn(t)
		g := reformat.VoxelSample{N: rapid.Float64Range(-2, 3).Draw(t, "n"), X: rapid.Float64Range(-0.8, 0.8).Draw(t, "x"), T: rapid.Float64Range(-1.5, 1.5).Draw(t, "t")}
		grad := p.derivatives(g, p.bends())
		for i := range p {
			const h = 1e-6
			a, b := p, p
			a[i] -= h
			b[i] += h
			behind, ahead := (p.model(g)-a.model(g))/h, (b.model(g)-p.model(g))/h
			least := 20.0
			if i == pG0 || i == pG1 || i == pG2 || i == pGA {
				least = 1e-3 // shares of a voxel, between 0 and 1
			}
			off := func(want float64) bool { return math.Abs(grad[i]-want) > 1e-3*math.Abs(want)+least }
			if off((behind+ahead)/2) && off(behind) && off(ahead) { // where the table ends, the value steps by 4e-6 of the range
				t.Fatalf("parameter %d at %+v: %g, by differences %g and %g", i, g, grad[i], behind, ahead)
			}
		}
	})
}

// A cylinder along the arch is a surface the model knows exactly: the distance of every point
// from it is R − |centre − point|.
func TestDistanceFromACylinder(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(1.5, 20).Draw(t, "r")
		n, x := rapid.Float64Range(-1, 1.2).Draw(t, "n"), rapid.Float64Range(-1, 1).Draw(t, "x")
		p := params{pCXX: 1 / r}
		require.InDelta(t, r-math.Hypot(r-n, x), p.distance(n, x, 0.7), 1e-12)
	})
}

// A blurred disc shows its half level nearer to its centre. R 1.5, sigma 0.3: 1.469480; R 1.0,
// sigma 0.3: 0.953150; R 1.5, sigma 0.2: 1.486566 (computed independently). The model's first-order
// shift σ²/2R agrees to 0.002 mm, and a fit to such a disc finds R.
func TestCurvedEdgeIsUnbiased(t *testing.T) {
	for _, c := range []struct{ r, sigma, half float64 }{{1.5, 0.3, 1.469480}, {1.0, 0.3, 0.953150}, {1.5, 0.2, 1.486566}} {
		require.InDelta(t, c.r-c.half, c.sigma*c.sigma/(2*c.r), 0.002)
		disc := shape{-c.r, c.r, func(v float64) (float64, float64) {
			half := math.Sqrt(math.Max(0, c.r*c.r-v*v))
			return -half, half
		}}
		blur := disc.blurred(c.sigma)
		half := 0.0
		for x := c.r - 0.1; x < c.r+0.1; x += 1e-4 {
			if blur(reformat.UV{U: x}) > 0.5 {
				half = x
			}
		}
		require.InDelta(t, c.half, half, 2e-3, "the test's own blur")
		f := scene{voxel: 0.15, min: reformat.UV{U: -4, V: -4}, max: reformat.UV{U: 4, V: 4}, depth: 2, noise: 10}.
			field(t, func(p reformat.UV) float64 { return soft + (cortex-soft)*blur(p) })
		w, err := FitPatch(f, reformat.UV{U: c.r}, reformat.UV{U: -1}, 2*c.r, ImageModel{})
		require.NoError(t, err)
		hit, ok := w.outer(reformat.UV{}, reformat.UV{U: 1})
		require.True(t, ok)
		require.InDelta(t, c.r, hit.at.U, 0.015)
	}
}

// Thin soft tissue with air behind it does not pull the bone's edge outward: plate of 1.5 mm,
// mucosa from 0.5 to 2 mm.
func TestThinGumDoesNotMoveTheEdge(t *testing.T) {
	slab := func(top float64) func(p reformat.UV) float64 {
		return func(p reformat.UV) float64 { return 0.5 * math.Erfc((p.U-top)/0.2/math.Sqrt2) }
	}
	bone, inside := slab(0), slab(-1.5)
	for _, mucosa := range []float64{0.5, 0.8, 1.2, 2} {
		skin := slab(mucosa)
		f := scene{voxel: 0.2, min: reformat.UV{U: -5, V: -3}, max: reformat.UV{U: 5, V: 3}, depth: 2, noise: 50}.
			field(t, func(p reformat.UV) float64 {
				return air + (soft-air)*skin(p) + (cortex-soft)*bone(p) + (marrow-cortex)*inside(p)
			})
		w, err := FitPatch(f, reformat.UV{U: 0.1}, reformat.UV{U: -1}, 9, ImageModel{})
		require.NoError(t, err)
		hit, ok := w.outer(reformat.UV{}, reformat.UV{U: 1})
		require.True(t, ok)
		require.InDelta(t, 0, hit.at.U, 0.03, "mucosa %g mm", mucosa)
	}
}

// The derivatives of the depth by the surface's parameters against differences, which no table of the normal distribution blurs: to a millionth.
func TestSlopesOfTheDepth(t *testing.T) {
	which := [7]int{pE, pSX, pST, pCXX, pCXT, pCTT, pCub}
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		p := params{f(-0.3, 0.3, "e"), f(-0.5, 0.5, "sx"), f(-0.5, 0.5, "st"), f(-0.3, 0.4, "cxx"), f(-0.2, 0.2, "cxt"), f(-0.3, 0.3, "ctt"), pCub: f(-0.4, 0.4, "c3")}
		n, x, along := f(-1.5, 1.5, "n"), f(-1, 1, "x"), f(-1.5, 1.5, "t")
		foot := p.foot(n, x, along)
		for i, got := range p.slopes(&foot) {
			const h = 1e-5
			a, b := p, p
			a[which[i]] -= h
			b[which[i]] += h
			if want := (b.distance(n, x, along) - a.distance(n, x, along)) / (2 * h); math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
				t.Fatalf("by parameter %d: %g, by differences %g", which[i], got, want)
			}
		}
	})
}

// The layers of a tube of 5 mm are tubes: 1.5 mm behind its surface of 3.5 mm, 2 mm before it of 7 mm; half of a tube's curvature is its mean curvature.
// Its derivatives against differences.
func TestCurvatureOfTheLayers(t *testing.T) {
	p := params{pCXX: 0.2, pTau: 1.5, pGamma: 2, pSigma: 0.3}
	h := p.bends()
	require.InDelta(t, 0.5/5, h.outer.h, 1e-12)
	require.InDelta(t, 0.5/3.5, h.inner.h, 1e-12)
	require.InDelta(t, 0.5/7, h.mucosa.h, 1e-12)
	for k, want := range []float64{0.5 / 5, 0.5 / 3.5, 0.5 / 7} {
		require.InDelta(t, 0.09*want, h.moved[k], 1e-12)
	}
	far := params{pCXX: 0.2, pTau: 4.5, pGamma: 9, pSigma: 0.3}
	require.InDelta(t, 0.5*0.2/0.3, far.bends().inner.h, 1e-12, "held where the centre is near")
	require.InDelta(t, 0.5/9, far.bends().mucosa.h, 1e-12, "4 mm at most")
	require.Zero(t, far.bends().mucosa.byDepth)
	both := params{pCXX: 0.2, pCTT: -0.1}
	for _, depth := range []float64{-2, 0, 1.5} {
		const d = 1e-6
		b := both.curvature(depth)
		require.InDelta(t, 0.5*0.2/(1-0.2*depth)-0.5*0.1/(1+0.1*depth), b.h, 1e-12)
		more := both
		more[pCXX] += d
		require.InDelta(t, (more.curvature(depth).h-b.h)/d, b.byXX, 1e-5)
		more = both
		more[pCTT] += d
		require.InDelta(t, (more.curvature(depth).h-b.h)/d, b.byTT, 1e-5)
		require.InDelta(t, (both.curvature(depth+d).h-b.h)/d, b.byDepth, 1e-5)
	}
	require.InDelta(t, 1.5-0.1*2+0.5*0.3*4, (&params{pTau: 1.5, pTauX: -0.1, pTauXX: 0.3}).depth(2), 1e-12)
}

// model returns the grey value at a voxel.
func (p *params) model(g reformat.VoxelSample) float64 { return p.grey(g, p.bends()) }
