package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
)

// facets is a surface in the making.
type facets struct {
	points    []r3.Vec
	triangles [][3]int
}

// body adds a scan body: a cylinder of the radius about the axis, its top at top, so long, open at the lower end unless
// closed, with a bevel of 0.6 mm off one side where asked; corners scatter by noise.
func (f *facets) body(r *rand.Rand, top, axis r3.Vec, radius, long, noise float64, closed, bevel bool) {
	u := r3.Unit(across(r3.Vec{X: 0.3, Y: 0.9}, axis))
	v := r3.Cross(axis, u)
	const around, rows = 40, 16
	first := len(f.points)
	at := func(p r3.Vec) int {
		f.points = append(f.points, shaken(r, []r3.Vec{p}, noise)[0])
		return len(f.points) - 1
	}
	for k := range rows + 1 {
		for m := range around {
			a := 2 * math.Pi * float64(m) / around
			x, y := radius*math.Cos(a), radius*math.Sin(a)
			if bevel && x > radius-0.6 && k < rows/2 {
				x = radius - 0.6
			}
			at(r3.Add(top, r3.Add(r3.Scale(long*float64(k)/rows, axis), r3.Add(r3.Scale(x, u), r3.Scale(y, v)))))
		}
	}
	for k := range rows {
		for m := range around {
			a, b := first+k*around+m, first+k*around+(m+1)%around
			f.triangles = append(f.triangles, [3]int{a, b, a + around}, [3]int{b, b + around, a + around})
		}
	}
	for e, level := range []float64{0, long} {
		if e == 1 && !closed {
			break
		}
		middle := at(r3.Add(top, r3.Scale(level, axis)))
		for m := range around {
			a, b := first+e*rows*around+m, first+e*rows*around+(m+1)%around
			if e == 0 {
				a, b = b, a
			}
			f.triangles = append(f.triangles, [3]int{middle, a, b})
		}
	}
}

func (f *facets) sheet(t *testing.T) *solid.Sheet {
	t.Helper()
	s, err := solid.NewSheet(f.points, f.triangles)
	require.NoError(t, err)
	return s
}

// A cylinder without noise comes back to 1e-6 mm and 1e-4 degrees, its bevel not counted; with corners off by 0.02 mm each
// way its top to 0.02 mm and its axis to 0.15°: 680 corners over 8 mm of height fix the axis to some 0.02/√680/2.3 rad = 0.02°,
// and the top, the median of 40 facets, to some 0.01 mm. Marked by eye, a millimetre off.
func TestScanBodyIsFound(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for k := range 12 {
		top := r3.Vec{X: 20 * r.NormFloat64(), Y: 20 * r.NormFloat64(), Z: 5}
		axis := r3.Unit(r3.Vec{X: 0.3 * r.NormFloat64(), Y: 0.3 * r.NormFloat64(), Z: -1})
		radius := 1.5 + 2*r.Float64()
		noise := []float64{0, 0.02}[k%2]
		var f facets
		f.body(r, top, axis, radius, 8, noise, k%3 == 0, k%4 >= 2)
		mark := r3.Add(top, r3.Vec{X: 0.7 * r.NormFloat64(), Y: 0.4, Z: 0.5})
		b, err := BodyAt(f.sheet(t), mark)
		require.NoError(t, err)
		tol := []float64{1e-6, 0.02}[k%2]
		require.InDelta(t, 0, r3.Norm(r3.Sub(b.Top, top)), tol, "%d", k)
		require.InDelta(t, 0, angleBetween(b.Axis, axis), []float64{1e-4, 0.15}[k%2], "%d", k)
		require.InDelta(t, radius, b.Radius, tol)
		p := b.Platform("36", 9)
		require.InDelta(t, 0, r3.Norm(r3.Sub(p.At, r3.Add(b.Top, r3.Scale(9, b.Axis)))), 1e-12)
	}
}

// Five scan bodies and a sheet of mucosa on one surface, in a frame of its own: each is found and named by the plan, to
// 0.02 mm; a cylinder with two flat ends, none at all, another number, and an arch in which two orders fit alike are refused.
func TestScanBodiesAreNamedByThePlan(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	plan := archSet(5)
	truth := recorded(plan, math.NaN(), math.NaN(), func(i int, p *Position) { p.At.X += 0.1 * r.NormFloat64() })
	var f facets
	for _, i := range []int{3, 0, 4, 2, 1} {
		p := truth.Positions[i]
		f.body(r, r3.Add(p.At, r3.Scale(-9, p.Axis)), p.Axis, 2, 6, 0.01, false, i%2 == 0)
	}
	k := len(f.points)
	for i := range 12 {
		for j := range 12 {
			f.points = append(f.points, r3.Vec{X: 100 + 2*float64(i), Y: 2 * float64(j), Z: math.Sin(float64(i))})
			if i > 0 && j > 0 {
				f.triangles = append(f.triangles, [3]int{k + 12*i + j, k + 12*i + j - 1, k + 12*(i-1) + j})
			}
		}
	}
	bodies, err := Bodies(f.sheet(t))
	require.NoError(t, err)
	require.Len(t, bodies, 5)
	got, err := NameBodies(plan, bodies, 9)
	require.NoError(t, err)
	for i, p := range got {
		require.Equal(t, truth.Positions[i].Name, p.Name)
		require.InDelta(t, 0, r3.Norm(r3.Sub(p.At, truth.Positions[i].At)), 0.03)
		require.InDelta(t, 0, angleBetween(p.Axis, truth.Positions[i].Axis), 0.15)
	}
	_, err = NameBodies(plan, bodies[:4], 9)
	require.ErrorIs(t, err, ErrPoints)
	even := plan
	even.Positions = nil
	for i, p := range []r3.Vec{{X: -25, Y: -5}, {X: -8, Y: 10}, {X: 8, Y: -10}, {X: 25, Y: 5}} {
		even.Positions = append(even.Positions, Position{Name: archNames[4][i], At: p, Axis: r3.Vec{Z: -1}})
	}
	var same []Body
	for _, p := range even.Positions {
		same = append(same, Body{Top: r3.Add(p.At, r3.Vec{Z: 9}), Axis: p.Axis})
	}
	_, err = NameBodies(even, same, 9)
	require.ErrorContains(t, err, "cannot be told", "turned by half a turn the arch is the same")

	var closed facets
	closed.body(r, r3.Vec{}, r3.Vec{Z: -1}, 2, 8, 0, true, false)
	_, err = Bodies(closed.sheet(t))
	require.ErrorContains(t, err, "two flat ends")
	sheet, err := solid.NewSheet(f.points[k:], [][3]int{{0, 12, 1}, {1, 12, 13}})
	require.NoError(t, err)
	_, err = Bodies(sheet)
	require.ErrorIs(t, err, ErrBody)
	_, err = BodyAt(sheet, r3.Vec{X: 101, Y: 1})
	require.ErrorIs(t, err, ErrBody)
	_, err = BodyAt(sheet, r3.Vec{})
	require.ErrorContains(t, err, "off the surface")
}

// Every order once.
func TestPermute(t *testing.T) {
	seen := map[[4]int]bool{}
	permute(4, func(p []int) { seen[[4]int(p)] = true })
	require.Len(t, seen, 24)
}
