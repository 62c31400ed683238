package align

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"
)

var archNames = map[int][]string{
	3: {"46", "31", "36"}, 4: {"46", "43", "33", "36"}, 5: {"46", "43", "31", "33", "36"}, 6: {"46", "44", "42", "32", "34", "36"},
}

// archSet is implants on the parabola, their axes some degrees apart, tooth by tooth from the patient's right: x is left
// and the midline in front, so that −y is in front.
func archSet(n int) Set {
	s := Set{Frame: "planned", Planned: true}
	for i, p := range parabola(n) {
		p.Z = 0.2 * float64(i%3)
		axis := r3.Unit(r3.Vec{X: 0.05 * float64(i-1), Y: 0.03 * float64(i%2), Z: -1})
		s.Positions = append(s.Positions, Position{Name: archNames[n][i], At: p, Axis: axis, U: math.NaN(), UAxis: math.NaN()})
	}
	return s
}

// recorded is the set seen in another frame, each platform and axis moved by change; u and uAxis are said of it.
func recorded(s Set, u, uAxis float64, change func(i int, p *Position)) Set {
	move := Rigid("", "", r3.Vec{X: 0.4, Y: -1.1, Z: 0.7}, r3.Vec{X: 12, Y: 30, Z: -8})
	out := Set{Frame: "recorded", Source: "desktop scan"}
	for i, p := range s.Positions {
		if change != nil {
			change(i, &p)
		}
		p.At, p.Axis, p.U, p.UAxis = move.Apply(p.At), move.Turn(r3.Unit(p.Axis)), u, uAxis
		out.Positions = append(out.Positions, p)
	}
	return out
}

// find returns the row of a measure, an implant and a fit.
func find(t *testing.T, c *Comparison, implant string, m Measure, fit string) PositionRow {
	t.Helper()
	for _, r := range c.Rows() {
		if r.Implant == implant && r.Measure == m && r.Fit == fit {
			return r
		}
	}
	require.Fail(t, "no row", "%s %s %s", implant, m, fit)
	return PositionRow{}
}

// The same implants in another frame: nothing is left by any fit, no pair differs, and no angle.
func TestTheSamePositionsElsewhereLeaveNothing(t *testing.T) {
	first := archSet(5)
	c, err := Compare(first, recorded(first, 0.02, 0.2, nil), CompareOptions{})
	require.NoError(t, err)
	for _, r := range c.Rows() {
		switch r.Measure {
		case PairFirst, PairSecond:
			continue
		case MirrorRMS:
			require.Greater(t, *r.Value, 3.0)
		case ScaleFound:
			require.InDelta(t, 1, *r.Value, 1e-12)
		default:
			require.InDelta(t, 0, *r.Value, 1e-6, "%+v", r)
		}
	}
	require.Empty(t, c.Cautions)
}

// One-end fit, by hand: implant 36 stands 0.3 mm deeper along its own axis and 0.4 mm off across it, mesially, and leans by
// 2° with its apex mesial. Laid on the other end, whose neighbours did not move, the gap is just that; the literature's
// definitions (shared note, 3d) in its terms.
func TestGapsAtOneEndByHand(t *testing.T) {
	first := archSet(4)
	dirs := directionsOf(first.Positions)
	second := recorded(first, 0.01, 0.1, func(i int, p *Position) {
		if p.Name == "36" {
			m, a := dirs[i].Mesial, p.Axis
			p.At = r3.Add(p.At, r3.Add(r3.Scale(0.3, a), r3.Scale(0.4, m)))
			p.Axis = r3.Add(r3.Scale(math.Cos(2*math.Pi/180), a), r3.Scale(math.Sin(2*math.Pi/180), m))
		}
	})
	c, err := Compare(first, second, CompareOptions{})
	require.NoError(t, err)
	for m, want := range map[Measure]float64{GapDistance: 0.5, GapHeight: 0.3, GapLateral: 0.4, GapMesial: 0.4, GapBuccal: 0, GapAngle: 2, GapTiltM: 2, GapTiltB: 0} {
		require.InDelta(t, want, *find(t, c, "36", m, FitOneEnd).Value, 1e-9, m)
		require.InDelta(t, 0, *find(t, c, "43", m, FitOneEnd).Value, 1e-9, m)
	}
	require.Equal(t, "the end implant: brought together, 0 by definition", find(t, c, "46", GapDistance, FitOneEnd).Note)
	require.InDelta(t, 0.5/math.Sqrt(3), *find(t, c, "arch", FitRMS, FitOneEnd).Value, 1e-9)
	// The same implant left out of the fit shows the same gap; the best fit spreads it over all.
	require.InDelta(t, 0.5, *find(t, c, "36", GapDistance, FitDrop+"36").Value, 1e-9)
	require.InDelta(t, 0, *find(t, c, "arch", FitRMS, FitDrop+"36").Value, 1e-9)
	require.Less(t, *find(t, c, "36", GapDistance, FitBest).Value, 0.4)
	require.Greater(t, *find(t, c, "43", GapDistance, FitBest).Value, 0.02)
	// Pairs rest on no fit: the first three keep their distances.
	require.InDelta(t, 0, *find(t, c, "46|33", PairChange, "").Value, 1e-9)
	require.Greater(t, math.Abs(*find(t, c, "33|36", PairChange, "").Value), 0.1)
}

// Mesial is toward the midline and buccal outward: at 36, on the patient's left, mesial points to the right and forward,
// buccal to the left; at 46 they are its mirror image.
func TestDirectionsAtTeeth(t *testing.T) {
	s := archSet(4)
	for i := range s.Positions {
		s.Positions[i].Axis = r3.Vec{Z: -1}
	}
	d := directionsOf(s.Positions)
	left, right := d[3], d[0]
	require.Less(t, left.Mesial.X, -0.1)
	require.Less(t, left.Mesial.Y, -0.5)
	require.Greater(t, left.Buccal.X, 0.5)
	require.InDelta(t, left.Mesial.X, -right.Mesial.X, 1e-9)
	require.InDelta(t, left.Buccal.X, -right.Buccal.X, 1e-9)
	for _, x := range d {
		require.InDelta(t, 0, r3.Dot(x.Mesial, x.Buccal), 1e-12)
		require.InDelta(t, 1, r3.Norm(x.Buccal), 1e-12)
	}
	s.Positions[1].Name = "second"
	require.Equal(t, make([]*Directions, 4), directionsOf(s.Positions), "a name that is no tooth has no midline")
}

// Left and right, and the order of the rows, are a matter of naming: in the mirrored mouth every number is the same but
// the sign of nothing.
func TestMirroredMouthHasTheSameNumbers(t *testing.T) {
	first := archSet(5)
	second := recorded(first, 0.02, 0.3, func(i int, p *Position) { p.At.X += 0.05 * float64(i*i); p.At.Z -= 0.03 * float64(i) })
	flip := func(s Set) Set {
		out := s
		out.Positions = nil
		for _, p := range s.Positions {
			p.At.X, p.Axis.X = -p.At.X, -p.Axis.X
			p.Name = map[byte]string{'3': "4", '4': "3"}[p.Name[0]] + p.Name[1:]
			out.Positions = append([]Position{p}, out.Positions...)
		}
		return out
	}
	// 31 becomes 41: the order along the arch stays.
	a, err := Compare(first, second, CompareOptions{End: "36"})
	require.NoError(t, err)
	b, err := Compare(flip(first), flip(second), CompareOptions{End: "46"})
	require.NoError(t, err)
	for _, r := range a.Rows() {
		if strings.Contains(r.Implant, "|") || r.Implant == "arch" {
			continue
		}
		other := map[byte]string{'3': "4", '4': "3"}[r.Implant[0]] + r.Implant[1:]
		fit := r.Fit
		if strings.HasPrefix(fit, FitDrop) {
			fit = FitDrop + other
		}
		s := find(t, b, other, r.Measure, fit)
		require.InDelta(t, *r.Value, *s.Value, 1e-9, "%s %s %s", r.Implant, r.Measure, r.Fit)
		require.InDelta(t, r.Budget.U(), s.Budget.U(), 1e-9)
	}
}

// U holds: of gaps that differ from those without error by the recording's and the plan's doubt alone, 95 in 100 lie
// within U, for every measure and for best, one-end and dropped fits; 250 draws of four implants, 1.4 % of sampling error.
func TestUncertaintyOfGapsCovers(t *testing.T) {
	first := archSet(4)
	first.Planned = false
	shift := func(i int, p *Position) {
		p.At.X += 0.2 * float64(i%2)
		p.At.Z += 0.15 * float64(i/2)
		p.Axis.X += 0.02 * float64(i)
	}
	const u, uAxis = 0.03, 0.25
	for i := range first.Positions {
		first.Positions[i].U, first.Positions[i].UAxis = u, uAxis
	}
	truth, err := Compare(first, recorded(first, u, uAxis, shift), CompareOptions{})
	require.NoError(t, err)
	want := truth.Rows()
	r := rand.New(rand.NewPCG(5, 6))
	noise := func(p *Position) {
		p.At = shaken(r, []r3.Vec{p.At}, u)[0]
		p.Axis = r3.Unit(shaken(r, []r3.Vec{p.Axis}, uAxis*math.Pi/180)[0])
	}
	within, all := map[string]int{}, map[string]int{}
	for range 250 {
		a := archSet(4)
		a.Planned = false
		for i := range a.Positions {
			noise(&a.Positions[i])
			a.Positions[i].U, a.Positions[i].UAxis = u, uAxis
		}
		b := recorded(first, u, uAxis, func(i int, p *Position) { shift(i, p); p.Axis = r3.Unit(p.Axis); noise(p) })
		c, err := Compare(a, b, CompareOptions{})
		require.NoError(t, err)
		for i, row := range c.Rows() {
			if row.Budget == nil || row.Measure == ScaleFound || strings.HasPrefix(want[i].Note, "the end implant") && row.Budget.U() < 1e-9 {
				continue
			}
			key := fmt.Sprintf("%s %.4s", row.Measure, row.Fit)
			all[key]++
			if math.Abs(*row.Value-*want[i].Value) <= row.Budget.U() {
				within[key]++
			}
		}
	}
	require.Len(t, all, 28)
	for key, n := range all {
		share := float64(within[key]) / float64(n)
		t.Logf("%-28s %.3f of %d", key, share, n)
		require.Greater(t, share, 0.925, key)
	}
}

// One implant off by 0.150 mm, the others 0.02 mm a coordinate: the best fit's own residual of it reads 0.083 mm of four and
// 0.105 of six; the largest residual names it in 84 and 94 of 100 draws, leaving each out in turn in 89 and 98 (shared
// note, Part 4; the shares of 1,000 draws are off by one or two of a hundred, and its direction and place are not told there).
func TestOneBadImplantIsSpreadOverAll(t *testing.T) {
	for _, c := range []struct {
		n                      int
		residual, most, byDrop float64
	}{{4, 0.083, 0.84, 0.89}, {6, 0.105, 0.94, 0.98}} {
		r := rand.New(rand.NewPCG(7, uint64(c.n)))
		from := parabola(c.n)
		var sum, most, byDrop float64
		const draws = 1000
		for range draws {
			bad := r.IntN(c.n)
			to := shaken(r, from, 0.02)
			off := r3.Unit(shaken(r, []r3.Vec{{}}, 1)[0])
			to[bad] = r3.Add(to[bad], r3.Scale(0.15, off))
			f, err := FitPoints(from, to)
			require.NoError(t, err)
			sum += r3.Norm(f.Residuals[bad]) / draws
			worst, least, named := 0, math.Inf(1), 0
			for i := range from {
				if r3.Norm(f.Residuals[i]) > r3.Norm(f.Residuals[worst]) {
					worst = i
				}
				g, err := FitPoints(drop(from, i), drop(to, i))
				require.NoError(t, err)
				if g.RMS < least {
					least, named = g.RMS, i
				}
			}
			if worst == bad {
				most += 1.0 / draws
			}
			if named == bad {
				byDrop += 1.0 / draws
			}
		}
		t.Logf("%d implants: residual %.3f, largest %.2f, drop-one %.2f", c.n, sum, most, byDrop)
		require.InDelta(t, c.residual, sum, 0.02)
		require.InDelta(t, c.most, most, 0.06)
		require.InDelta(t, c.byDrop, byDrop, 0.04)
	}
}
