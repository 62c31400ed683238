package reformat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// raster32 is value over 32 × 32 pixels.
func raster32(value func(x, y float64) float64) []float64 {
	out := make([]float64, 0, 32*32)
	for y := range 32 {
		for x := range 32 {
			out = append(out, value(float64(x), float64(y)))
		}
	}
	return out
}

// A circle within the raster is one closed line, π·r² and 2·π·r to the error of chords and linear interpolation at r = 10
// pixels; with its positive side on its right where rows run downward its shoelace area is positive. A hole runs the other way.
func TestContourOfACircleIsClosed(t *testing.T) {
	const r = 10.0
	for _, sign := range []float64{1, -1} {
		lines := Contours(raster32(func(x, y float64) float64 { return sign * (r - math.Hypot(x-15.3, y-16.2)) }), 32, 5, 7)
		require.Len(t, lines, 1)
		require.True(t, lines[0].Closed)
		length, area, p := 0.0, 0.0, lines[0].Points
		for i, a := range p {
			b := p[(i+1)%len(p)]
			length += math.Hypot(b[0]-a[0], b[1]-a[1])
			area += (a[0]*b[1] - a[1]*b[0]) / 2
			assert.InDelta(t, r, math.Hypot(a[0]-15.3-5, a[1]-16.2-7), 0.02, "the first value stands at (5, 7)")
		}
		assert.InEpsilon(t, sign*math.Pi*r*r, area, 5e-3)
		assert.InEpsilon(t, 2*math.Pi*r, length, 5e-3)
	}
}

// A straight line through the raster is one open line from rim to rim, whole wherever it first meets the scan of pixels.
func TestContourThroughTheRasterIsOpen(t *testing.T) {
	for _, angle := range []float64{0.3, 1.2, 2.0, 2.9, 4.4, 5.9} {
		u, v := math.Cos(angle), math.Sin(angle)
		lines := Contours(raster32(func(x, y float64) float64 { return u*(x-15.7) + v*(y-14.9) }), 32, 0, 0)
		require.Len(t, lines, 1, "angle %g", angle)
		require.False(t, lines[0].Closed)
		p := lines[0].Points
		for _, q := range p { // interpolation of a plane is exact
			assert.InDelta(t, 0, u*(q[0]-15.7)+v*(q[1]-14.9), 1e-9)
		}
		for _, end := range [][2]float64{p[0], p[len(p)-1]} {
			assert.True(t, end[0] == 0 || end[0] == 31 || end[1] == 0 || end[1] == 31, "it ends at %v", end)
		}
		first, last := p[0], p[len(p)-1]
		assert.Negative(t, u*(last[1]-first[1])-v*(last[0]-first[0]), "the positive side is not on its right")
	}
}

func TestContoursOfNothing(t *testing.T) {
	assert.Empty(t, Contours(nil, 4, 0, 0))
	assert.Empty(t, Contours(raster32(func(x, y float64) float64 { return math.NaN() }), 32, 0, 0))
	assert.Empty(t, Contours(raster32(func(x, y float64) float64 { return 1 }), 32, 0, 0))
}
