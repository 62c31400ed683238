package repeat

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Readings whose truth is planted: an interval at 95 % must hold it 95 times in 100. The tolerance of
// an exact interval is four standard errors of a binomial; that of an approximate one stands beside it.

var usual = settings{confidence: 0.95, factor: 1.96, unit: "mm"}

// covered is the part of trials in which hit is true.
func covered(trials int, hit func(r *rand.Rand) bool) float64 {
	r := rand.New(rand.NewPCG(1, 2))
	n := 0
	for range trials {
		if hit(r) {
			n++
		}
	}
	return float64(n) / float64(trials)
}

func holds(i Interval, truth float64) bool {
	return float64(i.Low) <= truth && truth <= float64(i.High)
}

func check(t *testing.T, what string, got, tolerance float64) {
	t.Helper()
	t.Logf("%s: %.4f", what, got)
	if math.Abs(got-0.95) > tolerance {
		t.Errorf("%s: truth held in %.4f of trials, want 0.95 ± %.4f", what, got, tolerance)
	}
}

func exactTolerance(trials int) float64 { return 4 * math.Sqrt(0.95*0.05/float64(trials)) }

// Differences N(0.3, 1): the limits lie at 0.3 ± 1.96. The approximate interval is symmetric about a
// limit whose own distribution is not, and falls short on few subjects; only the exact one is held to it.
func TestExactIntervalsOfLimitsCover(t *testing.T) {
	const trials = 20000
	for _, n := range []int{5, 10, 30} {
		lower, upper := limits(0, 1, float64(n), usual) // of a bias 0 and an SD 1, to be moved and scaled
		d := make([]float64, n)
		draw := func(r *rand.Rand) (bias, sd float64) {
			for i := range d {
				d[i] = 0.3 + r.NormFloat64()
			}
			return mean(d), math.Sqrt(variance(d))
		}
		in := func(unit Interval, truth float64) func(*rand.Rand) bool {
			return func(r *rand.Rand) bool {
				bias, sd := draw(r)
				return holds(pairOf(bias+sd*float64(unit.Low), bias+sd*float64(unit.High)), truth)
			}
		}
		check(t, fmt.Sprintf("lower limit, exact, n %d", n), covered(trials, in(lower.Exact, 0.3-1.96)), exactTolerance(trials))
		check(t, fmt.Sprintf("upper limit, exact, n %d", n), covered(trials, in(upper.Exact, 0.3+1.96)), exactTolerance(trials))
		t.Logf("upper limit, approximate, n %d: %.4f", n, covered(trials, in(upper.Approx, 0.3+1.96)))
	}
}

// planted draws n subjects of SD 2, k raters of SD raterSD and errors of SD 0.7, counts readings each.
func planted(r *rand.Rand, n, k int, raterSD float64, counts func(i, j int) int) *grid {
	g := &grid{cell: make([][][]float64, n)}
	bias := make([]float64, k)
	for j := range bias {
		bias[j] = raterSD * r.NormFloat64()
	}
	for i := range g.cell {
		g.cell[i] = make([][]float64, k)
		s := 10 + 2*r.NormFloat64()
		for j := range k {
			for range counts(i, j) {
				g.cell[i][j] = append(g.cell[i][j], s+bias[j]+0.7*r.NormFloat64())
			}
		}
	}
	return g
}

func once(int, int) int { return 1 }

// With no difference between raters forms 1 and 3 share one truth, 4/(4+0.49), and both are exact.
// With raters of SD 0.5 form 2 has 4/(4+0.25+0.49); Satterthwaite's degrees of freedom cost up to 2 %.
func TestICCIntervalsCover(t *testing.T) {
	const trials = 4000
	form := func(i int, raterSD, truth float64) func(*rand.Rand) bool {
		return func(r *rand.Rand) bool {
			return holds(iccs(twoWay(planted(r, 12, 4, raterSD, once).means()), singles, usual)[i].Interval, truth)
		}
	}
	check(t, "ICC(1,1)", covered(trials, form(0, 0, 4/4.49)), exactTolerance(trials))
	check(t, "ICC(3,1)", covered(trials, form(2, 0.5, 4/4.49)), exactTolerance(trials))
	check(t, "ICC(1,k)", covered(trials, form(3, 0, 4/(4+0.49/4))), exactTolerance(trials))
	check(t, "ICC(2,1)", covered(trials, form(1, 0.5, 4/4.74)), 0.02+exactTolerance(trials))
}

// Single readings from a table with two replicates: three mean squares in one interval, within 1 %.
func TestICCOfSingleReadingsCovers(t *testing.T) {
	const trials = 3000
	twice := func(int, int) int { return 2 }
	for _, c := range []struct {
		at          int
		rater, want float64
	}{{6, 0.2, 4 / 4.53}, {7, 0.5, 4 / 4.49}} {
		check(t, fmt.Sprint("single readings, form ", c.at-4), covered(trials, func(r *rand.Rand) bool {
			g := planted(r, 15, 5, c.rater, twice)
			g.Model, g.Replicates = TwoWayReplicates, 2
			return holds(newOverall(g, usual).ICC[c.at].Interval, c.want)
		}), 0.01+exactTolerance(trials))
	}
}

// Single readings by any raters, once and with two replicates: the SD holds for raters who are drawn from all, of
// which k − 1 degrees of freedom are left, whether they differ or not. It may promise less than it holds by 2 %.
func TestIntervalsOfAnyRaterCover(t *testing.T) {
	const trials = 3000
	for _, c := range []struct {
		n, k, m int
		rater   float64
	}{{10, 2, 1, 0}, {10, 2, 1, 1.4}, {30, 2, 1, 0.35}, {30, 3, 1, 0.7}, {30, 5, 1, 1.4}, {30, 2, 2, 0}, {30, 3, 2, 0.7}} {
		got := covered(trials, func(r *rand.Rand) bool {
			g := planted(r, c.n, c.k, c.rater, func(int, int) int { return c.m })
			g.Model, g.Replicates = TwoWay, c.m
			if c.m > 1 {
				g.Model = TwoWayReplicates
			}
			return holds(newOverall(g, usual).MDC.Interval, 1.96*math.Sqrt2*math.Hypot(c.rater, 0.7))
		})
		what := fmt.Sprintf("any rater, %d subjects, %d raters of SD %g, %d readings: %.4f", c.n, c.k, c.rater, c.m, got)
		t.Log(what)
		if got < 0.95-exactTolerance(trials) || got > 0.97+exactTolerance(trials) {
			t.Error(what)
		}
	}
}

// What fewRaters says of the interval of ICC(2,1), at the corners of where it was simulated.
func TestFewRatersAreSaid(t *testing.T) {
	const trials = 2000
	for _, c := range []struct {
		n, k        int
		rater, want float64
	}{{100, 2, 1, 0.70}, {10, 2, 0.7, 0.93}, {100, 3, 1, 0.79}, {10, 3, 0.7, 0.93}} {
		got := covered(trials, func(r *rand.Rand) bool {
			a := twoWay(planted(r, c.n, c.k, c.rater, once).means())
			return holds(iccs(a, singles, usual)[1].Interval, 4/(4.49+c.rater*c.rater))
		})
		if math.Abs(got-c.want) > 0.03 {
			t.Errorf("%d subjects, %d raters of SD %g: %.3f, said %.2f", c.n, c.k, c.rater, got, c.want)
		}
	}
}

// Unequal numbers, 1 to 4 readings a subject: approximate, within 1 % here.
func TestUnequalICCCovers(t *testing.T) {
	const trials = 4000
	counts := func(i, _ int) int { return 1 + i%4 }
	check(t, "ICC(1,1), unequal", covered(trials, func(r *rand.Rand) bool {
		return holds(unequalICC(newOneWay(planted(r, 16, 1, 0, counts).bySubject()), usual).Interval, 4/4.49)
	}), 0.01+exactTolerance(trials))
}

// Two replicates a rater: limits for single readings from means of two, by the delta method; within 2 %.
func TestLimitsFromReplicatesCover(t *testing.T) {
	const trials = 3000
	twice := func(int, int) int { return 2 }
	truth := 1.96 * 0.7 * math.Sqrt2
	check(t, "upper limit, replicates", covered(trials, func(r *rand.Rand) bool {
		g := planted(r, 25, 2, 0, twice)
		g.Raters = []string{"A", "B"}
		return holds(newPair(g, 0, 1, usual).UpperLimit.Approx, truth)
	}), 0.02+exactTolerance(trials))
}

// Lin's interval is asymptotic: on 25 subjects within 2 %. Truth 2·4/(2·4.49).
func TestConcordanceCovers(t *testing.T) {
	const trials = 4000
	check(t, "concordance", covered(trials, func(r *rand.Rand) bool {
		g := planted(r, 25, 2, 0, once)
		p := Pair{Subjects: 25}
		for _, row := range g.cell {
			p.x, p.y = append(p.x, row[0][0]), append(p.y, row[1][0])
		}
		p.lin(usual)
		return holds(p.Concordance.Interval, 4/4.49)
	}), 0.02+exactTolerance(trials))
}

// The components of variance are unbiased: over many tables their mean is what was planted, within
// four standard errors of that mean. One-way with unequal numbers, and two-way with replicates.
func TestComponentsAreUnbiased(t *testing.T) {
	for _, c := range []struct {
		name   string
		k      int
		rater  float64
		counts func(i, j int) int
		want   []float64
		of     func(g *grid) Overall
	}{
		{"unequal", 1, 0, func(i, _ int) int { return 1 + i%4 }, []float64{4, 0.49}, func(g *grid) Overall { return overallUnequal(g, usual) }},
		{"replicates", 3, 0.5, func(int, int) int { return 2 }, []float64{4, 0.25, 0, 0.49}, func(g *grid) Overall {
			g.Replicates = 2
			return overallReplicates(g, usual)
		}},
		{"once", 3, 0.5, once, []float64{4, 0.25, 0.49}, func(g *grid) Overall { return newCrossed(twoWay(g.means()).once(), usual) }},
	} {
		const trials = 3000
		r := rand.New(rand.NewPCG(3, 4))
		got := make([][]float64, len(c.want))
		for range trials {
			for i, x := range c.of(planted(r, 10, c.k, c.rater, c.counts)).Components {
				got[i] = append(got[i], float64(x.Raw))
			}
		}
		for i, want := range c.want {
			se := math.Sqrt(variance(got[i]) / trials)
			if m := mean(got[i]); math.Abs(m-want) > 4*se {
				t.Errorf("%s, component %d: mean %.4f, planted %.4f (SE %.4f)", c.name, i, m, want, se)
			}
		}
	}
}

func BenchmarkAnalyse(b *testing.B) {
	for _, n := range []int{20, 2000} {
		r := rand.New(rand.NewPCG(5, 6))
		table := &Table{Value: "width_mm", Unit: "mm"}
		for i := range n {
			for j := range 3 {
				table.Readings = append(table.Readings, Reading{Subject: fmt.Sprint(i), Rater: fmt.Sprint(j), Value: 8 + r.NormFloat64()})
			}
		}
		b.Run(fmt.Sprintf("subjects=%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Analyse(table, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
