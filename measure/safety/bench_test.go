package safety

import (
	"bytes"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// crowd is 500 structures around a jaw: chains of 20 pieces, all within 60 mm.
func crowd() []Structure {
	rng := rand.New(rand.NewPCG(15, 16))
	var out []Structure
	for range 500 {
		s := capsule(0.5+rng.Float64(), r3.Vec{X: 60*rng.Float64() - 30, Y: 60*rng.Float64() - 30, Z: 20*rng.Float64() - 25})
		for range 20 {
			s.Path = append(s.Path, r3.Add(s.Path[len(s.Path)-1], r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
			s.Radii = append(s.Radii, s.Radii[0])
		}
		out = append(out, s)
	}
	return out
}

func BenchmarkImplantCanal(b *testing.B) {
	im, c := upright(v(0, 0, 0), 4, 10), capsule(1.5, v(-20, 5, -14), v(20, 4, -13))
	f, rc := newFrustum(im), newRoundCone(c.Path[0], c.Path[1], 1.5, 1.5)
	for b.Loop() {
		slide(&rc, &f, 1e9)
	}
}

func BenchmarkImplantImplant(b *testing.B) {
	x, y := newFrustum(upright(v(0, 0, 0), 4, 10)), newFrustum(Implant{Platform: v(7, 1, 0), Axis: leaning(15, 70), Diameter: 4, Length: 12})
	for b.Loop() {
		gjk(&x, &y, r3.Sub(y.c, x.c))
	}
}

func BenchmarkDepth(b *testing.B) {
	x, y := newFrustum(upright(v(0, 0, 0), 4, 10)), newFrustum(Implant{Platform: v(3, 1, 0), Axis: leaning(15, 70), Diameter: 4, Length: 12})
	for b.Loop() {
		overlap(&x, &y)
	}
}

func BenchmarkDepthOfCoaxialCylinders(b *testing.B) {
	x, y := newFrustum(upright(v(0, 0, 0), 4, 10)), newFrustum(upright(v(0, 0, 0), 3, 10))
	for b.Loop() {
		overlap(&x, &y)
	}
}

func Benchmark500Structures(b *testing.B) {
	s, err := NewScene(crowd())
	if err != nil {
		b.Fatal(err)
	}
	im := upright(v(0, 0, 5), 4, 10)
	for b.Loop() {
		if _, err := s.Check(im, Margins(), Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMesh200kPrepare(b *testing.B) {
	for b.Loop() {
		m := torusMesh(20, 6, 500, 200)
		if err := m.Validate(); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkMesh200kDistance(b *testing.B) {
	m := torusMesh(20, 6, 500, 200)
	s, err := NewScene([]Structure{{Name: "ring", Surface: m}})
	if err != nil {
		b.Fatal(err)
	}
	im := Implant{Platform: v(3, 2, 3), Axis: leaning(20, 30), Diameter: 4, Length: 10}
	for b.Loop() {
		if _, err := s.Check(im, Margins(), Options{}); err != nil {
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

// Twelve sizes at eight sites, each with a canal, a foramen, two roots and a sinus surface.
func BenchmarkLadder12SizesAt8Sites(b *testing.B) {
	m, _ := sphereMesh(v(0, 25, -30), 12, 5)
	s, err := NewScene([]Structure{
		capsule(1.5, v(-20, 1, -15), v(-10, 0, -14), v(0, 1, -15), v(20, -1, -14)), capsule(1.5, v(20, 3, -12)),
		capsule(2, v(7, 0, 1), v(6, 1, -12)), capsule(2, v(-7, 0, 1), v(-8, -1, -12)), {Name: "ball", Kind: Sinus, Surface: m}})
	if err != nil {
		b.Fatal(err)
	}
	s.structures[2].Kind, s.structures[3].Kind = Root, Root
	var sizes []Size
	for _, d := range []float64{3.5, 4, 4.5} {
		for _, l := range []float64{8, 10, 11.5, 13} {
			sizes = append(sizes, Size{Diameter: d, Length: l})
		}
	}
	st := seat()
	st.Depth = [2]float64{-1, 1}
	for b.Loop() {
		for range 8 {
			if _, err := s.Ladder(st, sizes, slab(9, 0.7, 1.5), Margins(), Options{}, nil); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// One site, twelve sizes, 500 structures.
func BenchmarkLadderAmong500Structures(b *testing.B) {
	s, err := NewScene(crowd())
	if err != nil {
		b.Fatal(err)
	}
	var sizes []Size
	for k := range 12 {
		sizes = append(sizes, Size{Diameter: 3 + 0.5*float64(k%3), Length: 8 + float64(k/3)})
	}
	st := seat()
	st.Platform = v(0, 0, 8)
	for b.Loop() {
		if _, err := s.Ladder(st, sizes, slab(9, 0.7, 1.5), Margins(), Options{}, nil); err != nil {
			b.Fatal(err)
		}
	}
}
