package ridge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// A line of zero on a raster runs from cell to cell: each of its points lies between a positive and another value, where the straight line between
// them is zero; two that follow share a cell; every change of sign on the raster belongs to one line; and the positive side lies inside.
func TestContourOfAnyRaster(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	for range 40 {
		const w, h = 9, 7
		var g [h][w]float64
		for y := range h {
			for x := range w {
				g[y][x] = r.Float64() - 0.45
			}
		}
		value := func(x, y int) float64 {
			if x < 1 || y < 2 || x >= w-1 || y >= h {
				return -1
			}
			return g[y][x]
		}
		line := contour(1, 2, w-1, h, func(x, y int) float64 { return g[y][x] })
		sum := 0.0
		for n, p := range line {
			x, y := int(math.Floor(p[0])), int(math.Floor(p[1]))
			ax, ay, f := x+1, y, p[0]-float64(x)
			if f == 0 {
				ax, ay, f = x, y+1, p[1]-float64(y)
			}
			a, b := value(x, y), value(ax, ay)
			require.True(t, (a > 0) != (b > 0), "%v", p)
			require.InDelta(t, 0, a+f*(b-a), 1e-9)
			q := line[(n+1)%len(line)]
			require.LessOrEqual(t, math.Max(math.Abs(p[0]-q[0]), math.Abs(p[1]-q[1])), 1.0)
			sum += p[0]*q[1] - p[1]*q[0]
		}
		changes, crossed := 0, 0
		for y := 1; y <= h; y++ {
			for x := 0; x < w; x++ {
				for _, n := range [2][2]int{{x + 1, y}, {x, y + 1}} {
					if (value(x, y) > 0) != (value(n[0], n[1]) > 0) {
						changes++
					}
				}
			}
		}
		rimmed := make([]float64, w*h)
		for i := range rimmed {
			rimmed[i] = value(i%w, i/w+1)
		}
		for _, c := range reformat.Contours(rimmed, w, 0, 1) {
			crossed += len(c.Points)
		}
		require.Equal(t, changes, crossed)
		require.NotZero(t, sum)
	}
	square := contour(0, 0, 5, 5, func(x, y int) float64 { return 1.5 - math.Max(math.Abs(float64(x)-2), math.Abs(float64(y)-2)) })
	sum := 0.0
	for n, p := range square {
		q := square[(n+1)%len(square)]
		sum += p[0]*q[1] - p[1]*q[0]
	}
	require.Greater(t, sum, 0.0, "counter-clockwise in x and y")
}

// A closed line resampled begins at its highest point, the farthest buccal of them, runs counter-clockwise whichever way it came, and its points lie
// on it as far from each other along it: on a rectangle of 4 × 2 mm at every half millimetre.
func TestPointsAreEven(t *testing.T) {
	ccw := []reformat.UV{{U: 0, V: 0}, {U: 4, V: 0}, {U: 4, V: 2}, {U: 0, V: 2}}
	cw := []reformat.UV{ccw[3], ccw[2], ccw[1], ccw[0]}
	for _, line := range [][]reformat.UV{ccw, cw} {
		got := evenly(append([]reformat.UV{}, line...), 0.5)
		require.Len(t, got, 24)
		for i, p := range got {
			s := 0.5 * float64(i)
			want := reformat.UV{U: 4 - s, V: 2}
			switch {
			case s > 10:
				want = reformat.UV{U: 4, V: s - 10}
			case s > 6:
				want = reformat.UV{U: s - 6, V: 0}
			case s > 4:
				want = reformat.UV{U: 0, V: 6 - s}
			}
			require.InDelta(t, 0, norm(sub(want, p)), 1e-9, "%d", i)
		}
	}
	require.Len(t, evenly(append([]reformat.UV{}, ccw...), 9), 8, "never fewer than eight")
	require.Nil(t, evenly(ccw[:2], 0.5))
	require.InDelta(t, 8, area(ccw), 1e-12)
	require.InDelta(t, -8, area(cw), 1e-12)
}

// The wall of a ridge, by hand: from the crest down one side to where it turns under, to the field's end, or to where it runs outward more steeply than 60°.
func TestWallOfARidge(t *testing.T) {
	// A box 6 mm wide and 20 mm high, a point every 0.4 mm, its crest's middle at the origin.
	box := func(shelf float64) *Outline {
		o := &Outline{}
		run := func(from, to reformat.UV) {
			n := int(math.Round(norm(sub(to, from)) / 0.4))
			for i := range n {
				o.Points = append(o.Points, add(from, scale(float64(i)/float64(n), sub(to, from))))
			}
		}
		run(reformat.UV{U: 3}, reformat.UV{U: -3})
		run(reformat.UV{U: -3}, reformat.UV{U: -3, V: -20})
		run(reformat.UV{U: -3, V: -20}, reformat.UV{U: 3, V: -20})
		if shelf > 0 { // its buccal wall runs outward below 10 mm
			run(reformat.UV{U: 3, V: -20}, reformat.UV{U: 11, V: -10 - 8*shelf})
			run(reformat.UV{U: 11, V: -10 - 8*shelf}, reformat.UV{U: 3, V: -10})
			run(reformat.UV{U: 3, V: -10}, reformat.UV{U: 3})
		} else {
			run(reformat.UV{U: 3, V: -20}, reformat.UV{U: 3})
		}
		o.Cut = make([]bool, len(o.Points))
		return o
	}
	a := Axis{Dir: down}
	for _, side := range []float64{1, -1} {
		w := box(0).sideWall(a, reformat.UV{U: side})
		require.Equal(t, atBase, w.end)
		for _, p := range w.points[9:] {
			require.Greater(t, side*p.U, -0.01)
		}
		require.InDelta(t, 20, depthOf(a, w.points[len(w.points)-1]), 1e-9)
		require.True(t, math.IsInf(w.seen(a), 1))
		part := w.downTo(a, 7)
		require.Equal(t, away, part.end)
		require.InDelta(t, 7, depthOf(a, part.points[len(part.points)-1]), 0.4)
		require.LessOrEqual(t, depthOf(a, part.points[len(part.points)-1]), 7.0)
		require.Equal(t, w, w.downTo(a, 20.1))
	}
	cut := box(0)
	for i, p := range cut.Points {
		cut.Cut[i] = p.U == 3 && p.V < -12
	}
	w := cut.sideWall(a, reformat.UV{U: 1})
	require.Equal(t, atCut, w.end)
	require.InDelta(t, 12, w.seen(a), 0.41)
	require.Equal(t, atBase, cut.sideWall(a, reformat.UV{U: -1}).end)
	require.Zero(t, sideWall{end: atCut}.seen(a))
	for slope, want := range map[float64]wallEnd{0.5: away, 0.65: atBase} { // 1/tan 60° is 0.577
		w := box(slope).sideWall(a, reformat.UV{U: 1})
		require.Equal(t, want, w.end, "%g mm down a mm outward", slope)
		if want == away {
			require.InDelta(t, 10, depthOf(a, w.points[len(w.points)-1]), 1.5)
		}
	}
	near := []reformat.UV{{U: 0}, {U: 0.4}, {U: 0.8}, {U: 1.2}, {U: 1.6}}
	require.False(t, turnsAway(near, reformat.UV{U: 2, V: -2.9}, a, reformat.UV{U: 1}), "above 3 mm it is the crest")
	require.False(t, turnsAway(near[:4], reformat.UV{U: 9, V: -3.1}, a, reformat.UV{U: 1}))
}

// The deepest hollow of a wall is the farthest that it lies inside of the line that touches it above and below. Where a wall only ends, nothing
// touches it: it may go on inward.
func TestHollowOfAWall(t *testing.T) {
	a, side := Axis{Dir: down}, reformat.UV{U: 1}
	chain := func(u ...float64) (all []reformat.UV) {
		for i, x := range u {
			all = append(all, reformat.UV{U: x, V: -2 * float64(i)})
		}
		return all
	}
	u, open := sideWall{chain(5, 4, 2.5, 4, 5), atBase}.hollow(a, side)
	require.InDelta(t, 2.5, u.Value, 1e-12)
	require.Equal(t, [3]reformat.UV{{U: 2.5, V: -4}, {U: 5}, {U: 5, V: -8}}, [3]reformat.UV{u.At, u.Above, u.Below})
	require.Zero(t, open)
	u, open = sideWall{chain(5, 4, 2.5, 4, 5), atCut}.hollow(a, side)
	require.Zero(t, u.Value)
	require.InDelta(t, 2.5, open, 1e-12)
	u, open = sideWall{chain(5, 4, 2.5, 4, 5, 4.9), atCut}.hollow(a, side)
	require.InDelta(t, 2.5, u.Value, 1e-12, "known 2 mm below")
	require.Less(t, open, 0.1)
	// Aslant: below a line from (5, 0) to (8, −4) a point 2 mm along it and 1 mm inside.
	slant := []reformat.UV{{U: 5}, add(reformat.UV{U: 5 + 1.2, V: -1.6}, scale(-1, reformat.UV{U: 0.8, V: 0.6})), {U: 8, V: -4}}
	u, _ = sideWall{slant, atBase}.hollow(a, side)
	require.InDelta(t, 1, u.Value, 1e-12)
	u, _ = sideWall{[]reformat.UV{{U: 5}, {U: 4.5, V: -0.4}, {U: 5, V: -0.9}}, atBase}.hollow(a, side)
	require.Zero(t, u.Value, "shorter than a millimetre is no wall")
}
