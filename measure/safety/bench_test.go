package safety

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
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

// Twelve sizes at eight sites, each with a canal, a foramen, two roots and a sinus surface.
func Benchmark12SizesAt8Sites(b *testing.B) {
	m := ring(v(0, 25, -30), 8, 4, 64)
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
	st := poses()
	st.Depth = [2]float64{-1, 1}
	for b.Loop() {
		for range 8 {
			if _, err := s.TrySizes(st, sizes, slab(9, 0.7, 1.5), Margins(), Options{}, nil); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// One site, twelve sizes, 500 structures.
func Benchmark12SizesAmong500Structures(b *testing.B) {
	s, err := NewScene(crowd())
	if err != nil {
		b.Fatal(err)
	}
	var sizes []Size
	for k := range 12 {
		sizes = append(sizes, Size{Diameter: 3 + 0.5*float64(k%3), Length: 8 + float64(k/3)})
	}
	st := poses()
	st.Platform = v(0, 0, 8)
	for b.Loop() {
		if _, err := s.TrySizes(st, sizes, slab(9, 0.7, 1.5), Margins(), Options{}, nil); err != nil {
			b.Fatal(err)
		}
	}
}

// ring is the surface of a torus about c in 2·n² triangles, radii R of the ring and r of its tube, mm.
func ring(c r3.Vec, R, r float64, n int) *solid.Surface {
	s := &solid.Surface{}
	at := func(i, j int) int { return i%n*n + j%n }
	for i := range n {
		for j := range n {
			su, cu := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			sv, cv := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			s.Points = append(s.Points, r3.Add(c, v((R+r*cv)*cu, (R+r*cv)*su, r*sv)))
			s.Triangles = append(s.Triangles, [3]int{at(i, j), at(i+1, j), at(i+1, j+1)}, [3]int{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
	}
	return s
}
