package accuracy_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r2"
)

// ellipse returns an ellipse with half axes a across and b along, turned by tilt degrees about its
// centre. 20000 points lie inside it by less than b·(1−cos(π/20000)) ≈ 1e-7 mm.
func ellipse(a, b, tilt float64, centre r2.Vec) loop {
	l := make(loop, 20000)
	for i := range l {
		y, x := math.Sincos(2 * math.Pi * float64(i) / float64(len(l)))
		l[i] = r2.Add(centre, r2.Rotate(r2.Vec{X: a * x, Y: b * y}, tilt*math.Pi/180, r2.Vec{}))
	}
	return l
}

// The mid-points of an ellipse's parallel chords lie on a line at right angles to them only for its own
// axes, so that a ridge of that shape has the long axis; its width at depth h is 2a·√(1−(1−h/b)²), its
// height 2b, and an inner ellipse ¾ as large leaves the plates. A circle of radius 2 around a point of
// the axis is a cavity with its floor 2 mm before that point.
func TestRidgeOfAnEllipseHasItsClosedForm(t *testing.T) {
	const a, b, tilt = 4.0, 9.0, 12.0
	centre := r2.Vec{X: 2, Y: 3}
	s := section{bone: ellipse(a, b, tilt, centre), marrow: ellipse(0.75*a, 0.75*b, tilt, centre)}
	r := findRidge(s, r2.Vec{X: 2, Y: 6})
	require.InDelta(t, tilt, r.tilt(), 1e-4)
	for _, h := range []float64{1, 3, 5, 7, 10} {
		x := 1 - h/b
		lo, hi, _ := r.chord(h)
		require.InDelta(t, 2*a*math.Sqrt(1-x*x), hi-lo, 1e-5)
		lingual, buccal, ok := r.plates(h)
		require.Equal(t, h > 0.25*b, ok, "marrow at %g mm", h)
		if want := a*math.Sqrt(1-x*x) - 0.75*a*math.Sqrt(1-x*x/0.5625); ok {
			require.InDelta(t, want, lingual, 1e-5)
			require.InDelta(t, want, buccal, 1e-5)
		}
	}
	h, to := r.height()
	require.InDelta(t, 2*b, h, 1e-5)
	require.Equal(t, "border", to)
	require.InDelta(t, 0, r.undercut(1, 30), 1e-6)
	r.cavity = ellipse(2, 2, 0, r.at(11))
	h, to = r.height()
	require.InDelta(t, 9, h, 1e-5)
	require.Equal(t, "cavity", to)
}

// A wall 3 + ½·cos(2πx/8) from the axis at depth x is touched by the line at 3.5 at x = 0 and 8: the
// undercut is 1 mm. A tube at right angles to the section reaches its radius above its centre, one that
// leaves it at an angle of φ, in the axis' plane, radius/cos φ.
func TestWavyWallHasItsUndercutAndATubeItsRoof(t *testing.T) {
	var l loop
	for i := range 6001 { // the lingual wall, down
		x := float64(i) / 500
		l = append(l, r2.Vec{X: -3 - 0.5*math.Cos(2*math.Pi*x/8), Y: -x})
	}
	for i := range 1200 {
		l = append(l, r2.Vec{X: 3, Y: -12 + float64(i)/100})
	}
	for i := range 600 {
		l = append(l, r2.Vec{X: 3 - 6.5*float64(i)/600})
	}
	r := ridge{section: section{bone: l, canal: &tube{centre: r2.Vec{X: 1, Y: -9}, radius: 1.5}}}
	r.lay(r2.Vec{Y: -1}, r2.Vec{Y: -1})
	require.InDelta(t, 1, r.undercut(-1, 11), 1e-5)
	require.InDelta(t, 0, r.undercut(1, 11), 1e-9)
	h, to := r.height()
	require.InDelta(t, 9-1.5, h, 1e-9)
	require.Equal(t, "canal", to)
	r.canal.lean = r2.Vec{Y: math.Sin(0.3)}
	h, _ = r.height()
	require.InDelta(t, 9-1.5/math.Cos(0.3), h, 1e-9)
}

// The spline through 24 points of a circle is that circle, to the fourth order of their distance:
// r·(π/12)⁴/384 < 1e-4 mm and some more where the chord stands for the arc.
func TestSplineThroughACircleIsThatCircle(t *testing.T) {
	var knots []r2.Vec
	for i := range 24 {
		knots = append(knots, r2.Rotate(r2.Vec{X: 5}, 2*math.Pi*float64(i)/24, r2.Vec{}))
	}
	l := spline(knots, 3000)
	for i, p := range l {
		require.InDelta(t, 5, r2.Norm(p), 2e-4)
		_, curvature := l.normal(i)
		require.InDelta(t, 0.2, curvature, 0.01)
	}
	in, ok := l.offset(func(int) float64 { return -1 })
	require.True(t, ok)
	require.InDelta(t, 4, r2.Norm(in[77]), 1e-3)
}

// The distance to a circle is that to its centre less its radius. Linear between points 0.05 mm apart,
// that is true to 0.05²/8r < 1e-4 mm.
func TestRasterOfACircleIsItsDistance(t *testing.T) {
	centre := r2.Vec{X: 1, Y: -9}
	circle := ellipse(5, 5, 0, centre).raster()
	for _, radius := range []float64{0, 2, 4.6, 4.97, 5, 5.2, 5.4, 8, 15} {
		for angle := 0.0; angle < 2*math.Pi; angle += 0.1 {
			p := r2.Add(centre, r2.Rotate(r2.Vec{X: radius}, angle, r2.Vec{}))
			require.InDelta(t, max(-rasterReach, min(rasterReach, radius-5)), circle.at(p), 1e-4)
		}
	}
}

// Blur and box are symmetric and sum to 1, so that a row of voxels adds up to the length of the bone in
// it, wherever its face lies; deep inside and outside each voxel has its own grey value.
func TestRenderedFaceStandsWhereItIs(t *testing.T) {
	for _, im := range []image{{voxel: 0.2, blur: 0.1, sub: 3}, {voxel: 0.2, blur: 0.25, sub: 3}, {voxel: 0.3, blur: 0.22, sub: 2}} {
		im.size = [3]int{20, 12, 12}
		for _, shift := range []float64{0, 0.03, 0.081} {
			face := 10*im.voxel + shift
			out := im.render(func(x, _, _ float64) float64 { return 100 + 1000*cover((x-face)/im.fine()) })
			row, sum := out[6*20*12+6*20:][:20], 0.0
			for _, g := range row {
				sum += (g - 100) / 1000 * im.voxel
			}
			require.InDelta(t, 1100, row[1], 1e-6)
			require.InDelta(t, 100, row[18], 1e-6)
			require.InDelta(t, face, sum-im.voxel/2, 2e-3)
		}
	}
}

// Patient and back, along the arch and back.
func TestPlaceIsItsOwnInverse(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	p := r2.Vec{X: 3, Y: -6}
	for range 50 {
		place, change := drawPlace(rng, false), drawChange(rng, 1)
		q, s := place.inSection(place.patient(p, 4))
		require.InDelta(t, 4, s, 1e-9)
		require.InDelta(t, 0, r2.Norm(r2.Sub(q, p)), 1e-9)
		require.InDelta(t, 0, r2.Norm(r2.Sub(change.back(change.forth(p, 4), 4), p)), 1e-9)
	}
}
