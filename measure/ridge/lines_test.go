package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// polygon is an outline of n points on a circle of radius r about middle, and of another disc's points where there is one: a chord of it is a chord of
// the circle to r·(1 − cos(π/n)).
func polygon(middle reformat.UV, r float64, n int) *Outline {
	o := &Outline{}
	for i := range n {
		s, c := math.Sincos(2*math.Pi*float64(i)/float64(n) + 0.1)
		o.Points = append(o.Points, add(middle, reformat.UV{U: r * c, V: r * s}))
	}
	o.Cut = make([]bool, n)
	o.pace = 1 / o.longest()
	return o
}

// A line at distance d from a circle's middle crosses it √(r² − d²) to both sides of the foot. What contains the point counts, else the nearest
// stretch within 3 mm.
func TestLinesAcrossACircle(t *testing.T) {
	middle := reformat.UV{U: 2, V: -5}
	const r, n = 4.0, 720
	o := polygon(middle, r, n)
	require.InDelta(t, 2*r*math.Sin(math.Pi/n), o.longest(), 1e-12)
	for _, angle := range []float64{0, 0.7, 2, 4} {
		dir := turnBy(reformat.UV{U: 1}, angle)
		for _, d := range []float64{0, 1, 3.5} {
			for _, along := range []float64{-6.9, -2, 0, 3, 6.9} {
				p := add(middle, add(scale(d, left(dir)), scale(along, dir)))
				half := math.Sqrt(r*r - d*d)
				h := o.hits(p, dir)
				require.Len(t, h, 2)
				require.InDelta(t, -along-half, h[0].s, 1e-3)
				require.InDelta(t, -along+half, h[1].s, 1e-3)
				for k, hit := range h {
					inward := unit(sub(middle, add(p, scale(hit.s, dir))))
					require.InDelta(t, 1, dot(inward, hit.in), 1e-6, "end %d", k)
					require.False(t, hit.cut)
				}
				away := math.Max(0, math.Abs(along)-half)
				a, b, ok := o.span(p, dir)
				require.Equal(t, away < 3, ok)
				low, high := o.Near(p, dir)
				if ok {
					require.InDelta(t, h[0].s, a.s, 1e-12)
					require.InDelta(t, h[1].s, b.s, 1e-12)
					require.InDelta(t, h[0].s, low, 1e-12)
					require.InDelta(t, h[1].s, high, 1e-12)
				} else {
					require.True(t, math.IsNaN(low) && math.IsNaN(high))
				}
				require.Equal(t, math.Hypot(d, along) < r, o.Inside(p))
			}
		}
		require.Empty(t, o.hits(add(middle, scale(r+0.01, left(dir))), dir))
	}
	surface := add(middle, reformat.UV{U: r})
	require.InDelta(t, 2*r, o.depthFrom(surface, reformat.UV{U: -1}), 2e-3)
	require.InDelta(t, 2*r*math.Cos(0.5), o.depthFrom(surface, turnBy(reformat.UV{U: -1}, 0.5)), 2e-3, "a chord through a point of the circle")
	require.True(t, math.IsInf(o.depthFrom(surface, reformat.UV{U: 1}), 1))
	for i := range o.Points {
		require.InDelta(t, 1, dot(o.outward(i), unit(sub(o.Points[i], middle))), 1e-9)
	}
	at, out, away := o.foot(add(middle, reformat.UV{U: 3, V: 4}))
	require.InDelta(t, 0, norm(sub(at, add(middle, reformat.UV{U: 2.4, V: 3.2}))), 0.02)
	require.InDelta(t, 1, dot(out, reformat.UV{U: 0.6, V: 0.8}), 1e-4)
	require.InDelta(t, 1, away, 1e-4)
	_, _, away = o.foot(add(middle, reformat.UV{U: -2.4}))
	require.InDelta(t, 1.6, away, 1e-4)
}

// Of two stretches of bone on a line the one that holds the point counts, else the nearer one; an outline that is entered twice keeps both.
func TestNearerOfTwoStretches(t *testing.T) {
	// Two squares joined by a bridge below the line: bone from −6 to −4 and from 1 to 3.
	o := &Outline{Points: []reformat.UV{{U: -6, V: -2}, {U: 3, V: -2}, {U: 3, V: 1}, {U: 1, V: 1}, {U: 1, V: -1}, {U: -4, V: -1}, {U: -4, V: 1}, {U: -6, V: 1}}}
	o.Cut = make([]bool, 8)
	o.Cut[2] = true
	for u, want := range map[float64][2]float64{-5: {-6, -4}, -4.5: {-6, -4}, -3: {-6, -4}, -1.6: {-6, -4}, -1.4: {1, 3}, 2: {1, 3}, 5.9: {1, 3}, -8.9: {-6, -4}} {
		a, b, ok := o.span(reformat.UV{U: u}, reformat.UV{U: 1})
		require.True(t, ok, "%g", u)
		require.InDelta(t, want[0], u+a.s, 1e-12, "%g", u)
		require.InDelta(t, want[1], u+b.s, 1e-12, "%g", u)
		require.Equal(t, want[1] == 3, b.cut)
		low, high := o.Near(reformat.UV{U: u}, reformat.UV{U: 1})
		require.InDelta(t, want[0], u+low, 1e-12)
		require.InDelta(t, want[1], u+high, 1e-12)
		require.Equal(t, u > want[0] && u < want[1], o.Inside(reformat.UV{U: u}))
	}
	for _, u := range []float64{-9.1, 6.1} {
		_, _, ok := o.span(reformat.UV{U: u}, reformat.UV{U: 1})
		require.False(t, ok)
	}
	require.True(t, o.cutNear(reformat.UV{U: 3.2, V: 1.4}))
	require.False(t, o.cutNear(reformat.UV{U: 1.2, V: 1.4}))
}

// The side is at right angles to the axis and buccal; the tilt is positive where the base lies buccal; a point of the axis lies its depth from the crest.
func TestAxisByItsAngle(t *testing.T) {
	for _, degrees := range []float64{-170, -80, -20, 0, 20, 80, 170} {
		s, c := math.Sincos(degrees * math.Pi / 180)
		a := Axis{Crest: reformat.UV{U: 3, V: 2}, Dir: reformat.UV{U: s, V: -c}}
		require.InDelta(t, degrees, a.Tilt(), 1e-12)
		require.InDelta(t, 0, dot(a.Side(), a.Dir), 1e-12)
		require.InDelta(t, 1, norm(a.Side()), 1e-12)
		require.GreaterOrEqual(t, a.Side().U, 0.0)
		require.InDelta(t, 5, dot(sub(a.At(5), a.Crest), a.Dir), 1e-12)
		require.InDelta(t, 5, norm(sub(a.At(5), a.Crest)), 1e-12)
		require.InDelta(t, 5, depthOf(a, add(a.At(5), scale(7, a.Side()))), 1e-12)
		// A given crest stays where the axis turns: a point 5 mm down moves by 5 mm a radian, toward u × v.
		require.InDelta(t, 5, a.PerTurn(func(t Axis) float64 { return dot(t.At(5), left(a.Dir)) }), 1e-3)
		require.Zero(t, a.PerTurn(func(Axis) float64 { return math.NaN() }))
		require.InDelta(t, a.Tilt(), a.TiltAngle(Placement{}).Value, 1e-12)
	}
	b := Axis{Dir: down, DirSD: 0.02, DirAlong: 0.03, DirTurn: 0.5}.TiltAngle(Placement{Position: 0.3, Rotation: 0.04, Tilt: 0.01}).Budget
	const deg = 180 / math.Pi
	require.InDelta(t, 0.02*deg, b[0].Contribution(), 1e-12)
	require.InDelta(t, math.Hypot(0.01, 0.04*0.5)*deg, b[1].Contribution(), 1e-12)
	require.InDelta(t, 0.3*0.03*deg, b[2].Contribution(), 1e-12)
}

// The line through points is that of least squares across the axis: its slope by the textbook's sums.
func TestLineThroughMiddles(t *testing.T) {
	dir := turnBy(down, 0.2)
	side := left(dir)
	var points []reformat.UV
	// y = 0.1·x + (0.3, −0.3, −0.3, 0.3) at x = 1, 2, 3, 4: the offsets change neither slope nor mean.
	for i, off := range []float64{0.3, -0.3, -0.3, 0.3} {
		x := float64(i + 1)
		points = append(points, add(scale(x, dir), scale(0.1*x+off, side)))
	}
	got, mean := lineThrough(points, dir, false)
	require.InDelta(t, math.Atan(0.1), math.Asin(cross(dir, got)), 1e-12)
	require.InDelta(t, 1, norm(got), 1e-12)
	require.InDelta(t, 0, norm(sub(mean, add(scale(2.5, dir), scale(0.25, side)))), 1e-12)
	for _, p := range [][]reformat.UV{points, points[:1]} {
		kept, _ := lineThrough(p, dir, len(p) > 1)
		require.Equal(t, dir, kept)
	}
	two, _ := lineThrough(points[:2], dir, false)
	require.InDelta(t, math.Atan(-0.5), math.Asin(cross(dir, two)), 1e-12)
	moves := []move{{1, -2}, {2, -1}, {3, 0}, {4, 1}} // grow by 1 mm a mm of depth
	along, turn := turnOfLine(points, moves, dir, mean)
	require.InDelta(t, 1, along, 1e-12)
	require.InDelta(t, 1, turn, 1e-12)
	along, turn = turnOfLine(points[:1], moves, dir, points[0])
	require.Zero(t, along)
	require.Zero(t, turn)
	// The slope's standard uncertainty, √(Σx²s²)/Σx², with x = −1.5, −0.5, 0.5, 1.5 and s² = 0.2² + 0.5·0.1² + 3·0.3².
	m := middles{at: points}
	for range points {
		m.noise, m.rule, m.shift = append(m.noise, 0.2), append(m.rule, 0.1), append(m.shift, 0.3)
	}
	require.InDelta(t, math.Sqrt(0.2*0.2+0.5*0.1*0.1+3*0.3*0.3)/math.Sqrt(5), m.spread(Axis{Dir: dir, pivot: mean}), 1e-12)
}

// A hollow's wall touches the line that lies outward of it: on a bowed chain, the ends; on a bulging one, every point.
func TestHullOfAWall(t *testing.T) {
	side, dir := reformat.UV{U: 1}, down
	chain := func(u ...float64) (all []reformat.UV) {
		for i, x := range u {
			all = append(all, reformat.UV{U: x, V: -float64(i)})
		}
		return all
	}
	require.Equal(t, []int{0, 4}, hullOf(chain(5, 4, 3, 4, 5), side, dir))
	require.Equal(t, []int{0, 1, 2, 3, 4}, hullOf(chain(3, 4, 4.5, 4, 3), side, dir))
	require.Equal(t, []int{0, 2, 4}, hullOf(chain(3, 3.2, 5, 3.2, 3), side, dir))
	require.Equal(t, []int{0, 4}, hullOf(chain(1, 2, 3, 4, 5), side, dir), "on the line itself no point is one")
	require.Equal(t, []int{0, 4}, hullOf(chain(-5, -4, -3, -4, -5), scale(-1, side), dir), "the other side")
	for _, s := range []reformat.UV{side, scale(-1, side)} {
		n := outwardOf(reformat.UV{U: 1, V: 2}, reformat.UV{U: 4, V: -2}, s)
		require.InDelta(t, 1, norm(n), 1e-12)
		require.InDelta(t, 0, dot(n, reformat.UV{U: 3, V: -4}), 1e-12)
		require.Greater(t, dot(n, s), 0.0)
	}
}
