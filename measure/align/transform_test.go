package align

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

func near(t *testing.T, want, got r3.Vec, tol float64) {
	t.Helper()
	require.InDelta(t, 0, r3.Norm(r3.Sub(want, got)), tol, "want %v, got %v", want, got)
}

func anyVec(r *rand.Rand, size float64) r3.Vec {
	return r3.Vec{X: size * r.NormFloat64(), Y: size * r.NormFloat64(), Z: size * r.NormFloat64()}
}

// A quarter turn about z takes x to y: by hand.
func TestQuarterTurn(t *testing.T) {
	q := Rigid("a", "b", r3.Vec{Z: math.Pi / 2}, r3.Vec{X: 1, Y: 2, Z: 3})
	near(t, r3.Vec{X: 1, Y: 12, Z: 3}, q.Apply(r3.Vec{X: 10}), 1e-12)
	near(t, r3.Vec{Y: 10}, q.Turn(r3.Vec{X: 10}), 1e-12)
	require.InDelta(t, 90, q.Angle(), 1e-12)
	require.InDelta(t, 0, Identity("a").Angle(), 1e-12)
	require.InDelta(t, 180, Rigid("", "", r3.Vec{X: math.Pi}, r3.Vec{}).Angle(), 1e-9)
	require.NoError(t, q.Check())
}

// There and back is where one was; two after one another are one; both with any turn.
func TestInverseAndThen(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 100 {
		a, b := Rigid("a", "b", anyVec(r, 1), anyVec(r, 10)), Rigid("b", "c", anyVec(r, 1), anyVec(r, 10))
		p := anyVec(r, 30)
		near(t, p, a.Inverse().Apply(a.Apply(p)), 1e-11)
		both, err := a.Then(b)
		require.NoError(t, err)
		near(t, b.Apply(a.Apply(p)), both.Apply(p), 1e-11)
		require.Equal(t, [2]string{"a", "c"}, [2]string{both.From, both.To})
		require.Nil(t, both.Spread, "what is not known stays so")
		_, err = b.Then(a)
		require.ErrorIs(t, err, ErrTransform)
	}
}

// drawn draws a left-over motion with the covariance of s, whose terms are independent.
func drawn(r *rand.Rand, s Spread) func(r3.Vec) r3.Vec {
	var v [params]float64
	for i := range params {
		v[i] = math.Sqrt(s.Cov[i][i]) * r.NormFloat64()
	}
	return func(p r3.Vec) r3.Vec {
		d := r3.Sub(p, s.Centre)
		e := r3.Add(r3.Cross(r3.Vec{X: v[0], Y: v[1], Z: v[2]}, d), r3.Vec{X: v[3], Y: v[4], Z: v[5]})
		return r3.Add(p, r3.Add(e, r3.Scale(v[6], d)))
	}
}

// The uncertainty at a place, of a transform, of its inverse and of two after one another, against the scatter of
// 40,000 draws: 1 / sqrt(2·40000) = 0.35 % for one, so 1.8 % is five times that.
func TestSpreadAgainstDraws(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	a, b := Rigid("a", "b", r3.Vec{X: 0.3, Y: -0.8, Z: 1}, r3.Vec{X: 4, Y: 5, Z: -6}), Rigid("b", "c", r3.Vec{X: 1, Z: -0.4}, r3.Vec{Y: 20})
	a.Spread, b.Spread = &Spread{Centre: r3.Vec{X: 3, Y: 8}}, &Spread{Centre: r3.Vec{Z: -12}}
	for i, std := range []float64{0.001, 0.002, 0.0005, 0.02, 0.03, 0.01, 0.002} {
		a.Spread.Cov[i][i], b.Spread.Cov[i][i] = std*std, std*std/2
	}
	both, err := a.Then(b)
	require.NoError(t, err)
	x, dir := r3.Vec{X: 20, Y: -14, Z: 7}, r3.Unit(r3.Vec{X: 1, Y: 2, Z: -1})
	p := a.Apply(x)
	const n = 40000
	var one, two, back, turned float64
	for range n {
		left, next := drawn(r, *a.Spread), drawn(r, *b.Spread)
		e := r3.Dot(dir, r3.Sub(left(p), p))
		one += e * e / n
		e = r3.Dot(dir, r3.Sub(next(b.Apply(left(p))), b.Apply(p)))
		two += e * e / n
		e = r3.Dot(dir, r3.Sub(a.Inverse().Apply(left(p)), x))
		back += e * e / n
		e = (left(r3.Add(a.Spread.Centre, r3.Vec{X: 1})).Y - left(a.Spread.Centre).Y) * 180 / math.Pi
		turned += e * e / n
	}
	require.InEpsilon(t, math.Sqrt(one), a.Std(p, dir), 0.018)
	require.InEpsilon(t, math.Sqrt(two), both.Std(b.Apply(p), dir), 0.018)
	require.InEpsilon(t, math.Sqrt(back), a.Inverse().Std(x, dir), 0.018)
	term, known := a.AngleTerm(r3.Vec{Z: 1})
	require.True(t, known)
	require.InEpsilon(t, math.Sqrt(turned), term.Std, 0.018)
	term, known = a.Term(p, dir)
	require.True(t, known)
	require.Equal(t, a.Std(p, dir), term.Std)
	s := a.Std(p, r3.Vec{X: 1})*a.Std(p, r3.Vec{X: 1}) + a.Std(p, r3.Vec{Y: 1})*a.Std(p, r3.Vec{Y: 1}) + a.Std(p, r3.Vec{Z: 1})*a.Std(p, r3.Vec{Z: 1})
	require.InDelta(t, math.Sqrt(s), a.Std3(p), 1e-12)
}

// What is not known is not zero.
func TestUnknownSpreadGivesNoTerm(t *testing.T) {
	q := Rigid("a", "b", r3.Vec{}, r3.Vec{})
	require.True(t, math.IsNaN(q.Std3(r3.Vec{})))
	_, known := q.Term(r3.Vec{}, r3.Vec{X: 1})
	require.False(t, known)
	_, known = q.AngleTerm(r3.Vec{X: 1})
	require.False(t, known)
	require.Nil(t, q.Inverse().Spread)
	require.Zero(t, Identity("a").Std3(r3.Vec{X: 9}))
}

// What was written is read the same; what is no rigid transform is refused.
func TestTransformJSON(t *testing.T) {
	q := Rigid("before", "after", r3.Vec{X: 0.3, Z: 1}, r3.Vec{X: 4})
	for _, s := range []*Spread{nil, {Centre: r3.Vec{Y: 2}, Cov: [params][params]float64{{1e-6}, {0, 2e-6}, {0, 0, 1e-6}, {0, 0, 0, 0.01}}}} {
		q.Spread = s
		data, err := json.Marshal(q)
		require.NoError(t, err)
		var back Transform
		require.NoError(t, json.Unmarshal(data, &back))
		require.Equal(t, q, back)
	}
	mirror, sheared, lost, cov := q, q, q, q
	mirror.Rotation = [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, -1}}
	sheared.Rotation[0][1] += 0.01
	lost.Translation.X = math.NaN()
	cov.Spread = &Spread{Cov: [params][params]float64{{1e-6, 1}, {1, 1e-6}}}
	for name, bad := range map[string]Transform{"zero": {}, "mirror": mirror, "sheared": sheared, "lost": lost, "cov": cov} {
		require.ErrorIs(t, bad.Check(), ErrTransform, name)
		if name != "lost" {
			data, err := json.Marshal(bad)
			require.NoError(t, err)
			require.ErrorIs(t, json.Unmarshal(data, &Transform{}), ErrTransform, name)
		}
	}
}
