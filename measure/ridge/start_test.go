package ridge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// Where a fit starts decides how soon it arrives, not where: with every starting value shaken by ± 20 %, grey values by a
// fifth of the step and the edge by a fifth of the blur, the edge stays within a fifth of its U. Thick and thin
// plates, fine and coarse voxels, before the series is known and after.
func TestStartingValuesDecideNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 20))
	for _, c := range []struct{ tau, voxel, blur, noise float64 }{
		{1.5, 0.2, 0.2, 50}, {0.7, 0.2, 0.2, 50}, {1.5, 0.4, 0.3, 100}, {2.5, 0.3, 0.3, 30},
	} {
		outer, inner := hollow(3.5, 22, c.tau)
		s := around(22, c.voxel, c.noise)
		s.turn, s.offset = 0.13, reformat.UV{U: 0.37, V: 0.21}
		f := s.field(t, bony(outer, inner, c.blur))
		o, a := trace(t, f)
		for _, known := range []ImageModel{{}, o.model} {
			for _, depth := range []float64{2, 5, 9} {
				low, _, ok := o.span(a.At(depth), a.Side())
				require.True(t, ok)
				at := add(a.At(depth), scale(low.s, a.Side()))
				want, all, begin := o.fitFromStart(at, low.in, known)
				require.NotNil(t, want, "plate %g, voxel %g, depth %g", c.tau, c.voxel, depth)
				edge, ok := want.outer(a.At(depth), a.Side())
				require.True(t, ok)
				u := 2 * math.Hypot(edge.sd, o.ruleTerm(want, edge))
				for range 6 {
					got := fitFrom(f, shaken(begin, r), all, want.at, want.in, known, nil)
					require.NotNil(t, got)
					moved, ok := got.outer(a.At(depth), a.Side())
					require.True(t, ok)
					require.Less(t, norm(sub(moved.at, edge.at)), 0.2*u, "plate %g, voxel %g, depth %g, known %v", c.tau, c.voxel, depth, known.known())
				}
			}
		}
	}
}

// fitFromStart is one round of [FitPatch] with what it begins from.
func (o *Outline) fitFromStart(at, in reformat.UV, t ImageModel) (*SurfacePatch, []reformat.VoxelSample, *estimate) {
	s, p := fitScale(o.field), patchOn(o.field)
	all := p.part(1, o.field.Near(nil, at, in, -patchOutside*s, patchInside*s, p.along), nil)
	begin, ok := initialEstimate(p.part(0.85, all, nil), o.depthFrom(at, in), s, t)
	if !ok {
		return nil, nil, nil
	}
	begin.most = maxSamples
	return fitFrom(o.field, begin, all, at, in, t, nil), all, begin
}

// shaken is a start whose values are off by up to 20 %.
func shaken(s *estimate, r *rand.Rand) *estimate {
	out := *s
	by := func() float64 { return 0.4*r.Float64() - 0.2 }
	step := s.p[pG1] - s.p[pG0]
	out.p[pE] += by() * s.p[pSigma]
	for _, level := range []int{pG0, pG1, pG2, pGA} {
		out.p[level] += by() * step
	}
	for _, size := range []int{pSigma, pTau, pGamma} {
		out.p[size] *= 1 + by()
	}
	return &out
}
