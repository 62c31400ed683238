// Package uncertainty combines the uncertainties of a measured value, term by term, the way the
// Guide to the Expression of Uncertainty in Measurement does.
//
// A room that measures hands in a value and a [Budget]; what comes out is a [Length] or an
// [Angle] that knows its standard uncertainty u and its expanded uncertainty U = k·u with k = 2.
//
// Degrees of freedom are not carried: every term here is a limit or a model's (4.3), or comes from the
// residuals of many pixels, and for those k = 2 is what Student's t says. A term from a few
// repeated readings must not be put into a budget; the room of repeated readings is measure/repeat.
//
// Source: JCGM 100:2008 (GUM), clauses 4.3, 5.1, 5.2, 6.2 and 6.3.3.
package uncertainty

import (
	"encoding/json"
	"math"
)

// Coverage is the coverage factor k of every expanded uncertainty this project prints.
const Coverage = 2.0

// Term is one source of uncertainty of a value.
type Term struct {
	Name        string  // what is uncertain, in plain words: "edge noise"
	Std         float64 // standard uncertainty of the input, in the input's own unit
	Sensitivity float64 // how far the value moves for one unit of the input; 0 means 1
	Group       string  // terms of one non-empty group are fully correlated and add with their signs
}

// Moved returns the term of an input with standard uncertainty std that moves the value by
// sensitivity for one unit. A sensitivity worked out as 0 is 0 here: that input does not count.
func Moved(name string, std, sensitivity float64) Term {
	if sensitivity == 0 {
		return Term{Name: name, Sensitivity: 1}
	}
	return Term{Name: name, Std: std, Sensitivity: sensitivity}
}

// Contribution returns the term's signed share of the value's standard uncertainty, c·u(x), in
// the value's unit.
func (t Term) Contribution() float64 {
	if t.Sensitivity == 0 {
		return t.Std
	}
	return t.Sensitivity * t.Std
}

// Budget is the list of terms behind one value.
type Budget []Term

// Std returns the combined standard uncertainty, in the value's unit:
//
//	u² = Σ over independent terms (c·u)² + Σ over groups (Σ in group c·u)²
//
// Source: JCGM 100:2008, equations 10 and 16 with correlation 0 or ±1.
func (b Budget) Std() float64 {
	sum := 0.0
	for _, c := range b.independent() {
		sum += c * c
	}
	return math.Sqrt(sum)
}

// U returns the expanded uncertainty k·u with k = [Coverage], in the value's unit.
func (b Budget) U() float64 { return Coverage * b.Std() }

// independent returns the signed share of every independent term and of every correlated group, in the
// value's unit.
func (b Budget) independent() []float64 {
	var all []float64
	groups := map[string]int{}
	for _, t := range b {
		at, known := groups[t.Group]
		if t.Group == "" || !known {
			groups[t.Group] = len(all)
			all = append(all, t.Contribution())
			continue
		}
		all[at] += t.Contribution()
	}
	return all
}

// Scaled returns the budget of the value multiplied by factor (which has no unit).
func (b Budget) Scaled(factor float64) Budget {
	out := make(Budget, len(b))
	for i, t := range b {
		c := factor * t.Contribution()
		out[i] = Term{Name: t.Name, Std: math.Abs(c), Sensitivity: math.Copysign(1, c), Group: t.Group}
	}
	return out
}

// Rectangular returns the standard uncertainty of a value known only to lie within ±half, in
// half's unit: half/√3. Source: JCGM 100:2008, 4.3.7.
func Rectangular(half float64) float64 { return half / math.Sqrt(3) }

// Length is a measured length in mm with its budget in mm.
type Length struct {
	Value float64 // mm
	Budget
}

// Angle is a measured angle in degrees with its budget in degrees.
type Angle struct {
	Value float64 // degrees
	Budget
}

// termJSON is a term as result.json shows it.
type termJSON struct {
	Name         string  `json:"name"`
	Std          float64 `json:"std"`
	Sensitivity  float64 `json:"sensitivity"`
	Contribution float64 `json:"contribution"`
	Group        string  `json:"group,omitempty"`
}

// MarshalJSON writes the term with its contribution worked out.
func (t Term) MarshalJSON() ([]byte, error) {
	out := termJSON{Name: t.Name, Std: t.Std, Sensitivity: t.Sensitivity, Contribution: math.Abs(t.Contribution()), Group: t.Group}
	if out.Sensitivity == 0 {
		out.Sensitivity = 1
	}
	return json.Marshal(out)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (t *Term) UnmarshalJSON(data []byte) error {
	var in termJSON
	if err := json.Unmarshal(data, &in); err != nil {
		return err
	}
	*t = Term{Name: in.Name, Std: in.Std, Sensitivity: in.Sensitivity, Group: in.Group}
	return nil
}
