package report

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
)

// enclosed returns the volume (mm³) inside a surface, by the divergence theorem, and fails the
// test when an edge has not exactly one triangle on each side.
func enclosed(t *testing.T, s *measure.Surface) float64 {
	t.Helper()
	edges := map[[2]int]int{}
	volume := 0.0
	for _, f := range s.Triangles {
		for k := range 3 {
			edges[[2]int{f[k], f[(k+1)%3]}]++
		}
		volume += r3.Dot(s.Points[f[0]], r3.Cross(s.Points[f[1]], s.Points[f[2]])) / 6
	}
	for e, n := range edges {
		require.Equal(t, 1, n, "an edge twice in one direction")
		require.Equal(t, 1, edges[[2]int{e[1], e[0]}], "an edge without a neighbour")
	}
	return volume
}

// ball is a block of distances to a sphere of radius r about its middle.
func ball(n int, step [3]r3.Vec, origin r3.Vec, r float64) Block {
	b := Block{Origin: origin, Step: step, Size: [3]int{n, n, n}}
	m := mesher{b: b}
	middle := m.place(corner{i: n / 2, j: n / 2, k: n / 2})
	for k := range n {
		for j := range n {
			for i := range n {
				b.Grey = append(b.Grey, float32(r-r3.Norm(r3.Sub(m.place(corner{i: i, j: j, k: k}), middle))))
			}
		}
	}
	return b
}

// A sphere of radius r encloses 4/3·π·r³; its chords cut off at most about (h/r)² of it.
func TestSphereIsClosedAndHasItsVolume(t *testing.T) {
	for name, step := range map[string][3]r3.Vec{
		"right-handed": {{X: 0.5}, {Y: 0.5}, {Z: 0.5}},
		"left-handed":  {{X: 0.5}, {Y: 0.5}, {Z: -0.5}},
		"turned":       {{Y: 0.5}, {Z: 0.5}, {X: 0.5}},
		"sheared":      {{X: 0.5}, {Y: 0.5}, {Z: 0.5, Y: 0.1}},
	} {
		s := BoneSurface(ball(33, step, r3.Vec{X: 40, Y: -20, Z: 7}, 6), 0)
		want := 4.0 / 3 * math.Pi * 216
		require.InEpsilon(t, want, enclosed(t, s), 0.01, name)
	}
}

// Halving the grid divides the error by four: the surface is second order.
func TestFinerGridIsFourTimesNearer(t *testing.T) {
	loss := func(n int, h float64) float64 {
		s := BoneSurface(ball(n, [3]r3.Vec{{X: h}, {Y: h}, {Z: h}}, r3.Vec{}, 6), 0)
		return math.Abs(enclosed(t, s) - 4.0/3*math.Pi*216)
	}
	ratio := loss(17, 1) / loss(33, 0.5)
	require.Greater(t, ratio, 3.0)
	require.Less(t, ratio, 5.5)
}

// Bone that fills the block is closed by a lid half a step outside it: a box of n³ steps.
func TestBoneThatLeavesTheBlockIsClosed(t *testing.T) {
	b := Block{Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}, Size: [3]int{4, 5, 6}}
	for range 4 * 5 * 6 {
		b.Grey = append(b.Grey, 1000)
	}
	// Its corners are cut by the tetrahedra, so a little less than the full box.
	require.InEpsilon(t, 120, enclosed(t, BoneSurface(b, 500)), 0.06)
	b.Grey[50] = float32(math.NaN())
	require.Less(t, enclosed(t, BoneSurface(b, 500)), 120.0)
}

// shell is a block of a bone like a jaw's: a cylinder along the arch of radius 5 mm, its cortex 1 mm thick with a hole
// of 1.5 mm radius on one side, its marrow as dark as the soft tissue around, noise of SD 200 over a step of 1000.
func shell() Block {
	const h, n = 0.5, 31
	b := Block{Origin: r3.Vec{X: -7.5, Y: -7.5, Z: -6}, Step: [3]r3.Vec{{X: h}, {Y: h}, {Z: h}}, Size: [3]int{n, n, 25}}
	noise := rand.New(rand.NewPCG(1, 2))
	for k := range 25 {
		for j := range n {
			for i := range n {
				p := r3.Add(b.Origin, r3.Vec{X: h * float64(i), Y: h * float64(j), Z: h * float64(k)})
				r := math.Hypot(p.X, p.Y)
				cortex := math.Min(math.Min(5-r, r-4), 1)
				if p.X > 0 {
					cortex = math.Min(cortex, math.Hypot(p.Y, p.Z)-1.5)
				}
				// A blurred edge: the grey value crosses half way on the surface itself.
				b.Grey = append(b.Grey, float32(1000*math.Min(1, math.Max(0, 0.5+cortex))+200*noise.NormFloat64()))
			}
		}
	}
	return b
}

// The whole bone is the solid cylinder, π·25·(12 + h) mm³ between lids half a step outside the block, in one piece without
// a tunnel (a closed surface of genus 0 has two points more than half its triangles). Chords cut 0.3 % off the cylinder,
// and the hole is closed by a plane 4 to 5 mm from the axis: within 2 %.
func TestHollowBoneIsWhole(t *testing.T) {
	s := BoneSurface(shell(), 500)
	require.InEpsilon(t, math.Pi*25*12.5, enclosed(t, s), 0.02)
	require.Equal(t, len(s.Triangles)/2+2, len(s.Points), "one piece, no tunnel")
}

// Bone that the field cuts off stays whole; what the field does not show is no bone.
func TestBoneCutByTheFieldIsWhole(t *testing.T) {
	b := shell()
	inField := func(n int) bool { return n/31%31 <= 20 } // y ≤ 2.5 mm
	for n := range b.Grey {
		if !inField(n) {
			b.Grey[n] = float32(math.NaN())
		}
	}
	// A disc of radius 5 cut at 2.5 + h/2 from its middle: 25·(π − acos(0.55)) + 2.75·√(25 − 2.75²).
	want := 12.5 * (25*(math.Pi-math.Acos(0.55)) + 2.75*math.Sqrt(25-2.75*2.75))
	require.InEpsilon(t, want, enclosed(t, BoneSurface(b, 500)), 0.02)
}

func TestNoBoneNoSurface(t *testing.T) {
	s := BoneSurface(Block{Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}, Size: [3]int{2, 2, 2}, Grey: make([]float32, 8)}, 1)
	require.Empty(t, s.Triangles)
}

// A prism of n sides in a cone frustum: n/2·sin(2π/n) replaces π in h·π/3·(R² + R·r + r²).
func TestImplantIsClosedAndHasItsVolume(t *testing.T) {
	for _, axis := range []r3.Vec{{Z: -1}, {X: 1}, {X: 1, Y: 2, Z: -3}} {
		b := measure.Implant{Platform: r3.Vec{X: 9, Y: 8, Z: 7}, Axis: r3.Unit(axis), Diameter: 4, ApexDiameter: 3, Length: 10}
		area := 64 / 2 * math.Sin(2*math.Pi/64)
		want := 10 * area / 3 * (4 + 3 + 2.25)
		require.InDelta(t, want, enclosed(t, ImplantSurface(b, 64)), 1e-9)
	}
}
