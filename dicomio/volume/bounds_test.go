package volume

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// unused is a stored value that no test volume holds: as [Volume.Blank] it changes no value, but keeps a volume
// from the fast loops.
var unused = int16(-32000)

// The box holds every voxel centre of a sheared grid, and no smaller one does; by hand where steps run backwards.
func TestBoundsHoldEveryVoxelCentre(t *testing.T) {
	g := sheared()
	want := r3.Box{Min: r3.Vec{X: 1e9, Y: 1e9, Z: 1e9}, Max: r3.Vec{X: -1e9, Y: -1e9, Z: -1e9}}
	for n := range g.Size[0] * g.Size[1] * g.Size[2] {
		p := g.Patient(Index{float64(n % 9), float64(n / 9 % 7), float64(n / 63)})
		want.Min = r3.Vec{X: min(want.Min.X, p.X), Y: min(want.Min.Y, p.Y), Z: min(want.Min.Z, p.Z)}
		want.Max = r3.Vec{X: max(want.Max.X, p.X), Y: max(want.Max.Y, p.Y), Z: max(want.Max.Z, p.Z)}
	}
	require.InDelta(t, 0, r3.Norm(r3.Sub(g.Bounds().Min, want.Min)), 1e-12)
	require.InDelta(t, 0, r3.Norm(r3.Sub(g.Bounds().Max, want.Max)), 1e-12)
	g = Grid{Size: [3]int{11, 21, 31}, Origin: r3.Vec{X: 1, Y: 2, Z: 3}, Step: [3]r3.Vec{{X: -0.2}, {Y: 0.3}, {Z: -0.4}}}
	require.Equal(t, "x -1.0 to 1.0, y 2.0 to 8.0, z -9.0 to 3.0 mm", g.Extent())
}

// 0.4 mm is no coarse voxel, nor a hundredth more; anything beyond is, in each direction.
func TestCoarseInAnyDirection(t *testing.T) {
	for axis := range 3 {
		g := Grid{Size: [3]int{2, 2, 2}}
		for _, c := range []struct {
			size   float64
			coarse bool
		}{{0.3, false}, {0.4, false}, {0.4039, false}, {coarseVoxel * 1.01, false}, {0.4041, true}, {1, true}} {
			size := [3]float64{0.3, 0.3, 0.3}
			size[axis] = c.size
			g.Step = [3]r3.Vec{{X: size[0]}, {Y: size[1]}, {Z: size[2]}}
			require.Equal(t, c.coarse, g.Coarse() != "", "%g mm on axis %d: %q", c.size, axis, g.Coarse())
		}
	}
}

// The outermost voxel centres are in, on every axis; anything beyond is out. A value is given for as much as rounding
// beyond them, 1e-6 voxel, with and without the fast loop.
func TestFieldEndsAtTheOutermostCentres(t *testing.T) {
	for _, blank := range []*int16{nil, &unused} {
		v := ramp(t, Grid{Size: [3]int{9, 7, 5}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
		v.Blank = blank
		for axis, n := range v.Size {
			for _, c := range []struct {
				x    float64
				in   bool
				seen bool
			}{{0, true, true}, {float64(n - 1), true, true}, {-0.9e-6, false, true}, {-1.1e-6, false, false},
				{float64(n-1) + 0.9e-6, false, true}, {float64(n-1) + 1.1e-6, false, false}, {0.5, true, true}, {float64(n) - 1.5, true, true}} {
				at := [3]float64{2, 3, 1}
				at[axis] = c.x
				ix := Index{at[0], at[1], at[2]}
				require.Equal(t, c.in, v.Contains(ix), "%v", ix)
				got := v.At(v.Patient(ix))
				require.Equal(t, c.seen, got == got, "%v", ix)
				if c.seen {
					require.InDelta(t, 2*(3*ix.I-2*ix.J+5*ix.K)-1000, got, 2e-5, "%v", ix)
				}
				row := v.Sample(nil, Plane{Origin: v.Patient(ix), Width: 1, Height: 1})
				require.Equal(t, c.seen, row[0] == row[0], "%v", ix)
			}
		}
	}
}

// Within 1e-6 voxel of a centre its neighbour has no say, though it be blank; farther off it has.
func TestBlankNeighbourHasNoSayAtACentre(t *testing.T) {
	for axis := range 3 {
		v := ramp(t, Grid{Size: [3]int{9, 7, 5}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
		v.Blank = &unused
		v.Stored[(2*7+3)*9+4] = unused // voxel (4, 3, 2)
		for _, c := range []struct {
			off  float64
			seen bool
		}{{-1, true}, {-1 + 0.9e-6, true}, {-1 + 1.1e-6, false}, {-0.5, false}, {-0.9e-6, false}, {0, false}, {1 - 1.1e-6, false}, {1 - 0.9e-6, true}, {1, true}} {
			at := [3]float64{4, 3, 2}
			at[axis] += c.off
			got := v.At(r3.Vec{X: at[0], Y: at[1], Z: at[2]})
			require.Equal(t, c.seen, got == got, "%v", at)
		}
	}
}

// A volume of one column, one row or one slice has values in it, and none beside it.
func TestFlatVolume(t *testing.T) {
	for axis := range 3 {
		size := [3]int{4, 4, 4}
		size[axis] = 1
		v := ramp(t, Grid{Size: size, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
		at := [3]float64{1.25, 1.5, 2.75}
		at[axis] = 0
		p := r3.Vec{X: at[0], Y: at[1], Z: at[2]}
		want := 2*(3*at[0]-2*at[1]+5*at[2]) - 1000
		require.InDelta(t, want, v.At(p), 1e-4)
		require.InDelta(t, want, float64(v.Sample(nil, Plane{Origin: p, Width: 1, Height: 1})[0]), 1e-4)
		for _, off := range []float64{-0.5, 0.5} {
			at[axis] = off
			require.True(t, math.IsNaN(v.At(r3.Vec{X: at[0], Y: at[1], Z: at[2]})))
		}
	}
}

// The fast ways say what the plain sum over eight corners says: at single points bit by bit, in rows to float32.
// A rescale for each slice, all the same, takes the slow way too.
func TestFastWaysSayWhatTheSlowOneSays(t *testing.T) {
	fast := ramp(t, sheared())
	r := rand.New(rand.NewPCG(7, 8))
	for n := range fast.Stored {
		fast.Stored[n] = int16(r.IntN(4000) - 1000)
	}
	slow, sliced := *fast, *fast
	slow.Blank = &unused
	sliced.Rescale = []Rescale{fast.Rescale[0], fast.Rescale[0], fast.Rescale[0], fast.Rescale[0], fast.Rescale[0]}
	otherwise := 0
	for range 500 {
		p := fast.Patient(Index{8 * r.Float64(), 6 * r.Float64(), 4 * r.Float64()})
		require.Equal(t, slow.At(p), fast.At(p))
		plane := Plane{Origin: p, StepX: fast.Patient(Index{r.Float64(), r.Float64(), r.Float64()}), Width: 9, Height: 2}
		plane.StepX = r3.Scale(0.1, r3.Sub(plane.StepX, fast.Origin))
		plane.StepY = r3.Scale(-1, plane.StepX)
		want, other := slow.Sample(nil, plane), sliced.Sample(nil, plane)
		for n, got := range fast.Sample(nil, plane) {
			require.InDelta(t, want[n], got, 2e-3)
			if got == got && got != want[n] {
				otherwise++
			}
			require.True(t, other[n] == want[n] || other[n] != other[n] && want[n] != want[n])
		}
	}
	require.Greater(t, otherwise, 500, "rows differ in their last bits, or they were not sampled the fast way")
}

// On the very bounds of 1e-6 voxel a point still counts as on the field, and as on a voxel's centre.
func TestBoundsOfRounding(t *testing.T) {
	v := ramp(t, Grid{Size: [3]int{9, 7, 5}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	v.Blank = &unused
	seen := func(x float64) bool { g := v.at(Index{x, 3, 2}); return g == g }
	require.True(t, seen(-edge))
	require.True(t, seen(float64(8)+edge))
	at := (2*7 + 3) * 9
	v.Stored[at+1] = unused
	require.True(t, seen(edge))
	v.Stored[at], v.Stored[at+1] = unused, 7
	require.True(t, seen(1-edge))
	for _, c := range []struct {
		x  float64
		in bool
	}{{0.5e-6, false}, {edge, true}, {2e-6, true}, {8 - 2e-6, true}, {8 - edge, true}, {8 - 0.5e-6, false}} {
		lo, hi := v.inside(Index{c.x, 3, 2}, Index{}, 1)
		require.Equal(t, c.in, hi > lo, "%g", c.x)
	}
}

// Which pixels of a row the fast loop may take: all whose place lies in the grid by 1e-6 voxel, and no others.
func TestInsideOfARowIsItsPixelsInTheGrid(t *testing.T) {
	v := ramp(t, Grid{Size: [3]int{9, 7, 5}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	r := rand.New(rand.NewPCG(9, 10))
	some := 0
	for range 6000 {
		a := Index{16*r.Float64() - 4, 14*r.Float64() - 4, 12*r.Float64() - 4}
		d := Index{r.NormFloat64() / 2, r.NormFloat64() / 2, r.NormFloat64() / 2}
		switch r.IntN(4) {
		case 0:
			d.I = 0
		case 1:
			d.J = 0
		case 2:
			d.I, d.J, d.K = 0, 0, 0
		}
		n := 1 + r.IntN(40)
		first, last := -1, -2
		for x := range n {
			f, in := float64(x), true
			for axis, c := range [3]float64{a.I + f*d.I, a.J + f*d.J, a.K + f*d.K} {
				in = in && c >= edge && c <= float64(v.Size[axis]-1)-edge
			}
			if in && first < 0 {
				first = x
			}
			if in {
				last = x
			}
		}
		lo, hi := v.inside(a, d, n)
		if first < 0 {
			require.Zero(t, hi-lo, "%v %v", a, d)
			continue
		}
		some++
		require.Equal(t, [2]int{first, last + 1}, [2]int{lo, hi}, "%v %v", a, d)
	}
	require.Greater(t, some, 500)
}

// A slice that is long enough is filled, not left for another.
func TestSampleFillsWhatItIsGiven(t *testing.T) {
	v := ramp(t, sheared())
	plane := Plane{Origin: v.Patient(Index{4, 3, 2}), StepX: r3.Vec{X: 0.1}, StepY: r3.Vec{Y: 0.1}, Width: 3, Height: 2}
	for _, room := range []int{6, 7} {
		dst := make([]float32, room)
		got := v.Sample(dst, plane)
		require.Len(t, got, 6)
		require.Same(t, &dst[0], &got[0])
	}
	require.Len(t, v.Sample(make([]float32, 5), plane), 6)
}

// What spans a volume is a matter of shape, not of unit: voxels of 1e-4 or 1e4 mm do, of either hand; steps that lie in
// a plane to 1e-7 do not, at any size. A grid of one voxel is one.
func TestUsableGridAtAnySize(t *testing.T) {
	for _, s := range []float64{1e-4, 1, 1e4} {
		for axis := range 3 {
			for _, hand := range []float64{1, -1} {
				g := Grid{Size: [3]int{1, 1, 1}, Step: [3]r3.Vec{{X: s}, {Y: s}, {Z: s}}}
				g.Step[axis] = r3.Scale(hand*7, g.Step[axis])
				_, err := New(g)
				require.NoError(t, err, "%v", g)
				g.Step[axis] = r3.Add(r3.Scale(1e-7, g.Step[axis]), g.Step[(axis+1)%3])
				_, err = New(g)
				require.ErrorIs(t, err, ErrGrid, "%v", g)
			}
		}
	}
	g := sheared()
	g.Origin.Y = math.NaN()
	_, err := New(g)
	require.ErrorIs(t, err, ErrGrid)
	g = sheared()
	g.Step[0].X = math.Inf(1)
	_, err = New(g)
	require.ErrorIs(t, err, ErrGrid)
	v, err := New(sheared())
	require.NoError(t, err)
	require.Len(t, v.Stored, 9*7*5)
}
