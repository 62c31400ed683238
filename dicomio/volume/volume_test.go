package volume

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// ramp returns a volume whose grey value is linear in patient space, so that trilinear
// interpolation gives it back exactly anywhere inside.
func ramp(t testing.TB, g Grid) *Volume {
	v, err := New(g)
	require.NoError(t, err)
	n := 0
	for k := range g.Size[2] {
		for j := range g.Size[1] {
			for i := range g.Size[0] {
				v.Stored[n] = int16(3*i - 2*j + 5*k)
				n++
			}
		}
	}
	v.Rescale = []Rescale{{Slope: 2, Intercept: -1000}}
	return v
}

func sheared() Grid {
	return Grid{Size: [3]int{9, 7, 5}, Origin: r3.Vec{X: -10, Y: 4, Z: 7},
		Step: [3]r3.Vec{{X: 0.3, Y: 0.1}, {X: -0.1, Y: 0.4, Z: 0.05}, {X: 0.02, Y: 0.2, Z: -0.5}}}
}

// Worked cases of the image plane equation (a public test file, read): position, orientation,
// spacing row\column, (column, row) and the patient point. Source: DICOM PS3.3 C.7.6.2.1.1.
func TestImagePlaneEquation(t *testing.T) {
	for _, c := range []struct {
		s, x, y  r3.Vec
		dRow     float64 // PixelSpacing[0], between rows
		dCol     float64 // PixelSpacing[1], between columns
		col, row float64
		want     r3.Vec
	}{
		{r3.Vec{X: -45, Y: 35, Z: -90}, r3.Vec{Y: 1}, r3.Vec{Z: -1}, 0.25, 0.5, 15, 87, r3.Vec{X: -45, Y: 42.5, Z: -111.75}},
		{r3.Vec{X: 10, Y: 60}, r3.Vec{X: 1}, r3.Vec{Y: 1}, 2, 0.5, 5, 4, r3.Vec{X: 12.5, Y: 68}},
		{r3.Vec{X: 10, Y: 60, Z: 30}, r3.Vec{X: 1}, r3.Vec{Y: -1}, 2, 0.5, 5, 4, r3.Vec{X: 12.5, Y: 52, Z: 30}},
		{r3.Vec{X: 10, Y: 60}, r3.Vec{Y: -1}, r3.Vec{X: -1}, 2, 0.5, 5, 2, r3.Vec{X: 6, Y: 57.5}},
		{r3.Vec{X: 10, Y: 60}, r3.Vec{Y: -1}, r3.Vec{X: -1}, 2, 0.5, 2, 2, r3.Vec{X: 6, Y: 59}},
		{r3.Vec{X: 10, Y: 60}, r3.Vec{Y: -1}, r3.Vec{X: -1}, 2, 0.5, 2, 4, r3.Vec{X: 2, Y: 59}},
	} {
		g := Grid{Origin: c.s, Step: [3]r3.Vec{r3.Scale(c.dCol, c.x), r3.Scale(c.dRow, c.y), r3.Cross(c.x, c.y)}}
		got := g.Patient(Index{c.col, c.row, 0})
		require.InDelta(t, 0, r3.Norm(r3.Sub(got, c.want)), 1e-12, "%+v gives %v", c, got)
		back := g.Index(c.want)
		require.InDelta(t, c.col, back.I, 1e-12)
		require.InDelta(t, c.row, back.J, 1e-12)
	}
}

// Patient and Index undo each other on any grid, sheared ones included.
func TestIndexUndoesPatient(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := rapid.Float64Range(-2, 2)
		vec := func(name string) r3.Vec {
			return r3.Vec{X: f.Draw(t, name), Y: f.Draw(t, name), Z: f.Draw(t, name)}
		}
		g := Grid{Size: [3]int{4, 4, 4}, Origin: vec("o"), Step: [3]r3.Vec{vec("a"), vec("b"), vec("c")}}
		det := r3.Dot(g.Step[0], r3.Cross(g.Step[1], g.Step[2]))
		if math.Abs(det) < 1e-3 {
			t.Skip()
		}
		p := vec("p")
		if back := g.Patient(g.Index(p)); r3.Norm(r3.Sub(back, p)) > 1e-9/math.Abs(det) {
			t.Fatalf("%v came back as %v", p, back)
		}
	})
}

// A linear field is interpolated exactly, on a sheared grid and an oblique plane; where At says
// there is a value Sample says the same, and outside both say NaN.
func TestSampleGivesALinearFieldBack(t *testing.T) {
	v := ramp(t, sheared())
	truth := func(p r3.Vec) float64 {
		ix := v.Index(p)
		return 2*(3*ix.I-2*ix.J+5*ix.K) - 1000
	}
	r := rand.New(rand.NewPCG(1, 2))
	inside := 0
	for range 200 {
		vec := func(s float64) r3.Vec {
			return r3.Vec{X: s * r.NormFloat64(), Y: s * r.NormFloat64(), Z: s * r.NormFloat64()}
		}
		p := Plane{Origin: r3.Add(v.Patient(Index{4, 3, 2}), vec(1)), StepX: vec(0.1), StepY: vec(0.1), Width: 13, Height: 11}
		for n, got := range v.Sample(nil, p) {
			at := r3.Add(p.Origin, r3.Add(r3.Scale(float64(n%13), p.StepX), r3.Scale(float64(n/13), p.StepY)))
			if !v.Contains(v.Index(at)) {
				require.True(t, math.IsNaN(float64(got)), "%v outside the field", at)
				continue
			}
			inside++
			require.InDelta(t, truth(at), float64(got), 1e-3)
			require.InDelta(t, truth(at), v.At(at), 1e-3)
		}
	}
	require.Greater(t, inside, 5000)
}

// Voxel centres are hit exactly, the outermost ones included; half a voxel further out is
// outside: integer index is voxel centre.
func TestCentresOfTheOutermostVoxelsAreInside(t *testing.T) {
	v := ramp(t, sheared())
	n := v.Size
	for _, k := range []int{0, n[2] - 1} {
		plane := Plane{Origin: v.Patient(Index{0, 0, float64(k)}), StepX: v.Step[0], StepY: v.Step[1], Width: n[0], Height: n[1]}
		for m, got := range v.Sample(nil, plane) {
			require.Equal(t, float32(v.Grey(m%n[0], m/n[0], k)), got)
		}
	}
	for _, out := range []Index{{-0.5, 1, 1}, {8.5, 1, 1}, {1, -0.01, 1}, {1, 6.01, 1}, {1, 1, 4.001}} {
		require.True(t, math.IsNaN(v.At(v.Patient(out))), "%v", out)
	}
}

// A blank voxel has no value and lends none to its neighbours; the far side of the neighbour has.
func TestBlankVoxelHasNoValue(t *testing.T) {
	v := ramp(t, sheared())
	blank := int16(-30000)
	v.Blank = &blank
	v.Stored[(2*v.Size[1]+3)*v.Size[0]+4] = blank
	require.True(t, math.IsNaN(v.At(v.Patient(Index{4, 3, 2}))))
	require.True(t, math.IsNaN(v.At(v.Patient(Index{4.5, 3, 2}))))
	require.False(t, math.IsNaN(v.At(v.Patient(Index{5, 3, 2}))))
	got := v.Sample(nil, Plane{Origin: v.Patient(Index{4.5, 3, 2}), StepX: v.Step[0], StepY: v.Step[1], Width: 2, Height: 1})
	require.True(t, math.IsNaN(float64(got[0])))
	require.False(t, math.IsNaN(float64(got[1])))
}

// Each slice keeps its own rescale, between slices the two are blended.
func TestRescaleOfEachSlice(t *testing.T) {
	v := ramp(t, sheared())
	v.Rescale = []Rescale{{1, 0}, {2, 10}, {1, 0}, {1, 0}, {1, 0}}
	a, b := v.At(v.Patient(Index{4, 3, 0})), v.At(v.Patient(Index{4, 3, 1}))
	require.Equal(t, 6.0, a)
	require.Equal(t, 32.0, b)
	require.InDelta(t, 0.25*a+0.75*b, v.At(v.Patient(Index{4, 3, 0.75})), 1e-4)
}

func TestNewRefusesAnUnusableGrid(t *testing.T) {
	g := sheared()
	g.Size[1] = 0
	_, err := New(g)
	require.ErrorIs(t, err, ErrGrid)
	g = sheared()
	g.Step[2] = g.Step[1]
	_, err = New(g)
	require.ErrorIs(t, err, ErrGrid)
	g.Step[2] = r3.Vec{X: math.NaN()}
	_, err = New(g)
	require.ErrorIs(t, err, ErrGrid)
}

// Stored values of either sign, the outermost of 16 bits included, come back at their voxels' centres
// as they are, from the fast loop as from At.
func TestSampleKnowsEveryStoredValue(t *testing.T) {
	v, err := New(Grid{Size: [3]int{256, 256, 2}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	require.NoError(t, err)
	for n := range v.Stored {
		v.Stored[n] = int16(n)
	}
	plane := Plane{Origin: r3.Vec{Z: 0.5}, StepX: r3.Vec{X: 1}, StepY: r3.Vec{Y: 1}, Width: 256, Height: 256}
	for n, got := range v.Sample(nil, plane) {
		if want := float32(v.Stored[n]); got != want || float32(v.At(r3.Vec{X: float64(n % 256), Y: float64(n / 256)})) != want {
			t.Fatalf("stored %g came back as %g", want, got)
		}
	}
}

// A row of 20 000 pixels across one steep voxel ends where it should: steps that are rounded to 2⁻³²
// voxel would else be off by 2.3e-6 voxel, 0.08 of this slope's grey values.
func TestLongRowDoesNotDrift(t *testing.T) {
	v, err := New(Grid{Size: [3]int{2, 2, 2}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}})
	require.NoError(t, err)
	for n := range v.Stored {
		v.Stored[n] = int16(n % 2 * math.MaxInt16)
	}
	const n = 20000
	step := (math.Floor((1<<32)/n-1) + 0.499) / (1 << 32)
	got := v.Sample(nil, Plane{Origin: r3.Vec{X: 1e-5, Y: 0.5, Z: 0.5}, StepX: r3.Vec{X: step}, StepY: r3.Vec{Y: 0.1}, Width: n, Height: 1})
	require.InDelta(t, math.MaxInt16*(1e-5+(n-1)*step), float64(got[n-1]), 0.03)
}

// BenchmarkSample measures oblique planes in a 512³ volume. best-Msamples/s, the fastest of the rounds,
// is the figure to compare with the C loop of testdata/volume/sample.c, which gives its fastest too;
// with -cpu 1, for that loop has one thread.
func BenchmarkSample(b *testing.B) {
	g := Grid{Size: [3]int{512, 512, 512}, Step: [3]r3.Vec{{X: 0.2}, {Y: 0.2}, {Z: 0.2}}}
	v, err := New(g)
	require.NoError(b, err)
	r := rand.New(rand.NewPCG(3, 4))
	for n := range v.Stored {
		v.Stored[n] = int16(r.IntN(4000) - 1000)
	}
	plane := Plane{Origin: r3.Vec{X: 20, Y: 20, Z: 20}, StepX: r3.Vec{X: 0.08, Y: 0.05, Z: 0.04}, StepY: r3.Vec{X: -0.05, Y: 0.08, Z: 0.03}, Width: 600, Height: 600}
	dst := make([]float32, 600*600)
	b.ReportAllocs()
	best := time.Hour
	for b.Loop() {
		begin := time.Now()
		v.Sample(dst, plane)
		best = min(best, time.Since(begin))
	}
	b.ReportMetric(600*600*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
	b.ReportMetric(600*600/best.Seconds()/1e6, "best-Msamples/s")
}

// An oblique plane through a sheared volume against scipy.ndimage.map_coordinates (order 1) at
// positions from nibabel's affine: testdata/volume/scipy_plane.py. The file has six decimals,
// Sample works in float32.
func TestSampleAgreesWithScipy(t *testing.T) {
	g := sheared()
	g.Size = [3]int{7, 6, 5}
	v, err := New(g)
	require.NoError(t, err)
	for n := range v.Stored {
		i, j, k := n%7, n/7%6, n/42
		v.Stored[n] = int16((i*7919+j*104729+k*1299709+i*j*k*31)%4001 - 1000)
	}
	f, err := os.Open("../../testdata/volume/plane.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	got := v.Sample(nil, Plane{Origin: r3.Vec{X: -9.4, Y: 5.2, Z: 6.4}, StepX: r3.Vec{X: 0.11, Y: 0.05, Z: -0.04},
		StepY: r3.Vec{X: -0.02, Y: 0.09, Z: -0.1}, Width: 12, Height: 9})
	compared := 0
	for n, row := range rows[1:] {
		if row[2] == "" {
			require.True(t, math.IsNaN(float64(got[n])), "row %d", n)
			continue
		}
		want, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		require.InDelta(t, want, float64(got[n]), 2e-3, "row %d", n)
		compared++
	}
	require.Greater(t, compared, 50)
}
