package repeat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// lme4::lmer, R 4.2.2, lme4 1.1-31 (testdata/repeat/mixed.R): readers who read again five of forty cases, a table
// with holes, and one with both. Both sides find the top of a flat curve: 2e-6 of the whole variance.
func TestUnequalComponentsMeetLme4(t *testing.T) {
	want := figures(t, committed(t, "mixed.out.csv"))
	for _, name := range []string{"unequal", "reread", "holes"} {
		r := agree(t, name+".csv", func(c *Columns, o *Options) { c.Replicate = "replicate" })
		if r.Design.Model != TwoWayUnequal {
			t.Fatalf("%s: model %s", name, r.Design.Model)
		}
		of := func(component string) float64 { return want[name+"."+component+".1.value"] }
		s, j, i, e := of("subject"), of("rater"), of("subject:rater"), of("Residual")
		whole := s + j + i + e
		list := []float64{s, j, i, e}
		if i == 0 {
			list = []float64{s, j, e}
		}
		for k, c := range r.Overall.Components {
			near(t, name+" "+c.Of, c.Variance, list[k], 2e-6*whole)
		}
		near(t, name+" ICC(2,1)", r.Overall.ICC[1].Value, s/whole, 4e-6)
		near(t, name+" ICC(3,1)", r.Overall.ICC[2].Value, s/(whole-j), 4e-6)
		near(t, name+" SEM", r.Overall.SEM.Value, math.Sqrt(j+i+e), 4e-6)
		for _, c := range r.Overall.ICC {
			if !(c.Low < c.Value && c.Value < c.High) {
				t.Errorf("%s: %s = %v with the interval %v", name, c.Form, c.Value, c.Interval)
			}
		}
	}
}

// In an equal table without a negative component REML is the analysis of variance, and the equal table that
// would tell as much is the table itself.
func TestEqualTableIsItsOwn(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	for _, m := range []int{1, 3} {
		g := planted(r, 20, 4, 1, func(int, int) int { return m })
		g.Raters, g.Replicates = []string{"A", "B", "C", "D"}, m
		g.Model = map[int]Model{1: TwoWay, 3: TwoWayReplicates}[m]
		equal, unequal := newOverall(g, usual), overallUnequal(g, usual)
		for i, c := range equal.Components {
			if c.Raw < 0 {
				t.Fatalf("component %s below zero: choose another seed", c.Of)
			}
			near(t, fmt.Sprint(m, " ", c.Of), unequal.Components[i].Variance, float64(c.Variance), 1e-5)
		}
		span(t, fmt.Sprint(m, " MDC"), unequal.MDC.Interval, float64(equal.MDC.Low), float64(equal.MDC.High), 1e-4)
		one := equal.ICC[1]
		if m > 1 {
			one = equal.ICC[6]
		}
		span(t, fmt.Sprint(m, " ICC(2,1)"), unequal.ICC[1].Interval, float64(one.Low), float64(one.High), 1e-4)
	}
}

// Each subject read by raters of its own: rater and error are one, and the table says so.
func TestRatersOfOneSubjectEachAreNotToldApart(t *testing.T) {
	table := &Table{Value: "x"}
	for i := range 12 {
		for j := range 2 + i%2 {
			table.Readings = append(table.Readings, Reading{Subject: fmt.Sprint(i), Rater: fmt.Sprint(i, "-", j), Value: float64(i*i%7) + float64(j)/3})
		}
	}
	r, err := Analyse(table, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.Design.Model != OneWayUnequal || len(r.Overall.ICC) != 1 {
		t.Errorf("model %s with %d ICCs", r.Design.Model, len(r.Overall.ICC))
	}
}

// Forty cases by two readers with five of them read again, and by four with a fifth of the readings missing.
func TestUnequalIntervalsCover(t *testing.T) {
	const trials = 600
	for _, c := range []struct {
		name   string
		k      int
		rater  float64
		counts func(r *rand.Rand) func(i, j int) int
	}{
		{"five read again", 2, 0.5, func(*rand.Rand) func(i, j int) int {
			return func(i, _ int) int { return 1 + max(0, min(1, 5-i)) }
		}},
		{"holes", 4, 0.5, func(r *rand.Rand) func(i, j int) int {
			return func(int, int) int { return int(0.8 + r.Float64()) }
		}},
	} {
		hits := [4]int{}
		r := rand.New(rand.NewPCG(5, 6))
		tried := 0
		for range trials {
			g := planted(r, 40, c.k, c.rater, c.counts(r))
			g.Raters = []string{"A", "B", "C", "D"}[:c.k]
			g.cell = slices.DeleteFunc(g.cell, func(row [][]float64) bool { return len(slices.Concat(row...)) == 0 })
			o := overallUnequal(g, usual)
			if g.Model == OneWayUnequal {
				continue
			}
			tried++
			noise := c.rater*c.rater + 0.49
			for i, in := range []bool{holds(o.ICC[1].Interval, 4/(4+noise)), holds(o.ICC[2].Interval, 4/4.49),
				holds(o.SEM.Interval, math.Sqrt(noise)), holds(o.SEMSame.Interval, 0.7)} {
				if in {
					hits[i]++
				}
			}
		}
		for i, what := range []string{"ICC(2,1)", "ICC(3,1)", "SEM", "SEM, these raters"} {
			tolerance := exactTolerance(tried)
			if i == 0 && c.k < 4 {
				continue // TestFewRatersAreSaid
			}
			check(t, c.name+", "+what, float64(hits[i])/float64(tried), tolerance)
		}
		if tried < trials*99/100 {
			t.Errorf("%s: %d of %d tables not told apart", c.name, trials-tried, trials)
		}
	}
}
