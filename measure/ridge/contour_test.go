package ridge

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// Marching squares on a circle: area π·r² and perimeter 2·π·r, to the error of linear
// interpolation on a raster of r = 20 pixels.
func TestContourOfACircle(t *testing.T) {
	const r = 20.0
	line := contour(0, 0, 64, 64, func(x, y int) float64 { return r - math.Hypot(float64(x)-31.3, float64(y)-30.8) })
	uv := make([]reformat.UV, len(line))
	length := 0.0
	for i, p := range line {
		uv[i] = reformat.UV{U: p[0], V: p[1]}
		q := line[(i+1)%len(line)]
		length += math.Hypot(q[0]-p[0], q[1]-p[1])
	}
	require.InEpsilon(t, math.Pi*r*r, math.Abs(area(uv)), 2e-3)
	require.InEpsilon(t, 2*math.Pi*r, length, 5e-3)
	even := evenly(uv, 0.5)
	require.Greater(t, area(even), 0.0, "counter-clockwise")
	require.InDelta(t, 2*math.Pi*r/0.5, float64(len(even)), 3)
}

// Two corners that touch are one shape when their middle is bright and two when it is dark.
func TestSaddleIsDecidedByItsMiddle(t *testing.T) {
	for _, c := range []struct {
		bridge float64
		points int
	}{{0.9, 14}, {-2, 8}} {
		grid := [][]float64{{-1, -1, -1, -1, -1, -1}, {-1, 1, 1, c.bridge, -1, -1}, {-1, 1, 1, -0.5, -1, -1}, {-1, -1, -0.5, 1, 1, -1}, {-1, -1, -1, 1, 1, -1}, {-1, -1, -1, -1, -1, -1}}
		if c.bridge < 0 {
			grid[1][3] = -1
			grid[2][3], grid[3][2] = -2, -2
		} else {
			grid[1][3] = -1
		}
		line := contour(0, 0, 6, 6, func(x, y int) float64 { return grid[y][x] })
		if c.bridge > 0 {
			require.Greater(t, len(line), 8)
		} else {
			require.Len(t, line, 8)
		}
	}
}

// Three classes by brute force.
func TestOtsuOfThreeClasses(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	hist := make([]float64, 20)
	for range 3000 {
		hist[min(19, max(0, int(3+7*float64(r.IntN(3))+r.NormFloat64())))]++
	}
	within := func(a, b int) float64 {
		sum, n := 0.0, 0.0
		for i := a; i < b; i++ {
			sum, n = sum+hist[i]*float64(i), n+hist[i]
		}
		v := 0.0
		for i := a; i < b; i++ {
			v += hist[i] * (float64(i) - sum/n) * (float64(i) - sum/n)
		}
		return v
	}
	a, b := otsu3(hist)
	got := within(0, a) + within(a, b) + within(b, 20)
	for i := 1; i < 19; i++ {
		for j := i + 1; j < 20; j++ {
			if v := within(0, i) + within(i, j) + within(j, 20); v < got-1e-9 {
				t.Fatalf("bounds %d, %d leave %g; %d, %d leave %g", a, b, got, i, j, v)
			}
		}
	}
}

// Filling, closing and opening on a ring with a gap.
func TestRingWithAGapFillsOnceClosed(t *testing.T) {
	s := reformat.Section{Width: 60, Height: 60, Step: 0.25, Corner: reformat.UV{U: -7.5, V: 7.5}, Grey: make([]float32, 3600)}
	ring := newMask(60, 60)
	for i := range 60 * 60 {
		x, y := float64(i%60)-30, float64(i/60)-30
		d := math.Hypot(x, y)
		if d > 15 && d < 20 && !(x > 0 && math.Abs(y) < 1.5) {
			ring.put(i)
		}
	}
	c := newCoarse(s)
	open := c.fill(ring).count()
	closed := c.fill(ring.closed(3)).count()
	require.Less(t, open, 600)
	require.InEpsilon(t, math.Pi*20*20, float64(closed), 0.03)
}
