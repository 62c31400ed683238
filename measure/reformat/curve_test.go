package reformat

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

var up = r3.Vec{Z: 1}

func sampled(n int, f func(x float64) r3.Vec) []r3.Vec {
	points := make([]r3.Vec, n+1)
	for i := range points {
		points[i] = f(float64(i) / float64(n))
	}
	return points
}

// Centripetal Catmull–Rom through (0,0) (1,2) (5,3) (6,0), middle segment, at a quarter, half and
// three quarters. Values computed independently by Barry–Goldman in 20-digit arithmetic.
func TestCentripetalCatmullRom(t *testing.T) {
	c := &Curve{points: []r3.Vec{{}, {X: 1, Y: 2}, {X: 5, Y: 3}, {X: 6}}, knots: make([]float64, 4)}
	for i := 1; i < 4; i++ {
		c.knots[i] = c.knots[i-1] + math.Sqrt(r3.Norm(r3.Sub(c.points[i], c.points[i-1])))
	}
	for x, want := range map[float64]r3.Vec{
		0.25: {X: 1.85745382861, Y: 2.4995496543},
		0.5:  {X: 3.00026897832, Y: 2.91843388195},
		0.75: {X: 4.14294963887, Y: 3.12810116863},
	} {
		got, d := c.spline(0, x)
		require.InDelta(t, 0, r3.Norm(r3.Sub(got, want)), 1e-10, "x = %g: %v", x, got)
		const h = 1e-6
		after, _ := c.spline(0, x+h)
		before, _ := c.spline(0, x-h)
		require.InDelta(t, 0, r3.Norm(r3.Sub(d, r3.Scale(1/(2*h), r3.Sub(after, before)))), 1e-8, "derivative")
	}
}

// Arc lengths in closed form (computed independently): the parabola y = 0.04 x² over |x| ≤ 25 is
// 73.94714287722987 mm, half an ellipse with semi-axes 30 and 40 is 110.51746080354753 mm. With 40
// points the spline is within 0.01 mm of them.
func TestArcLengthOfParabolaAndEllipse(t *testing.T) {
	parabola := sampled(40, func(x float64) r3.Vec { x = 50*x - 25; return r3.Vec{X: x, Y: 0.04 * x * x} })
	ellipse := sampled(40, func(x float64) r3.Vec {
		sin, cos := math.Sincos(math.Pi * x)
		return r3.Vec{X: 30 * cos, Y: -40 * sin}
	})
	for _, c := range []struct {
		points []r3.Vec
		want   float64
	}{{parabola, 73.94714287722987}, {ellipse, 110.51746080354753}} {
		curve, err := NewCurve(c.points, up)
		require.NoError(t, err)
		require.InDelta(t, c.want, curve.Length(), 0.01)
	}
}

func arch(t testing.TB) *Curve {
	c, err := NewCurve(sampled(8, func(x float64) r3.Vec { x = 50*x - 25; return r3.Vec{X: x, Y: 0.05*x*x - 20, Z: 0.02 * x} }), up)
	require.NoError(t, err)
	return c
}

// The curve passes through its points; equal steps of s are equal steps along it.
func TestCurvePassesThroughItsPointsByArcLength(t *testing.T) {
	c := arch(t)
	for _, p := range c.points[1 : len(c.points)-1] {
		s, d := c.Project(p)
		require.InDelta(t, 0, d, 1e-6)
		require.InDelta(t, 0, r3.Norm(r3.Sub(c.At(s), p)), 1e-6)
	}
	const h = 1e-3
	for s := 1.0; s < c.Length()-1; s++ {
		speed := r3.Norm(r3.Sub(c.At(s+h), c.At(s-h))) / (2 * h)
		require.InDelta(t, 1, speed, 1e-6, "at %g mm", s)
	}
}

// A frame is orthonormal, U leaves the arch, V looks occlusally, in whichever direction the points
// were given and for either jaw's occlusal direction.
func TestFrameLooksOutOfTheArch(t *testing.T) {
	for _, occlusal := range []r3.Vec{up, {Z: -1}, {X: 0.1, Y: -0.2, Z: 1}} {
		for _, reverse := range []bool{false, true} {
			points := sampled(8, func(x float64) r3.Vec { x = 50*x - 25; return r3.Vec{X: x, Y: 0.05*x*x - 20} })
			if reverse {
				points = sampled(8, func(x float64) r3.Vec { x = 25 - 50*x; return r3.Vec{X: x, Y: 0.05*x*x - 20} })
			}
			c, err := NewCurve(points, occlusal)
			require.NoError(t, err)
			for s := 0.0; s <= c.Length(); s += 2 {
				f := c.Frame(s)
				require.InDelta(t, 0, math.Abs(r3.Dot(f.U, f.V))+math.Abs(r3.Dot(f.U, f.T))+math.Abs(r3.Dot(f.V, f.T)), 1e-12)
				require.InDelta(t, 3, r3.Norm(f.U)+r3.Norm(f.V)+r3.Norm(f.T), 1e-12)
				require.InDelta(t, 0, r3.Dot(f.U, r3.Unit(occlusal)), 1e-12)
				require.Greater(t, r3.Dot(f.V, occlusal), 0.0)
				inside := r3.Vec{X: 0, Y: 15}
				require.Less(t, r3.Dot(f.U, r3.Sub(inside, f.Origin)), 0.0, "at %g mm buccal %v", s, f.U)
				back, off := f.Section(f.Patient(UV{3, -4}))
				require.InDelta(t, 0, math.Abs(back.U-3)+math.Abs(back.V+4)+math.Abs(off), 1e-12)
			}
		}
	}
}

// A straight piece of ridge has no inside: buccal is away from the midline, or forward.
func TestStraightRidge(t *testing.T) {
	for _, c := range []struct {
		from, to, buccal r3.Vec
	}{
		{r3.Vec{X: -20, Y: -10}, r3.Vec{X: -20, Y: 20}, r3.Vec{X: -1}},
		{r3.Vec{X: -20, Y: 20}, r3.Vec{X: -20, Y: -10}, r3.Vec{X: -1}},
		{r3.Vec{X: 20, Y: 20}, r3.Vec{X: 20, Y: -10}, r3.Vec{X: 1}},
		{r3.Vec{X: 20, Y: -10}, r3.Vec{X: 20, Y: 20}, r3.Vec{X: 1}},
		{r3.Vec{X: -10, Y: -30}, r3.Vec{X: 10, Y: -30}, r3.Vec{Y: -1}},
		{r3.Vec{X: 10, Y: -30}, r3.Vec{X: -10, Y: -30}, r3.Vec{Y: -1}},
		{r3.Vec{X: -3, Y: -40}, r3.Vec{X: 1}, r3.Vec{X: -1}}, // its middle lies right of the midline
	} {
		curve, err := NewCurve(sampled(5, func(x float64) r3.Vec { return r3.Add(r3.Scale(1-x, c.from), r3.Scale(x, c.to)) }), up)
		require.NoError(t, err)
		require.True(t, curve.Straight())
		require.InDelta(t, 1, r3.Dot(curve.Frame(10).U, c.buccal), 0.005, "%v to %v", c.from, c.to)
	}
}

// A bow of sag f over 40 mm holds an area of ⅔·40·f: it is an arch from 1e-4 of the length's square on, a sag of
// 6 µm, which no hand draws by purpose.
func TestBowOfAFewMicrometresIsStraight(t *testing.T) {
	for sag, straight := range map[float64]bool{0.005: true, 0.007: false} {
		c, err := NewCurve(sampled(20, func(x float64) r3.Vec { return r3.Vec{X: 40*x - 20, Y: 4 * sag * x * (1 - x)} }), up)
		require.NoError(t, err)
		require.Equal(t, straight, c.Straight(), "sag %g mm", sag)
	}
}

// Four points are enough. On a straight row of them a point's projection is its foot, and past the ends the end.
func TestProjectionOnAStraightRow(t *testing.T) {
	c, err := NewCurve([]r3.Vec{{X: -20}, {X: -12}, {X: 3}, {X: 20}}, up)
	require.NoError(t, err)
	require.InDelta(t, 40, c.Length(), 1e-9)
	for x := -26.0; x <= 26; x += 0.37 {
		s, d := c.Project(r3.Vec{X: x, Y: 3, Z: -4})
		foot := math.Max(-20, math.Min(20, x))
		require.InDelta(t, foot+20, s, 1e-6, "at %g mm", x)
		require.InDelta(t, math.Sqrt(25+(x-foot)*(x-foot)), d, 1e-9, "at %g mm", x)
		require.InDelta(t, foot, c.At(x+20).X, 1e-9, "held within the curve")
		require.InDelta(t, foot+20, c.Frame(x+20).Arc, 1e-9)
	}
}

// Moving, turning and enlarging the points moves, turns and enlarges the curve: no axis is special.
func TestCurveFollowsItsPoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		angle := rapid.Float64Range(-3, 3).Draw(t, "angle")
		axis := r3.Vec{X: rapid.Float64Range(-1, 1).Draw(t, "x"), Y: rapid.Float64Range(-1, 1).Draw(t, "y"), Z: 1.1}
		turn := r3.NewRotation(angle, axis)
		shift := r3.Vec{X: 7, Y: -3, Z: 11}
		base := sampled(6, func(x float64) r3.Vec { x = 50*x - 25; return r3.Vec{X: x, Y: 0.04 * x * x} })
		moved := make([]r3.Vec, len(base))
		for i, p := range base {
			moved[i] = r3.Add(turn.Rotate(p), shift)
		}
		a, err := NewCurve(base, up)
		require.NoError(t, err)
		b, err := NewCurve(moved, turn.Rotate(up))
		require.NoError(t, err)
		s := rapid.Float64Range(0, a.Length()).Draw(t, "s")
		require.InDelta(t, 0, r3.Norm(r3.Sub(b.Frame(s).U, turn.Rotate(a.Frame(s).U))), 1e-9)
		require.InDelta(t, 0, r3.Norm(r3.Sub(b.At(s), r3.Add(turn.Rotate(a.At(s)), shift))), 1e-9)
	})
}

func TestCurveRefusesWhatIsNoArch(t *testing.T) {
	good := sampled(5, func(x float64) r3.Vec { return r3.Vec{X: 40 * x, Y: 30 * x * (1 - x)} })
	back := []r3.Vec{{}, {X: 10}, {X: 20, Y: 1}, {X: 8, Y: 1}, {X: 30, Y: 3}}
	for name, c := range map[string]struct {
		points   []r3.Vec
		occlusal r3.Vec
	}{
		"three points": {good[:3], up}, "no occlusal": {good, r3.Vec{}}, "a point twice": {append([]r3.Vec{good[0]}, good...), up},
		"folds back": {back, up}, "endless": {append([]r3.Vec{{X: math.Inf(1)}}, good...), up}, "endless occlusal": {good, r3.Vec{Z: math.Inf(1)}},
		"turns up in its last millimetre": {append(good[:5:5], r3.Vec{X: 32, Y: good[4].Y, Z: 0.8}), up},
		"turns up at its end":             {append(good[:5:5], r3.Vec{X: 32.1, Z: 12}), up}, "along occlusal": {good, r3.Vec{X: 1}}, "NaN": {append([]r3.Vec{{X: math.NaN()}}, good...), up},
	} {
		_, err := NewCurve(c.points, c.occlusal)
		require.ErrorIs(t, err, ErrCurve, name)
	}
}

// On a straight, evenly spaced row the tangent at a point is half the difference of its neighbours
// over the spacing L: moved by 1 mm each it turns by √2/(2L). Half-way between two points the spline's
// derivative is 1.375 of their difference less 0.125 of the outer two's: √(2·1.375² + 2·0.125²)/L.
// (Worked by hand from the Catmull–Rom matrix.)
func TestTangentWaversWithItsPoints(t *testing.T) {
	const spacing = 5.0
	c, err := NewCurve(sampled(8, func(x float64) r3.Vec { return r3.Vec{X: 40*x - 20, Y: 1e-3 * x * x} }), up)
	require.NoError(t, err)
	require.InEpsilon(t, math.Sqrt2/(2*spacing), c.TangentSpread(20), 0.01)
	require.InEpsilon(t, math.Sqrt(2*1.375*1.375+2*0.125*0.125)/spacing, c.TangentSpread(22.5), 0.01)
}
