package solid

import (
	"bytes"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// hemisphere returns the upper part of a sphere of radius r about c, above z = c.Z: an open sheet of n rings.
func hemisphere(t *testing.T, c r3.Vec, r float64, n int) *Sheet {
	t.Helper()
	points := []r3.Vec{r3.Add(c, r3.Vec{Z: r})}
	var facets [][3]int
	const around = 48
	for k := 1; k <= n; k++ {
		polar := math.Pi / 2 * float64(k) / float64(n)
		for m := range around {
			a := 2 * math.Pi * float64(m) / around
			points = append(points, r3.Add(c, r3.Vec{X: r * math.Sin(polar) * math.Cos(a), Y: r * math.Sin(polar) * math.Sin(a), Z: r * math.Cos(polar)}))
		}
	}
	for m := range around {
		next := (m + 1) % around
		facets = append(facets, [3]int{0, 1 + m, 1 + next})
		for k := range n - 1 {
			a, b, e, f := 1+k*around+m, 1+k*around+next, 1+(k+1)*around+m, 1+(k+1)*around+next
			facets = append(facets, [3]int{a, e, f}, [3]int{a, f, b})
		}
	}
	s, err := NewSheet(points, facets)
	require.NoError(t, err)
	return s
}

// Half a sphere, open below: the nearest point and where a line meets it are the sphere's, to the sagitta of its facets,
// r·(1 − cos(π/48)) = 0.02 mm; a line that misses it meets nothing; outward normals.
func TestOpenSurfaceOfAHalfSphere(t *testing.T) {
	c := r3.Vec{X: 3, Y: -2, Z: 10}
	s := hemisphere(t, c, 8, 24)
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		u := r3.Unit(r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: 0.3 + math.Abs(r.NormFloat64())})
		far := 1 + 15*r.Float64()
		x := r3.Add(c, r3.Scale(far, u))
		p, facet := s.Nearest(x)
		require.InDelta(t, math.Abs(far-8), r3.Norm(r3.Sub(p, x)), 0.03)
		require.InDelta(t, 8, r3.Norm(r3.Sub(p, c)), 0.03)
		n, area := s.Normal(facet)
		require.Greater(t, r3.Dot(n, u), 0.95)
		require.Positive(t, area)
		hits := s.Crossings(c, u)
		require.NotEmpty(t, hits)
		require.InDelta(t, 8, hits[len(hits)-1].At, 0.03)
	}
	require.Empty(t, s.Crossings(r3.Add(c, r3.Vec{X: 9}), r3.Vec{Z: 1}))
	through := s.Crossings(r3.Add(c, r3.Vec{X: -20, Y: 0.1, Z: 4.01}), r3.Vec{X: 1})
	require.Len(t, through, 2)
	require.InDelta(t, 2*math.Sqrt(64-4.01*4.01), through[1].At-through[0].At, 0.05)
}

// What is written is read the same; what is open is no [Surface], and reads as a sheet; two pieces are two parts.
func TestSheetIsWrittenAndReadTheSame(t *testing.T) {
	one := hemisphere(t, r3.Vec{}, 8, 6)
	two := one.Moved(func(p r3.Vec) r3.Vec { return r3.Add(p, r3.Vec{X: 40}) })
	points := append(append([]r3.Vec{}, one.Points...), two.Points...)
	facets := append([][3]int{}, one.Triangles...)
	for _, f := range two.Triangles[:100] {
		facets = append(facets, [3]int{f[0] + len(one.Points), f[1] + len(one.Points), f[2] + len(one.Points)})
	}
	both, err := NewSheet(points, facets)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, WriteSheet(&b, both, "a frame of its own"))
	require.Contains(t, b.String()[:80], "ridgerule surface, a frame of its own, mm")
	back, err := ReadSheet(bytes.NewReader(b.Bytes()), int64(b.Len()))
	require.NoError(t, err)
	require.Len(t, back.Triangles, len(facets))
	for i := range facets {
		for k, p := range both.Triangle(i) {
			require.InDelta(t, 0, r3.Norm(r3.Sub(p, back.Triangle(i)[k])), 1e-5)
		}
	}
	parts := back.Parts()
	require.Len(t, parts, 2)
	require.Len(t, parts[0], len(one.Triangles))
	require.Len(t, parts[1], 100)
	_, err = ReadSTL(bytes.NewReader(b.Bytes()), int64(b.Len()))
	require.ErrorIs(t, err, ErrBody)
	require.InDelta(t, 48, back.search.ready.tree.nodes[0].hi[0], 1e-4)
	for _, bad := range [][][3]int{nil, {{0, 1, 99999}}, {{-1, 1, 2}}} {
		_, err := NewSheet(points, bad)
		require.ErrorIs(t, err, ErrBody)
	}
}
