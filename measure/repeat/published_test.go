package repeat

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
)

const data = "../../testdata/repeat"

// agree analyses a table of testdata/repeat; edit may be nil.
func agree(t testing.TB, file string, edit func(*Columns, *Options)) *Result {
	t.Helper()
	f, err := os.Open(filepath.Join(data, file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	c, o := Columns{Subject: []string{"subject"}, Rater: "rater", Value: "value"}, Options{Unit: "mm"}
	if edit != nil {
		edit(&c, &o)
	}
	r, err := Agree(f, c, o)
	if err != nil {
		t.Fatalf("%s: %v", file, err)
	}
	return r
}

// firstReadings compares the two meters of Bland & Altman 1986 on their first readings.
func firstReadings(t testing.TB, factor float64) *Result {
	return agree(t, "pefr-1986.csv", func(c *Columns, o *Options) {
		o.Where, o.LimitsFactor, o.Unit = []Condition{{"replicate", "1"}}, factor, "l/min"
	})
}

func near(t *testing.T, what string, got Number, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(float64(got)-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %g", what, got, want, tolerance)
	}
}

func span(t *testing.T, what string, got Interval, low, high, tolerance float64) {
	t.Helper()
	near(t, what+" low", got.Low, low, tolerance)
	near(t, what+" high", got.High, high, tolerance)
}

// Published: mean −2.1, SD 38.8, SE 9.4, interval −22.0 to 17.8, limits −79.7 and 75.5 (±2 SD of the
// rounded values), SE of a limit 16.3, lower limit −114.3 to −45.1. Source: Bland JM, Altman DG.
// Lancet 1986;327:307–310 (second-hand). The paper went on from rounded figures, so a limit may be off
// by 0.05 + 2·0.05, its interval by 2.12·0.05 more.
func TestBlandAltman1986(t *testing.T) {
	p := firstReadings(t, 2).Pairs[0]
	near(t, "mean difference", p.Bias.Value, -2.1, 0.05)
	near(t, "SD", p.SD.Value, 38.8, 0.05)
	near(t, "SE", p.SD.Value/Number(math.Sqrt(17)), 9.4, 0.05)
	span(t, "bias", p.Bias.Interval, -22.0, 17.8, 0.05)
	near(t, "lower limit", p.LowerLimit.Value, -79.7, 0.15)
	near(t, "upper limit", p.UpperLimit.Value, 75.5, 0.15)
	se := (p.LowerLimit.Approx.High - p.LowerLimit.Approx.Low) / Number(2*tQuantile(0.975, 16))
	near(t, "SE of a limit", se, 16.3, 0.05)
	span(t, "lower limit", p.LowerLimit.Approx, -114.3, -45.1, 0.15+2.12*0.05)
	// Computed from the rounded figures, not printed in the paper as far as we know.
	span(t, "upper limit", p.UpperLimit.Approx, 40.9, 110.1, 0.15+2.12*0.05)
}

// The same to six decimals, recomputed outside in 20 digits; no published number is claimed.
func TestBlandAltman1986Unrounded(t *testing.T) {
	p := firstReadings(t, 0).Pairs[0]
	const six = 5e-7
	near(t, "mean difference", p.Bias.Value, -2.117647, six)
	near(t, "SD", p.SD.Value, 38.765130, six)
	near(t, "lower limit", p.LowerLimit.Value, -78.097302, six)
	near(t, "upper limit", p.UpperLimit.Value, 73.862007, six)
	near(t, "Pearson's r", p.Correlation, 0.943279, six)
	near(t, "Lin's concordance, divisor n", p.Concordance.Value, 0.942742, six)
	two := firstReadings(t, 2).Pairs[0]
	near(t, "lower limit at 2 SD", two.LowerLimit.Value, -79.647907, six)
	near(t, "upper limit at 2 SD", two.UpperLimit.Value, 75.412613, six)
}

// One meter against itself: Dahlberg's error is the within-subject SD, and 1.96·√2 of it is the
// repeatability coefficient (recomputed outside). Paper: 43.2 and 56.4 l/min at 2·RMS (from memory;
// 43.29 and 56.32 unrounded, so the paper's come from rounded steps).
func TestBlandAltman1986Repeatability(t *testing.T) {
	for _, c := range []struct {
		meter                         string
		mean, sd, dahlberg, rc, paper float64
	}{
		{"large", 4.941176, 21.724038, 15.306669, 42.43, 43.2},
		{"mini", -2.882353, 28.872310, 19.910831, 55.19, 56.4},
	} {
		r := agree(t, "pefr-1986.csv", func(col *Columns, o *Options) {
			col.Replicate, o.Where = "replicate", []Condition{{"rater", c.meter}}
		})
		p := r.Pairs[0]
		if !r.Design.Sessions || r.Design.Model != TwoWay {
			t.Errorf("%s: design %+v, want one rater's sessions", c.meter, r.Design)
		}
		near(t, c.meter+" mean", p.Bias.Value, c.mean, 5e-7)
		near(t, c.meter+" SD", p.SD.Value, c.sd, 5e-7)
		near(t, c.meter+" Dahlberg", p.Dahlberg.Value, c.dahlberg, 5e-7)
		near(t, c.meter+" within-subject SD", r.Overall.WithinSD.Value, c.dahlberg, 5e-7)
		near(t, c.meter+" repeatability", p.Repeat.Value, c.rc, 0.005)
		near(t, c.meter+" repeatability, paper", p.Dahlberg.Value*2*math.Sqrt2, c.paper, 0.1)
	}
}

// Means of two readings with the SD put back to single readings: the paper prints 37.7 l/min, from
// the SD of the means 33.2 and those of the repeats 21.6 and 28.2 (from memory).
func TestBlandAltman1986Replicates(t *testing.T) {
	r := agree(t, "pefr-1986.csv", func(c *Columns, o *Options) { c.Replicate = "replicate" })
	p := r.Pairs[0]
	near(t, "SD of a difference of single readings", p.SD.Value, 37.7, 0.05)
	near(t, "large, within-subject", r.Raters[0].WithinSD.Value, 15.306669, 5e-7)
	near(t, "mini, within-subject", r.Raters[1].WithinSD.Value, 19.910831, 5e-7)
	if p.LowerLimit.Exact.Low.Known() || p.LowerLimit.Reason == "" {
		t.Errorf("exact interval %v given for means of replicates, reason %q", p.LowerLimit.Exact, p.LowerLimit.Reason)
	}
	if !p.LowerLimit.Approx.Low.Known() {
		t.Error("no approximate interval for means of replicates")
	}
}

// Published: .17 .29 .71 (second-hand) and .44 .62 .91 (from memory). Source: Shrout PE, Fleiss JL.
// Psychol Bull 1979;86:420–428. Digits beyond and intervals were recomputed outside.
func TestShroutFleiss1979(t *testing.T) {
	r := agree(t, "shrout-fleiss-1979.csv", nil)
	for i, w := range []struct {
		form                  string
		paper, icc, low, high float64
		f, p                  float64
		df2                   float64
	}{
		{"ICC(1,1)", .17, 0.16574177, -0.132932, 0.722560, 1.794678, 0.164769, 18},
		{"ICC(2,1)", .29, 0.28976378, 0.018787, 0.761084, 11.027248, 1.3457e-4, 15},
		{"ICC(3,1)", .71, 0.71484071, 0.342465, 0.945858, 11.027248, 1.3457e-4, 15},
		{"ICC(1,4)", .44, 0.44279713, -0.884442, 0.912415, 1.794678, 0.164769, 18},
		{"ICC(2,4)", .62, 0.62005055, 0.071137, 0.927232, 11.027248, 1.3457e-4, 15},
		{"ICC(3,4)", .91, 0.90931554, 0.675675, 0.985892, 11.027248, 1.3457e-4, 15},
	} {
		c := r.Overall.ICC[i]
		if c.Form != w.form {
			t.Fatalf("form %d is %s, want %s", i, c.Form, w.form)
		}
		near(t, w.form+" as printed", c.Value, w.paper, 0.005)
		near(t, w.form, c.Value, w.icc, 5e-9)
		span(t, w.form, c.Interval, w.low, w.high, 5e-7)
		near(t, w.form+" F", c.F, w.f, 5e-7)
		near(t, w.form+" p", c.P, w.p, 5e-4*w.p)
		if c.DF1 != 5 || c.DF2 != Number(w.df2) {
			t.Errorf("%s: df %v and %v, want 5 and %g", w.form, c.DF1, c.DF2, w.df2)
		}
	}
}

// The mean squares of the same table; the paper prints 11.24, 6.26, 32.49, 1.02 (from memory).
func TestShroutFleiss1979MeanSquares(t *testing.T) {
	a := twoWay([][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}})
	for _, c := range []struct {
		name        string
		got, ss, df float64
	}{{"between", a.between, 56.208333, 5}, {"within", a.within, 112.75, 18}, {"raters", a.raters, 97.458333, 3}, {"residual", a.residual, 15.291667, 15}} {
		near(t, "sum of squares "+c.name, Number(c.got*c.df), c.ss, 5e-7)
	}
}

// NIST Statistical Reference Datasets, univariate, NumAcc1 to 4 (construction second-hand, certified
// values from memory). NIST's mean and SD have 15 digits; the data as float64 do not: near 10⁶ and 10⁷
// a value is off by up to half its last bit, 5.8e-11 and 9.3e-10, which an SD of 0.1 feels as 6e-10
// and 1e-8 of itself. No arithmetic can do better from the same float64.
func TestNISTUnivariate(t *testing.T) {
	alternate := func(first, low, high float64) []float64 {
		xs := []float64{first}
		for range 500 {
			xs = append(xs, low, high)
		}
		return xs
	}
	for _, c := range []struct {
		name                string
		xs                  []float64
		mean, sd, tolerance float64
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 0},
		{"NumAcc2", alternate(1.2, 1.1, 1.3), 1.2, 0.1, 1e-15},
		{"NumAcc3", alternate(1000000.2, 1000000.1, 1000000.3), 1000000.2, 0.1, 6e-10},
		{"NumAcc4", alternate(10000000.2, 10000000.1, 10000000.3), 10000000.2, 0.1, 1e-8},
	} {
		if got := mean(c.xs); math.Abs(got-c.mean) > 1e-15*c.mean {
			t.Errorf("%s: mean %.17g, certified %.15g", c.name, got, c.mean)
		}
		if got := math.Sqrt(variance(c.xs)); math.Abs(got-c.sd) > c.tolerance*c.sd {
			t.Errorf("%s: SD %.17g, certified %.15g", c.name, got, c.sd)
		}
	}
}

// Near 10¹⁵ a float64 steps by an eighth, and the mean of 0, 1, 1 beyond is off by a twenty-fourth: the
// sum of squares is 2/3 all the same.
func TestVarianceSurvivesARoundedMean(t *testing.T) {
	near(t, "variance", Number(variance([]float64{1e15, 1e15 + 1, 1e15 + 1})), 1.0/3, 1e-15)
}

// Four hand-made pairs with differences 1, −1, 2, 0: D = √((1+1+4+0)/8) = √0.75.
// Source of the formula: Dahlberg 1940, as restated by Galvão et al. 2012 (second-hand).
func TestDahlbergByHand(t *testing.T) {
	rows := [][2]float64{{5, 4}, {6, 7}, {9, 7}, {3, 3}}
	p := pairOfRows(t, rows)
	near(t, "Dahlberg", p.Dahlberg.Value, math.Sqrt(0.75), 1e-15)
	near(t, "repeatability", p.Repeat.Value, 1.96*math.Sqrt(1.5), 1e-14)
	// A constant error is in Dahlberg's figure and not in the random one.
	for i := range rows {
		rows[i][1] = rows[i][0] + 0.5
	}
	p = pairOfRows(t, rows)
	near(t, "Dahlberg of a constant 0.5", p.Dahlberg.Value, 0.5/math.Sqrt2, 1e-15)
	near(t, "random SD of a constant 0.5", p.RandomSD.Value, 0, 0)
}

// SEM 5 gives a minimal detectable change of 13.85929 (second-hand): 1.96·√2·5.
func TestMinimalDetectableChange(t *testing.T) {
	r, err := Analyse(tableOf([][2]float64{{5, -2}, {-2, 5}, {12, 19}, {19, 12}, {8, 1}, {1, 8}}), Options{})
	if err != nil {
		t.Fatal(err)
	}
	scale := 5 / float64(r.Overall.WithinSD.Value)
	near(t, "MDC at SEM 5", r.Overall.MDC.Value*Number(scale), 13.85929, 5e-6)
}

func tableOf(rows [][2]float64) *Table {
	t := &Table{Value: "x"}
	for i, row := range rows {
		for j, v := range row {
			t.Readings = append(t.Readings, Reading{Subject: fmt.Sprint(i), Rater: string(rune('A' + j)), Value: v})
		}
	}
	return t
}

func pairOfRows(t testing.TB, rows [][2]float64) Pair {
	t.Helper()
	r, err := Analyse(tableOf(rows), Options{})
	if err != nil {
		t.Fatal(err)
	}
	return r.Pairs[0]
}

// Three subjects whose means vary less than chance: the variance of a mean of the raters is estimated
// at zero, (B + (J−E)/n) = 2/3 + (0−2)/3, and ICC(2,k) would divide by it.
func TestICCOfAMeanWithoutVariance(t *testing.T) {
	r, err := Analyse(tableOf([][2]float64{{0, 0}, {0, 2}, {1, -1}}), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if c := r.Overall.ICC[4]; c.Value.Known() || c.Reason == "" {
		t.Errorf("ICC(2,2) = %v, reason %q; want none, with the reason", c.Value, c.Reason)
	}
	near(t, "ICC(3,1)", r.Overall.ICC[2].Value, (2.0/3-2)/(2.0/3+2), 1e-15)
}
