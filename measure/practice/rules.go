package practice

import (
	"fmt"
	"math"
)

// Rules are what readings are marked by. Every one is printed with the marks.
type Rules struct {
	Least     float64 // tolerance of a length is no less, mm
	Reader    float64 // SD of a skilled reader of lengths, mm; our choice within the 0.15–0.25 that are published
	LeastTilt float64 // the same of an angle, deg
	TiltSD    float64 // deg
	Guard     float64 // expanded uncertainty of the rule itself, mm: readings are given to 0.1 mm
	GuardTilt float64 // deg: readings are given to 1°
	Blunder   float64 // an error beyond this, and beyond three tolerances, is apart, mm
	TiltOff   float64 // the same, deg

	Bias, SD  float64 // criterion of a calibration: the interval of the bias within ±Bias, the upper limit of the SD at most SD; mm
	Pairs     int     // repeats from which a repeatability is told
	CurveFrom int     // readings from which a curve is drawn
}

// Usual are the rules when nobody says otherwise. Sources: docs/practice.md.
func Usual() Rules {
	return Rules{Least: 0.5, Reader: 0.20, LeastTilt: 3, TiltSD: 1.5, Guard: 0.06, GuardTilt: 0.6, Blunder: 2, TiltOff: 10,
		Bias: 0.3, SD: 0.35, Pairs: 15, CurveFrom: 20}
}

// Check refuses rules by which nothing can be marked; the error wraps [ErrOptions].
func (r Rules) Check() error {
	for _, x := range []struct {
		name  string
		value float64
		least float64
	}{
		{"tolerance of a length", r.Least, 2 * r.Guard}, {"SD of a reader of lengths", r.Reader, 0}, {"tolerance of an angle", r.LeastTilt, 2 * r.GuardTilt},
		{"SD of a reader of angles", r.TiltSD, 0}, {"criterion for the bias", r.Bias, 0.01}, {"criterion for the SD", r.SD, 0.01},
	} {
		if !(x.value >= x.least && x.value <= 90) {
			return fmt.Errorf("%w: %s of %g; give %g to 90", ErrOptions, x.name, x.value, x.least)
		}
	}
	return nil
}

// tolerance is what a skilled reader of this scan stays within 19 times of 20, in the unit of the question:
//
//	T = max(least, 2·√(u_scan² + s²))
func (r Rules) tolerance(unit string, u float64) float64 {
	if unit == "deg" {
		return math.Max(r.LeastTilt, 2*math.Hypot(u, r.TiltSD))
	}
	return math.Max(r.Least, 2*math.Hypot(u, r.Reader))
}

// Verdict is the mark of one reading.
type Verdict string

// The verdicts, and the empty one of what was not answered.
const (
	Within     Verdict = "within"
	CannotTell Verdict = "cannot tell"
	Outside    Verdict = "outside"
	Blundered  Verdict = "blunder"
)

// verdict holds an error against a tolerance T with a guard band g on both sides of it.
func (r Rules) verdict(unit string, e, T float64) Verdict {
	guard, apart := r.Guard, math.Max(3*T, r.Blunder)
	if unit == "deg" {
		guard, apart = r.GuardTilt, math.Max(3*T, r.TiltOff)
	}
	switch e = math.Abs(e); {
	case e > apart:
		return Blundered
	case e > T+guard:
		return Outside
	case e > T-guard:
		return CannotTell
	}
	return Within
}

// Words says the rules in full, one sentence a rule, for every page of marks.
func (r Rules) Words() []string {
	return []string{
		fmt.Sprintf("Tolerance T of a length: %g mm, or 2·√(u² + s²) where that is more; u is what the scan leaves open, s = %.2f mm the SD of a skilled reader (our choice).", r.Least, r.Reader),
		fmt.Sprintf("Tolerance T of an angle: %g°, or 2·√(u² + %g²) where that is more (our choice).", r.LeastTilt, r.TiltSD),
		fmt.Sprintf("Within: the error is at most T less %.2f mm (%.1f°); outside: more than T and that much; between them nobody can tell.", r.Guard, r.GuardTilt),
		fmt.Sprintf("Blunder: more than three tolerances and more than %g mm (%g°). Blunders are counted, and kept out of bias and spread.", r.Blunder, r.TiltOff),
		fmt.Sprintf("Criterion of a calibration: the 95 %% interval of the bias within ±%g mm and the upper 95 %% limit of the SD at most %g mm, from %d readings on (our proposal).", r.Bias, r.SD, r.CurveFrom),
	}
}
