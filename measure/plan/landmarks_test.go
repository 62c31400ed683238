package plan

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// circle is part of a horizontal circle of radius 30 mm from an angle to another, a point every 2.5 degrees: 0 is in front,
// −90 the patient's right. Its tangent, toward the left, is (cos a, sin a).
func circle(from, to float64) (all []r3.Vec) {
	for a := from; a <= to; a += 2.5 {
		s, c := math.Sincos(a * math.Pi / 180)
		all = append(all, r3.Vec{X: 30 * s, Y: -30 * c})
	}
	return all
}

// landmarksOf lays an arch of a jaw.
func landmarksOf(t testing.TB, jaw Jaw, points []r3.Vec) Landmarks {
	t.Helper()
	p := &Placed{Contents: Contents{Jaw: jaw, Arch: points}, Occlusal: usualOcclusal(jaw)}
	require.NoError(t, p.lay())
	return p.Landmarks
}

// An arc of so many degrees turns by as many, less half a piece at each end, where the curve runs along its first and last chords; its foremost point is its middle, and the patient's left lies in the direction
// in which x grows: in either jaw, whichever end is marked first.
func TestLandmarksOfACircle(t *testing.T) {
	for _, jaw := range []Jaw{Mandible, Maxilla} {
		for _, half := range []float64{10, 30, 45, 60, 90, 100} {
			for _, flip := range []bool{false, true} {
				points, leftward := circle(-half, half), 1.0
				if flip {
					slices.Reverse(points)
					leftward = -1
				}
				l := landmarksOf(t, jaw, points)
				assert.InDelta(t, (2*half-2.5)*math.Pi/180, l.turn, 1e-4, "%v", half)
				assert.Equal(t, leftward, l.Leftward)
				assert.InDelta(t, l.curve.Length()/2, foremost(l.curve, l.occlusal), archSamples/2+1e-6)
			}
		}
	}
	bend := append(circle(-60, 0), r3.Vec{X: 5, Y: -30}, r3.Vec{X: 10, Y: -30}, r3.Vec{X: 15, Y: -30})
	assert.InDelta(t, 58.75*math.Pi/180, landmarksOf(t, Mandible, bend).turn, 1e-4, "a straight part turns by nothing")
}

// A curve that turns by less than a right angle shows no midline. There the tangent's way tells the side: on a circle past 45
// degrees. A curve that hardly turns tells none: its inside hangs on the hand that drew it.
func TestSideWithoutAMidline(t *testing.T) {
	at := func(from, to, a float64, flip bool) Side {
		points := circle(from, to)
		if flip {
			slices.Reverse(points)
		}
		l := landmarksOf(t, Mandible, points)
		require.False(t, l.Known())
		s, c := math.Sincos(a * math.Pi / 180)
		arc, _ := l.curve.Project(r3.Vec{X: 30 * s, Y: -30 * c})
		return l.Side(arc)
	}
	for _, flip := range []bool{false, true} {
		for a, want := range map[float64]Side{25: "", 44: "", 46: Left, 75: Left} {
			assert.Equal(t, want, at(20, 80, a, flip), "%g", a)
			mirrored := Right
			if want == "" {
				mirrored = ""
			}
			assert.Equal(t, mirrored, at(-80, -20, -a, flip), "%g", -a)
		}
		assert.Empty(t, at(52.5, 77.5, 65, flip), "22.5° of turn, less than 0.4 radians")
		assert.Empty(t, at(-77.5, -52.5, -65, flip))
		assert.Equal(t, Left, at(52.5, 80, 65, flip), "25° of turn")
	}
}

// With a midline the side is told from as far off as the midline may be wrong.
func TestSideByTheMidline(t *testing.T) {
	for s, want := range map[float64]Side{40: Right, 45: Right, 45.1: "", 50: "", 54.9: "", 55: Left, 60: Left} {
		assert.Equal(t, want, Landmarks{midline: 50, doubt: 5, Leftward: 1}.Side(s), "%g", s)
		assert.Equal(t, want, Landmarks{midline: 50, doubt: 5, Leftward: -1}.Side(100-s), "%g, the other way", s)
	}
}

// A midline is believed 15 mm from both ends, and on a curve that is no whole arch only where neither side has less than 0.6 of the other.
func TestTwoSided(t *testing.T) {
	var line []r3.Vec
	for x := 0.0; x <= 100; x += 10 {
		line = append(line, r3.Vec{X: x})
	}
	curve, err := reformat.NewCurve(line, r3.Vec{Z: 1})
	require.NoError(t, err)
	require.InDelta(t, 100, curve.Length(), 1e-9)
	whole, part := Landmarks{curve: curve, turn: wholeTurn}, Landmarks{curve: curve, turn: wholeTurn - 0.01}
	for at, want := range map[float64][2]bool{14.9: {false, false}, 15: {true, false}, 37.4: {true, false}, 37.6: {true, true}, 50: {true, true}, 62.4: {true, true}, 62.6: {true, false}, 85.1: {false, false}} {
		assert.Equal(t, want, [2]bool{whole.twoSided(at), part.twoSided(at)}, "%g", at)
	}
}

// How far a point lies beside a circle is the difference of radii, whatever its height. What is past an end is not beside it, nor is what
// lies inside of a curve that is no whole arch: there the jaw's other side is.
func TestBesideACircle(t *testing.T) {
	at := func(r, a, z float64) r3.Vec {
		s, c := math.Sincos(a * math.Pi / 180)
		return r3.Vec{X: r * s, Y: -r * c, Z: z}
	}
	whole, part := landmarksOf(t, Mandible, circle(-80, 80)), landmarksOf(t, Mandible, circle(10, 70))
	for _, l := range []Landmarks{whole, part} {
		for r, want := range map[float64]float64{30: 0, 34: 4, 37.5: 7.5} {
			_, off, past := l.beside(at(r, 42, -12))
			assert.InDelta(t, want, off, 1e-3)
			assert.False(t, past)
		}
		_, off, past := l.beside(at(26, 42, 9))
		assert.InDelta(t, 4, off, 1e-3)
		assert.Equal(t, l.turn < wholeTurn, past)
		arc, _, past := l.beside(at(30, 110, 0))
		assert.True(t, past)
		assert.InDelta(t, l.curve.Length(), arc, 1e-6)
	}
}

// Two landmarks say the same where each of their parts does, known or not.
func TestSameLandmarks(t *testing.T) {
	nan := math.NaN()
	l := Landmarks{occlusal: r3.Vec{Z: 1}, Leftward: 1, turn: 2, midline: 50, doubt: 5}
	blind := Landmarks{occlusal: r3.Vec{Z: 1}, Leftward: 1, turn: 2, midline: nan, doubt: nan}
	assert.True(t, l.Same(l))
	assert.True(t, blind.Same(blind))
	for i, change := range []func(*Landmarks){
		func(m *Landmarks) { m.occlusal.X = 0.1 }, func(m *Landmarks) { m.Leftward = -1 }, func(m *Landmarks) { m.turn = 1 },
		func(m *Landmarks) { m.midline = 51 }, func(m *Landmarks) { m.doubt = 1 }, func(m *Landmarks) { m.midline = nan }, func(m *Landmarks) { m.doubt = nan },
	} {
		m := l
		change(&m)
		assert.False(t, l.Same(m), i)
		assert.False(t, m.Same(l), i)
	}
}

// The nearest usual place of the table of places: by its own means, and half-way between two of them.
func TestNearestTooth(t *testing.T) {
	for mm, want := range map[float64]int{0: 1, 2.6: 1, 5.3: 1, 5.4: 2, 20.8: 4, 24.1: 4, 24.2: 5, 41.8: 6, 41.9: 7, 90: 8} {
		assert.Equal(t, want, NearestTooth(Mandible, mm), "%g", mm)
	}
	assert.Equal(t, 6, NearestTooth(Maxilla, 43.7))
	assert.Equal(t, 7, NearestTooth(Maxilla, 43.9))
}
