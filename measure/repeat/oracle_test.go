package repeat

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// figures reads an outside answer: its numbers by the labels of their row and column.
func figures(t testing.TB, text string) map[string]float64 {
	t.Helper()
	rd := csv.NewReader(strings.NewReader(text))
	rd.Comment = '#'
	rows, err := rd.ReadAll()
	if err != nil || len(rows) < 2 {
		t.Fatalf("outside answer: %v\n%s", err, text)
	}
	out := map[string]float64{}
	for _, row := range rows[1:] {
		label := row[0]
		if rows[0][1] == "index" {
			label += "." + row[1]
		}
		for j, cell := range row[1:] {
			v, err := strconv.ParseFloat(cell, 64)
			if err != nil {
				t.Fatal(err)
			}
			out[label+"."+rows[0][j+1]] = v
		}
	}
	return out
}

func committed(t testing.TB, file string) string {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(data, file))
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func relative(t *testing.T, what string, got Number, want, tolerance float64) {
	t.Helper()
	near(t, what, got, want, tolerance*math.Max(math.Abs(want), 1e-300))
}

// psych::ICC, R 4.2.2, psych 2.2.9 (testdata/repeat/icc.R). All six, with F, p and intervals. It
// prints 15 digits; both sides take F quantiles by iteration, so 1e-9.
func TestICCsMeetPsych(t *testing.T) {
	for _, name := range []string{"shrout-fleiss-1979", "readers"} {
		want := figures(t, committed(t, name+".icc.csv"))
		r := agree(t, name+".csv", nil)
		for i, label := range []string{"ICC1", "ICC2", "ICC3", "ICC1k", "ICC2k", "ICC3k"} {
			c := r.Overall.ICC[i]
			for col, got := range map[string]Number{"icc": c.Value, "low": c.Low, "high": c.High, "f": c.F, "df1": c.DF1, "df2": c.DF2, "p": c.P} {
				relative(t, name+" "+label+" "+col, got, want[label+"."+col], 1e-9)
			}
		}
	}
}

// t.test, lm, qchisq and qt of R 4.2.2 (testdata/repeat/base.R).
func TestPairMeetsR(t *testing.T) {
	want := figures(t, committed(t, "base.out.csv"))
	p := firstReadings(t, 0).Pairs[0]
	got := map[string][]Number{
		"paired_t":     {p.Bias.Value, p.Bias.Low, p.Bias.High, p.BiasTest.T, p.BiasTest.DF, p.BiasTest.P},
		"slope":        {p.Slope.Value, p.Slope.Low, p.Slope.High, p.SlopeTest.T, p.SlopeTest.P},
		"sd":           {p.SD.Value, p.SD.Low, p.SD.High},
		"exact_limits": {p.LowerLimit.Exact.Low, p.LowerLimit.Exact.High, p.UpperLimit.Exact.Low, p.UpperLimit.Exact.High},
	}
	for name, list := range got {
		for i, g := range list {
			relative(t, fmt.Sprint(name, " ", i+1), g, want[fmt.Sprintf("%s.%d.value", name, i+1)], 1e-9)
		}
	}
}

// qt of R 4.2.2, which warns that its own last digits are not certain: 1e-9. scipy.stats.nct 1.10.1
// also far out, where R turns to an approximation that is 3e-4 off: 1e-12, the last digits of both.
func TestNoncentralTMeetsRAndScipy(t *testing.T) {
	r, scipy := figures(t, committed(t, "base.out.csv")), figures(t, committed(t, "nct.out.csv"))
	for _, df := range []float64{2, 5, 16, 84, 299, 399, 1999} {
		for i, p := range []float64{.025, .5, .975} {
			got := Number(newNoncentralT(df, 1.96*math.Sqrt(df+1)).quantile(p))
			what := fmt.Sprintf("t'(%g; %g)", p, df)
			if want, ok := r[fmt.Sprintf("qt_%g_%g.1.value", df, p)]; ok {
				relative(t, what+" by R", got, want, 1e-9)
			}
			if want, ok := scipy[fmt.Sprintf("%g.%s", df, [3]string{"p025", "p500", "p975"}[i])]; ok {
				relative(t, what+" by scipy", got, want, 1e-12)
			}
		}
	}
}

// Without noncentrality it is Student's t, and at t = 0 it is Φ(−δ): closed forms.
func TestNoncentralTClosedForms(t *testing.T) {
	for _, df := range []float64{1, 2, 7, 30, 1000} {
		for _, p := range []float64{0.01, 0.3, 0.975} {
			relative(t, fmt.Sprintf("central t, p %g, df %g", p, df), Number(newNoncentralT(df, 0).quantile(p)), tQuantile(p, df), 1e-10)
		}
		for _, delta := range []float64{-1, 0.5, 3} {
			near(t, fmt.Sprintf("P(T ≤ 0), df %g, δ %g", df, delta), Number(newNoncentralT(df, delta).cdf(0)), math.Erfc(delta/math.Sqrt2)/2, 1e-13)
		}
	}
}

// aov of R 4.2.2: two-way with replicates, each meter alone, and one-way with unequal numbers; the
// intervals that R has no function for are the same formula written again on R's numbers.
func TestMeanSquaresMeetR(t *testing.T) {
	want := figures(t, committed(t, "base.out.csv"))
	ms := func(name string, i int) float64 { return want[fmt.Sprintf("ms_%s.%d.value", name, i)] }
	with := func(c *Columns, o *Options) { c.Replicate = "replicate" }

	r := agree(t, "pefr-1986.csv", with)
	s, j, i, e := ms("replicates", 1), ms("replicates", 2), ms("replicates", 3), ms("replicates", 4)
	parts := []float64{(s - i) / 4, (j - i) / 34, (i - e) / 2, e}
	for k, v := range parts {
		c := r.Overall.Components[k]
		relative(t, "component of "+c.Of, c.Raw, v, 1e-11)
	}
	relative(t, "ICC(2,1) of single readings", r.Overall.ICC[6].Value, parts[0]/(parts[0]+parts[1]+parts[2]+parts[3]), 1e-11)
	relative(t, "ICC(3,1) of single readings", r.Overall.ICC[7].Value, parts[0]/(parts[0]+parts[2]+parts[3]), 1e-11)
	relative(t, "SEM", r.Overall.SEM.Value, math.Sqrt(parts[1]+parts[2]+parts[3]), 1e-11)
	for k, meter := range []string{"large", "mini"} {
		b, w := ms(meter, 1), ms(meter, 2)
		relative(t, meter+" ICC", r.Raters[k].ICC.Value, (b-w)/(b+w), 1e-12)
	}

	up := r.Pairs[0]
	for k, got := range []Number{up.SD.Value, up.UpperLimit.Value, up.UpperLimit.Approx.Low, up.UpperLimit.Approx.High} {
		relative(t, fmt.Sprint("limit from replicates ", k+1), got, want[fmt.Sprintf("replicate_limit.%d.value", k+1)], 1e-11)
	}

	u := agree(t, "unequal.csv", with)
	for k, got := range []Number{u.Overall.ICC[0].Low, u.Overall.ICC[0].High} {
		relative(t, fmt.Sprint("Thomas & Hultquist ", k+1), got, want[fmt.Sprintf("thomas_hultquist.%d.value", k+1)], 1e-9)
	}
	b, w, n0 := ms("unequal", 1), ms("unequal", 2), want["n0_unequal.1.value"]
	relative(t, "unequal, ICC(1,1)", u.Overall.ICC[0].Value, (b-w)/(b+(n0-1)*w), 1e-12)
}

// epiR::epi.ccc, epiR 2.0.57 (testdata/repeat/concordance.R).
func TestConcordanceMeetsEpiR(t *testing.T) {
	want := figures(t, committed(t, "concordance.out.csv"))
	p := firstReadings(t, 0).Pairs[0]
	for i, got := range []Number{p.Concordance.Value, p.Concordance.Low, p.Concordance.High} {
		relative(t, fmt.Sprint("concordance ", i+1), got, want[fmt.Sprintf("concordance.%d.value", i+1)], 1e-12)
	}
	relative(t, "C_b", p.Accuracy, want["accuracy.1.value"], 1e-12)
}

// The committed answers are those the scripts give today.
func TestOutsideAnswersHold(t *testing.T) {
	if testing.Short() {
		t.Skip("short: Rscript not started")
	}
	rscript, err := exec.LookPath("Rscript")
	if err != nil {
		t.Skip("Rscript is not installed")
	}
	for _, c := range []struct {
		pkg, answer, script string
		tables              []string
		tolerance           float64 // 0 means 1e-9
	}{
		{"psych", "shrout-fleiss-1979.icc.csv", "icc.R", []string{"shrout-fleiss-1979.csv"}, 0},
		{"psych", "readers.icc.csv", "icc.R", []string{"readers.csv"}, 0},
		{"lme4", "mixed.out.csv", "mixed.R", []string{"unequal.csv", "reread.csv", "holes.csv"}, 1e-6}, // searches a flat top
		{"stats", "base.out.csv", "base.R", []string{"pefr-1986.csv", "unequal.csv"}, 0},
		{"epiR", "concordance.out.csv", "concordance.R", []string{"pefr-1986.csv"}, 0},
	} {
		t.Run(c.answer, func(t *testing.T) {
			t.Parallel()
			if c.pkg == "epiR" && os.Getenv("RIDGERULE_LONG") == "" {
				t.Skip("epiR takes seconds to load: set RIDGERULE_LONG=1")
			}
			if exec.Command(rscript, "-e", fmt.Sprintf("quit(status = !nzchar(system.file(package = %q)))", c.pkg)).Run() != nil {
				t.Skipf("R has no package %s", c.pkg)
			}
			cmd := exec.Command(rscript, append([]string{c.script}, c.tables...)...)
			cmd.Dir = data
			out, err := cmd.Output()
			if err != nil {
				t.Fatalf("%s: %v", c.script, err)
			}
			sameFigures(t, figures(t, string(out)), figures(t, committed(t, c.answer)), max(c.tolerance, 1e-9))
		})
	}
}

func sameFigures(t *testing.T, now, then map[string]float64, tolerance float64) {
	t.Helper()
	if len(now) != len(then) {
		t.Fatalf("%d figures now, %d committed", len(now), len(then))
	}
	for name, v := range then {
		relative(t, name, Number(now[name]), v, tolerance)
	}
}
