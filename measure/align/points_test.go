package align

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

// parabola returns n platforms on an arch 50 mm wide and 32 mm deep, evenly spaced across it. The simulated values of the
// tests below were computed for an arch of that size (shared note, Part 4), whose form is not told; on this one every
// value of them is met.
func parabola(n int) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		t := -1 + 2*float64(i)/float64(n-1)
		out[i] = r3.Vec{X: 25 * t, Y: -32 * (1 - t*t)}
	}
	return out
}

func shaken(r *rand.Rand, points []r3.Vec, sd float64) []r3.Vec {
	out := make([]r3.Vec, len(points))
	for i, p := range points {
		out[i] = r3.Add(p, r3.Scale(sd, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}))
	}
	return out
}

func drop[T any](list []T, i int) []T { return slices.Delete(slices.Clone(list), i, i+1) }

// What was turned and moved is brought back, whatever the turn: no residual, the turn to 1e-9 degrees, size 1.
func TestPointsTurnedAreBroughtBack(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for n := 3; n < 10; n++ {
		from := shaken(r, parabola(n), 3)
		want := Rigid("a", "b", r3.Vec{X: 3 * r.NormFloat64(), Y: 3 * r.NormFloat64(), Z: 3 * r.NormFloat64()}, r3.Vec{X: 40, Y: -70, Z: 12})
		to := make([]r3.Vec, n)
		for i, p := range from {
			to[i] = want.Apply(p)
		}
		f, err := FitPoints(from, to)
		require.NoError(t, err)
		require.InDelta(t, 0, f.RMS, 1e-9)
		require.InDelta(t, 1, f.ScaleFound, 1e-12)
		for i := range 3 {
			require.InDeltaSlice(t, want.Rotation[i][:], f.Rotation[i][:], 1e-9)
		}
		require.InDelta(t, 0, r3.Norm(r3.Sub(want.Translation, f.Translation)), 1e-9)
		require.NoError(t, f.Check())
		f, err = FitPoints(from, scaled(to, 1.004))
		require.NoError(t, err)
		require.InDelta(t, 1.004, f.ScaleFound, 1e-12, "a size error is found")
		require.Greater(t, f.RMS, 0.02, "and not taken out")
	}
}

func scaled(points []r3.Vec, s float64) []r3.Vec {
	out := make([]r3.Vec, len(points))
	for i, p := range points {
		out[i] = r3.Scale(s, p)
	}
	return out
}

// Residual, largest residual, error of one left out, and turn, as simulated elsewhere (shared note, Part 4: 3,000 draws,
// 0.05 mm a coordinate). With 1,500 draws here a root mean square is off by some 1 %, a 95th percentile by some 2 %; the
// printed values have two to three digits: 5 %, and 10 % for the two percentiles, which also rest on the arch's form.
func TestPointsGiveTheSimulatedTable(t *testing.T) {
	for _, c := range []struct {
		n                                     int
		rms, largest, endRMS, innerRMS, turns float64
	}{{3, 0.049, 0.102, 0, 0, 0.25}, {4, 0.061, 0.121, 0.238, 0.112, 0.24}, {5, 0.067, 0.136, 0.18, 0.105, 0.21}, {6, 0.071, 0.144, 0.15, 0.10, 0.21}, {8, 0.075, 0.155, 0.125, 0.097, 0.19}} {
		r := rand.New(rand.NewPCG(2, uint64(c.n)))
		from := parabola(c.n)
		var square, endSquare, innerSquare float64
		var largest, turns []float64
		const draws = 1500
		for range draws {
			to := shaken(r, from, 0.05)
			f, err := FitPoints(from, to)
			require.NoError(t, err)
			square += f.RMS * f.RMS / draws
			turns = append(turns, f.Angle())
			most := 0.0
			for _, d := range f.Residuals {
				most = max(most, r3.Norm(d))
			}
			largest = append(largest, most)
			for i := 0; i < 2 && c.n > 3; i++ { // an end and an inner one, two each draw
				a, err := FitPoints(drop(from, i), drop(to, i))
				require.NoError(t, err)
				miss := r3.Norm2(r3.Sub(to[i], a.Apply(from[i]))) / draws
				if i == 0 {
					endSquare += miss
				} else {
					innerSquare += miss
				}
			}
		}
		require.InEpsilon(t, 0.05*math.Sqrt(3)*Hidden(c.n), math.Sqrt(square), 0.03, "%d: the closed form σ·√(3(1−2/n))", c.n)
		require.InEpsilon(t, c.rms, math.Sqrt(square), 0.05, "%d: residual", c.n)
		require.InEpsilon(t, c.largest, percentile(largest, 95), 0.1, "%d: largest residual", c.n)
		require.InEpsilon(t, c.turns, percentile(turns, 95), 0.1, "%d: turn", c.n)
		if c.n > 3 {
			require.InEpsilon(t, c.endRMS, math.Sqrt(endSquare), 0.1, "%d: an end left out", c.n)
			require.InDelta(t, c.innerRMS, math.Sqrt(innerSquare), 0.015, "%d: the next one left out", c.n)
		}
	}
}

func percentile(list []float64, p int) float64 {
	slices.Sort(list)
	return list[len(list)*p/100]
}

// Residuals show 57 % of the error at three implants and 82 % at six: √(1 − 2/n).
func TestHiddenShare(t *testing.T) {
	require.InDelta(t, 0.577, Hidden(3), 0.0005)
	require.InDelta(t, 0.816, Hidden(6), 0.0005)
}

// The spread of a fit covers the error of a point that was not fitted: of 1,500 draws with 0.05 mm a coordinate, 95 in 100
// errors along an axis lie within 2 of the spread's standard uncertainties, worked out from the known 0.05 mm; and its
// mean square is that of the closed form (Fitzpatrick & West 2001).
func TestSpreadOfPointsIsTheErrorElsewhere(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	from := parabola(5)
	target := r3.Vec{X: 10, Y: 20, Z: 12}
	s := spreadOf(Identity(""), from, centroid(from), 0.05)
	dir := r3.Unit(r3.Vec{X: 1, Y: 2, Z: -3})
	want := s.along(target, dir)
	within, square := 0, 0.0
	const draws = 1500
	for range draws {
		f, err := FitPoints(from, shaken(r, from, 0.05))
		require.NoError(t, err)
		e := r3.Dot(r3.Sub(f.Apply(target), target), dir)
		square += e * e / draws
		if math.Abs(e) <= 2*want {
			within++
		}
	}
	require.InEpsilon(t, want, math.Sqrt(square), 0.06) // √(1/2n): 2 % of sampling, three times
	require.InDelta(t, 0.954, float64(within)/draws, 0.02)
}

// Fewer than three, on a line, or no numbers: refused.
func TestPointsThatFixNothingAreRefused(t *testing.T) {
	line := []r3.Vec{{X: 1}, {X: 5}, {X: 9, Y: 0.3}, {X: 20, Z: 0.2}}
	for name, points := range map[string][]r3.Vec{"two": line[:2], "line": line, "same": {{X: 1}, {X: 1}, {X: 1}}, "nan": {{X: math.NaN()}, {X: 5}, {Y: 7}}} {
		_, err := FitPoints(points, points)
		require.ErrorIs(t, err, ErrPoints, name)
	}
	bent := slices.Clone(line)
	bent[1].Y = 4
	_, err := FitPoints(bent, bent)
	require.NoError(t, err)
	_, err = FitPoints(bent, line)
	require.ErrorIs(t, err, ErrPoints, "either set may be the one on a line")
}

// An even arch that was mirrored fits at 0.30 mm by its platforms alone (shared note, Part 4): turned by half a turn, only
// the heights are off, twice; ±0.15 mm of height give that value. Its mirror image fits without rest.
func TestMirroredArchFitsByItsPlatforms(t *testing.T) {
	from := parabola(6)
	for i := range from {
		from[i].Z = 0.15 * float64(1-2*(i%2))
	}
	to := make([]r3.Vec, len(from))
	for i, p := range from {
		to[i] = r3.Vec{X: -p.X, Y: p.Y, Z: p.Z}
	}
	f, err := FitPoints(from, to)
	require.NoError(t, err)
	require.InDelta(t, 0.30, f.RMS, 0.02)
	require.InDelta(t, 0, f.MirrorRMS, 1e-9)
}

// The angle between two directions, near 0 and 180 too.
func TestAngleBetween(t *testing.T) {
	for _, want := range []float64{0, 1e-6, 0.3, 90, 179.9999, 180} {
		a := want * math.Pi / 180
		require.InDelta(t, want, angleBetween(r3.Vec{Z: -1}, r3.Vec{X: math.Sin(a), Z: -math.Cos(a)}), 1e-9)
	}
}
