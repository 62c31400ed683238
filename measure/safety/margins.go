package safety

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Names of the margins that belong to the bone and to no structure.
const (
	BuccalPlate  = "buccal_plate"
	LingualPlate = "lingual_plate"
	BasalCortex  = "basal_cortex"
)

// defaults is the table of margins, in the order they are printed. Mark says how far the
// source was verified: "abstract read", "second-hand", "from memory", "no source".
// Every number may be changed in the plan; none of them has placing error added to it, for the
// literature's margins already contain it. Source of the table: docs/method.md, 5.
var defaults = []struct {
	name string
	Rule
}{
	{string(Canal), Rule{2.0, "Fokas et al. 2018 (systematic review); Tahmaseb et al. 2018", "abstracts read"}},
	{string(MentalForamen), Rule{2.0, "Greenstein & Tarnow 2006 (number from memory)", "from memory"}},
	{string(AnteriorLoop), Rule{2.0, "from its marked mesial end: J Oral Implantol 2015;41:632 (no fixed distance is safe); the 2.0 is our choice", "abstract read; the number is our choice"}},
	{string(Root), Rule{1.5, "Esposito 1993; Buser 2004 (second-hand)", "second-hand"}},
	{string(ImplantBody), Rule{3.0, "Tarnow, Cho & Wallace 2000", "abstract read"}},
	{BuccalPlate, Rule{1.5, "Juodzbalys & Kubilius 2013 (width ≥ diameter + 3 mm)", "table read"}},
	{LingualPlate, Rule{1.5, "Juodzbalys & Kubilius 2013 (width ≥ diameter + 3 mm)", "table read"}},
	{string(Sinus), Rule{1.0, "common practice, no source", "no source"}},
	{string(NasalFloor), Rule{1.0, "common practice, no source", "no source"}},
	{BasalCortex, Rule{1.0, "common practice, no source", "no source"}},
	{string(IncisiveCanal), Rule{1.5, "our choice, no consensus found", "no source"}},
}

// Rules are the margins in force, by kind of structure or [BuccalPlate], [LingualPlate],
// [BasalCortex].
type Rules map[string]Rule

// Margins returns the default margins. There is none for [Other].
func Margins() Rules {
	r := Rules{}
	for _, d := range defaults {
		r[d.name] = d.Rule
	}
	return r
}

// RuleNames returns the names of all margins in the order they are printed.
func RuleNames() []string {
	var names []string
	for _, d := range defaults {
		names = append(names, d.name)
	}
	return names
}

// With returns the rules with overrides in mm by name; source is the user's word for where
// they come from. It returns an error for a name no margin has (but "other") and for a margin
// that is not a finite number ≥ 0.
func (r Rules) With(overrides map[string]float64, source string) (Rules, error) {
	if source == "" {
		source = "set in the plan, no source given"
	}
	out := Rules{}
	for k, v := range r {
		out[k] = v
	}
	names := RuleNames()
	for name, m := range overrides {
		if !slices.Contains(names, name) && name != string(Other) {
			return nil, fmt.Errorf("safety: no margin is called %q; there are: %s, %s", name, strings.Join(names, ", "), Other)
		}
		if !(m >= 0) || math.IsInf(m, 0) {
			return nil, fmt.Errorf("safety: margin %q is %g mm, want a number ≥ 0", name, m)
		}
		out[name] = Rule{m, source, "set in the plan"}
	}
	return out, nil
}

// Changed says whether the rule of this name differs from the default.
func (r Rules) Changed(name string) bool { return r[name] != Margins()[name] }

// For returns the rule that holds for a structure: its own margin, else the rule of its kind.
// ok is false where no margin applies.
func (r Rules) For(s *Structure) (Rule, bool) {
	if s.Margin != nil {
		return Rule{*s.Margin, "set in the plan for this structure", "set in the plan"}, true
	}
	rule, ok := r[string(s.Kind)]
	return rule, ok
}
