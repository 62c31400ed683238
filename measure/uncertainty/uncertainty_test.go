package uncertainty

import (
	"encoding/json"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

// JCGM 100:2008 example H.1, the end gauge (values seen second-hand in public test suites, and
// recomputed): contributions 25, 9.7, 0, 0, 2.9, 16.6 nm; u = 32 nm (31.658 unrounded).
func TestEndGaugeOfTheGUM(t *testing.T) {
	const length = 50.000623e6 // nm; 0.1 °C off the standard's temperature
	difference := Budget{      // 13/√5 nm, 10/t95(5) nm, 20/3 nm
		{Std: 13 / math.Sqrt(5)}, {Std: 10 / 2.5706}, {Std: 20.0 / 3},
	}
	near(t, "u of the difference", difference.Std(), 9.7, 0.05)
	b := Budget{
		{Name: "standard", Std: 25},
		{Name: "difference", Std: difference.Std()},
		{Name: "difference of expansion", Std: Rectangular(1e-6), Sensitivity: -0.1 * length},
		{Name: "difference of temperature", Std: Rectangular(0.05), Sensitivity: -11.5e-6 * length},
	}
	near(t, "u", b.Std(), 31.658, 0.005)
}

// JCGM 100:2008, 4.4.3 table 1 (second-hand, recomputed): 20 temperatures, mean 100.145,
// s 1.489, s(mean) 0.333.
func TestTemperaturesOfTheGUM(t *testing.T) {
	x := []float64{96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
		100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72}
	mean, s := stat.MeanStdDev(x, nil)
	near(t, "mean", mean, 100.145, 5e-4)
	b := Budget{{Name: "readings", Std: s / math.Sqrt(20)}}
	near(t, "u", b.Std(), 0.3329157472, 1e-9)
}

// JCGM 100:2008, G.4.1 (second-hand): 0.25, 0.57, 0.82 % give 1.03 %.
func TestThreeRelativeTermsOfTheGUM(t *testing.T) {
	near(t, "u", Budget{{Std: 0.25}, {Std: 0.57}, {Std: 0.82}}.Std(), 1.03, 0.005)
}

// A height of 12.0 mm: two edges, the observer, a tilt, the scale. Computed here, independently.
func TestHeightOfTwelveMillimetres(t *testing.T) {
	edge := Rectangular(0.15)
	b := Budget{
		{Name: "edge", Std: edge}, {Name: "edge", Std: edge}, {Name: "observer", Std: 0.20},
		{Name: "tilt", Std: Rectangular(12 * (1/math.Cos(5*math.Pi/180) - 1))},
		{Name: "scale", Std: Rectangular(0.005), Sensitivity: 12},
	}
	near(t, "two edges", math.Sqrt2*edge, 0.122474, 1e-6)
	near(t, "u", b.Std(), 0.238538, 1e-6)
	near(t, "U", b.U(), 0.477076, 1e-6)
}

// Terms of one group add with their signs: two ends of one ruler with the same error cancel in
// a difference and double in a sum. Source: JCGM 100:2008, equation 16 with r = ±1.
func TestCorrelatedTermsAddWithTheirSigns(t *testing.T) {
	same := Budget{{Std: 0.3, Group: "blur"}, {Std: 0.3, Group: "blur"}}
	near(t, "sum", same.Std(), 0.6, 1e-12)
	opposed := Budget{{Std: 0.3, Group: "blur"}, {Std: 0.3, Sensitivity: -1, Group: "blur"}}
	near(t, "difference", opposed.Std(), 0, 1e-12)
}

// A difference of two lengths that share an error is free of it, and what is scaled keeps its sign: a − b
// with the same blur in both has none; 2·(a − b), a and b by different parts of it, has twice their
// difference. Source: JCGM 100:2008, equation 16 with r = ±1.
func TestScaledTermsKeepTheirSigns(t *testing.T) {
	a := Budget{{Name: "a", Std: 0.3, Group: "blur"}}
	near(t, "a − a", append(a.Scaled(1), a.Scaled(-1)...).Std(), 0, 1e-12)
	near(t, "a + a", append(a.Scaled(1), a.Scaled(1)...).Std(), 0.6, 1e-12)
	opposed := Budget{{Std: 0.5, Group: "blur"}, {Std: 0.3, Sensitivity: -1, Group: "blur"}}
	near(t, "2·(a − b)", opposed.Scaled(2).Std(), 0.4, 1e-12)
	near(t, "−2·(a − b)", opposed.Scaled(-2).Std(), 0.4, 1e-12)
	near(t, "a − b and −(a − b)", append(opposed, opposed.Scaled(-1)...).Std(), 0, 1e-12)
}

// Order and unit do not matter: shuffled terms give the same u, a factor scales it.
func TestOrderAndUnitDoNotMatter(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		std := rapid.SliceOfN(rapid.Float64Range(0, 5), 1, 8).Draw(t, "std")
		factor := rapid.Float64Range(-10, 10).Draw(t, "factor")
		var b, back Budget
		for _, s := range std {
			b = append(b, Term{Std: s})
			back = append(Budget{{Std: s}}, back...)
		}
		if math.Abs(b.Std()-back.Std()) > 1e-12 || math.Abs(b.Scaled(factor).Std()-math.Abs(factor)*b.Std()) > 1e-9 {
			t.Fatalf("budget %v: u %g, reversed %g, scaled %g", b, b.Std(), back.Std(), b.Scaled(factor).Std())
		}
	})
}

func TestTermSurvivesJSON(t *testing.T) {
	in := Term{Name: "edge noise", Std: 0.02, Sensitivity: -2, Group: "blur"}
	data, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	var out Term
	if err := json.Unmarshal(data, &out); err != nil || out != in {
		t.Errorf("%s read back as %+v (%v)", data, out, err)
	}
}

// An input that does not move the value does not count.
func TestInputThatDoesNotMoveTheValueCountsNothing(t *testing.T) {
	near(t, "u", Budget{Moved("scale", 0.3, 0), Moved("edge", 0.1, -2)}.Std(), 0.2, 1e-12)
}
