// Package uncertainty combines the uncertainties of a measured value, term by term, the way the
// Guide to the Expression of Uncertainty in Measurement does.
//
// A room that measures hands in a value and a [Budget]; what comes out is a [Length] or an
// [Angle] that knows its standard uncertainty u, its effective degrees of freedom and its
// expanded uncertainty U = k·u with k = 2.
//
// Source: JCGM 100:2008 (GUM), clauses 4.3, 5.1, 5.2, 6.2 and G.4.
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
	DoF         float64 // degrees of freedom of Std; 0 means infinite
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
		sum += c.share * c.share
	}
	return math.Sqrt(sum)
}

// U returns the expanded uncertainty k·u with k = [Coverage], in the value's unit.
func (b Budget) U() float64 { return Coverage * b.Std() }

// DoF returns the effective degrees of freedom (without unit), +Inf when every term is known
// exactly.
//
//	ν = u⁴ / Σ (c·u)⁴/νᵢ
//
// Source: Welch–Satterthwaite, JCGM 100:2008, equation G.2b.
func (b Budget) DoF() float64 {
	below := 0.0
	for _, c := range b.independent() {
		below += c.weak
	}
	u := b.Std()
	if below == 0 {
		return math.Inf(1)
	}
	return u * u * u * u / below
}

// share is the contribution of one independent term or of one correlated group, and its part
// of the Welch–Satterthwaite sum.
type share struct{ share, weak float64 }

func (b Budget) independent() []share {
	var all []share
	groups := map[string]int{}
	for _, t := range b {
		c := t.Contribution()
		s := share{share: c}
		if t.DoF > 0 {
			s.weak = c * c * c * c / t.DoF
		}
		at, known := groups[t.Group]
		if t.Group == "" || !known {
			groups[t.Group] = len(all)
			all = append(all, s)
			continue
		}
		all[at].share += s.share
		all[at].weak += s.weak
	}
	return all
}

// Scaled returns the budget of the value multiplied by factor (which has no unit).
func (b Budget) Scaled(factor float64) Budget {
	out := make(Budget, len(b))
	for i, t := range b {
		c := factor * t.Contribution()
		out[i] = Term{Name: t.Name, Std: math.Abs(c), Sensitivity: math.Copysign(1, c), DoF: t.DoF, Group: t.Group}
	}
	return out
}

// Rectangular returns the standard uncertainty of a value known only to lie within ±half, in
// half's unit: half/√3. Source: JCGM 100:2008, 4.3.7.
func Rectangular(half float64) float64 { return half / math.Sqrt(3) }

// UShaped returns the standard uncertainty of a value that swings like a sine between ±half,
// in half's unit: half/√2. Source: JCGM 100:2008, H.1.3.4.
func UShaped(half float64) float64 { return half / math.Sqrt2 }

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
	Name         string   `json:"name"`
	Std          float64  `json:"std"`
	Sensitivity  float64  `json:"sensitivity"`
	Contribution float64  `json:"contribution"`
	DoF          *float64 `json:"dof,omitempty"`
	Group        string   `json:"group,omitempty"`
}

// MarshalJSON writes the term with its contribution worked out; infinite degrees of freedom
// are left out.
func (t Term) MarshalJSON() ([]byte, error) {
	out := termJSON{Name: t.Name, Std: t.Std, Sensitivity: t.Sensitivity, Contribution: math.Abs(t.Contribution()), Group: t.Group}
	if out.Sensitivity == 0 {
		out.Sensitivity = 1
	}
	if t.DoF > 0 && !math.IsInf(t.DoF, 0) {
		out.DoF = &t.DoF
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
	if in.DoF != nil {
		t.DoF = *in.DoF
	}
	return nil
}
