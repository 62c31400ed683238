package repeat

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// drawTable makes a table of readings in hundredths, whole or with holes, once or more often each.
func drawTable(t *rapid.T) *Table {
	n, k := rapid.IntRange(3, 12).Draw(t, "subjects"), rapid.IntRange(1, 4).Draw(t, "raters")
	most := rapid.IntRange(1, 3).Draw(t, "replicates")
	holes := rapid.Bool().Draw(t, "holes")
	step := rapid.SampledFrom([]int{1, 100, 1000}).Draw(t, "step") // coarse steps make ties and zeros
	table := &Table{Value: "width_mm", Unit: "mm"}
	for i := range n {
		for j := range k {
			m := most
			if holes {
				m = rapid.IntRange(0, most).Draw(t, "m")
			}
			for l := range m {
				v := float64(rapid.IntRange(-2000/step, 2000/step).Draw(t, "v")*step) / 100
				table.Readings = append(table.Readings, Reading{fmt.Sprint(i), string(rune('A' + j)), fmt.Sprint(l), v, 0, ""})
			}
		}
	}
	return table
}

// analysed skips tables that are refused for a reason of their own.
func analysed(t *rapid.T, table *Table, o Options) *Result {
	r, err := Analyse(table, o)
	if err != nil {
		t.Skip(err)
	}
	return r
}

// mapped is the table with every value changed.
func mapped(table *Table, f func(float64) float64) *Table {
	out := *table
	out.Readings = slices.Clone(table.Readings)
	for i := range out.Readings {
		out.Readings[i].Value = f(out.Readings[i].Value)
	}
	return &out
}

func text(t *rapid.T, write func(io.Writer) error) string {
	var b bytes.Buffer
	require.NoError(t, write(&b))
	return b.String()
}

func TestOrderOfRowsLeavesNoTrace(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := drawTable(t)
		r := analysed(t, table, Options{})
		shuffled := &Table{Value: table.Value, Unit: table.Unit, Readings: rapid.Permutation(table.Readings).Draw(t, "order")}
		again := analysed(t, shuffled, Options{})
		require.Equal(t, text(t, r.WriteJSON), text(t, again.WriteJSON))
		require.Equal(t, text(t, r.WriteMethods), text(t, again.WriteMethods))
	})
}

func TestSwappingRatersNegatesTheDifference(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := drawTable(t)
		r := analysed(t, table, Options{})
		if r.Design.Sessions {
			t.Skip("one rater")
		}
		names := slices.Clone(r.Design.Raters)
		slices.Reverse(names)
		s := analysed(t, table, Options{Raters: names})
		for i, p := range r.Pairs {
			q := s.Pairs[slices.IndexFunc(s.Pairs, func(q Pair) bool { return q.First == p.Second && q.Second == p.First })]
			same(t, p.Bias.Value, -q.Bias.Value, "bias", 1e-9)
			same(t, p.Slope.Value, -q.Slope.Value, "slope", 1e-9)
			same(t, p.LowerLimit.Value, -q.UpperLimit.Value, "limits", 1e-9)
			same(t, p.LowerLimit.Exact.Low, -q.UpperLimit.Exact.High, "exact interval", 1e-9)
			same(t, p.LowerLimit.Approx.High, -q.UpperLimit.Approx.Low, "approximate interval", 1e-9)
			for _, e := range [][2]Number{{p.SD.Value, q.SD.Value}, {p.Dahlberg.Value, q.Dahlberg.Value}, {p.Concordance.Value, q.Concordance.Value}, {p.BiasTest.P, q.BiasTest.P}} {
				same(t, e[0], e[1], fmt.Sprint("pair ", i), 1e-9)
			}
		}
		for i, c := range r.Overall.ICC {
			same(t, c.Value, s.Overall.ICC[i].Value, c.Form, 1e-9*flat(r))
			same(t, c.Low, s.Overall.ICC[i].Low, c.Form+" low", 1e-7*flat(r))
		}
	})
}

// A power of two changes no digit of a float64: lengths scale exactly, pure numbers stay as they are.
func TestScalingByPowersOfTwoIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := drawTable(t)
		by := math.Ldexp(1, rapid.IntRange(-20, 20).Draw(t, "power"))
		r, s := analysed(t, table, Options{}), analysed(t, mapped(table, func(v float64) float64 { return v * by }), Options{})
		a, b := r.rows(), s.rows()
		for i := range a {
			scale := 1.0
			switch a[i].Unit {
			case "mm":
				scale = by
			case "mm²":
				scale = by * by
			}
			for _, e := range [][2]Number{{a[i].Value, b[i].Value}, {a[i].Low, b[i].Low}, {a[i].High, b[i].High}} {
				if e[0].Known() != e[1].Known() || e[0].Known() && float64(e[0])*scale != float64(e[1]) {
					t.Fatalf("%s of %s: %v, scaled by %g it is %v", a[i].statistic, a[i].of, e[0], by, e[1])
				}
			}
		}
	})
}

// A shift moves the raters' means and nothing else that compares readings; but rounding: 1e-9 of 20 mm.
func TestShiftChangesNoAgreement(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		table := drawTable(t)
		by := float64(rapid.IntRange(-50, 50).Draw(t, "shift"))
		r, s := analysed(t, table, Options{}), analysed(t, mapped(table, func(v float64) float64 { return v + by }), Options{})
		a, b := r.rows(), s.rows()
		for i := range a {
			if a[i].statistic != "mean" {
				same(t, a[i].Value, b[i].Value, a[i].statistic, 1e-7*flat(r))
				same(t, a[i].Low, b[i].Low, a[i].statistic+" low", 1e-5*flat(r))
				same(t, a[i].High, b[i].High, a[i].statistic+" high", 1e-5*flat(r))
			}
		}
	})
}

// Every interval holds its figure, every SD is its variance's root, every p lies in 0 to 1.
func TestIntervalsHoldTheirFigure(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := analysed(t, drawTable(t), Options{})
		for _, x := range r.rows() {
			if x.Low.Known() && x.High.Known() && !(x.Low <= x.Value && x.Value <= x.High) {
				t.Fatalf("%s of %s: %v outside %v to %v", x.statistic, x.of, x.Value, x.Low, x.High)
			}
			if x.p.Known() && !(x.p >= 0 && x.p <= 1) {
				t.Fatalf("%s: p = %v", x.statistic, x.p)
			}
			if !x.Value.Known() && x.Reason == "" {
				t.Fatalf("%s of %s: no figure and no reason", x.statistic, x.of)
			}
		}
	})
}

// flat is how much wider the tolerances are where a figure is the place of a flat maximum: the likelihood's
// last digit is the square of its place's.
func flat(r *Result) float64 {
	if r.Design.Model == TwoWayUnequal {
		return 1e3
	}
	return 1
}

// same holds two numbers, or the absence of both, together; relative above 1, absolute below.
func same(t *rapid.T, a, b Number, what string, tolerance float64) {
	if a.Known() != b.Known() {
		t.Fatalf("%s: %v and %v", what, a, b)
	}
	if a.Known() && math.Abs(float64(a-b)) > tolerance*math.Max(1, math.Abs(float64(a))) {
		t.Fatalf("%s: %v and %v", what, a, b)
	}
}
