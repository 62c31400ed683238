package solid

import (
	"bytes"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// leaning returns an axis that leans from straight down, toward an azimuth.
func leaning(degrees, azimuth float64) r3.Vec {
	s, c := math.Sincos(degrees * math.Pi / 180)
	sa, ca := math.Sincos(azimuth * math.Pi / 180)
	return v(s*ca, s*sa, -c)
}

func BenchmarkImplantCanal(b *testing.B) {
	im, c := upright(v(0, 0, 0), 4, 10), capsule(1.5, v(-20, 5, -14), v(20, 4, -13))
	f, rc := newFlatCone(im), newRoundCone(c.Path[0], c.Path[1], 1.5, 1.5)
	for b.Loop() {
		lineSearch(&rc, &f, math.Inf(-1), 1e9)
	}
}

func BenchmarkImplantImplant(b *testing.B) {
	x, y := newFlatCone(upright(v(0, 0, 0), 4, 10)), newFlatCone(Frustum{Base: v(7, 1, 0), Axis: leaning(15, 70), Length: 12, Radius: 2, TipRadius: 2})
	for b.Loop() {
		gjk(&x, &y, r3.Sub(y.c, x.c))
	}
}

func BenchmarkDepth(b *testing.B) {
	x, y := newFlatCone(upright(v(0, 0, 0), 4, 10)), newFlatCone(Frustum{Base: v(3, 1, 0), Axis: leaning(15, 70), Length: 12, Radius: 2, TipRadius: 2})
	for b.Loop() {
		overlap(&x, &y)
	}
}

func BenchmarkDepthOfCoaxialCylinders(b *testing.B) {
	x, y := newFlatCone(upright(v(0, 0, 0), 4, 10)), newFlatCone(upright(v(0, 0, 0), 3, 10))
	for b.Loop() {
		overlap(&x, &y)
	}
}

func BenchmarkMesh200kPrepare(b *testing.B) {
	for b.Loop() {
		m := torusMesh(20, 6, 500, 200)
		if _, err := m.Shape(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMesh200kDistance(b *testing.B) {
	m := torusMesh(20, 6, 500, 200)
	im := Frustum{Base: v(3, 2, 3), Axis: leaning(20, 30), Length: 10, Radius: 2, TipRadius: 2}
	for b.Loop() {
		if _, err := Distance(im, m); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkReadSTL200k(b *testing.B) {
	data := asBinary(b, torusMesh(20, 6, 500, 200))
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := ReadSTL(bytes.NewReader(data), int64(len(data))); err != nil {
			b.Fatal(err)
		}
	}
}
