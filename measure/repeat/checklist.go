package repeat

import (
	"fmt"
	"math"
	"strings"
)

// Item is one thing a report of agreement should say: what the table answers, and what is left to the
// author. Either may be empty, never both.
type Item struct {
	Number int    `json:"number"` // in GRRAS
	Asks   string `json:"asks"`
	Data   string `json:"data"`
	Author string `json:"author"`
}

// Checklist is the fifteen items of GRRAS, filled as far as the table goes.
//
// Source: Kottner J et al. Guidelines for Reporting Reliability and Agreement Studies (GRRAS).
// J Clin Epidemiol 2011;64:96–106; the items in our words.
func (r *Result) Checklist() []Item {
	d := r.Design
	kind := "agreement between raters"
	if d.Sessions {
		kind = "one rater's agreement over repeats"
	}
	return []Item{
		{1, "Title or abstract names the kind of study", kind, "the words in your title or abstract"},
		{2, "What measured", "", "device, settings, software and its version, how a reading is made"},
		{3, "Whose measurements: the population of subjects", "", "where the subjects come from"},
		{4, "The population of raters", fmt.Sprintf("%s in the table", plural(len(d.Raters), r.rater())), "training and experience, of whom they are a sample"},
		{5, "What is known, and why the study", "", "earlier figures for this measurement"},
		{6, "How many subjects, raters and replicates, and how that was settled", r.numbers(), "how the numbers were chosen"},
		{7, "How subjects and raters were drawn", "", "consecutive, random or by convenience"},
		{8, "How the readings went", r.process(), "time between repeats, order, what the raters knew"},
		{9, "Whether readings were independent", r.identical(), "who saw whose readings; a table cannot show it"},
		{10, "The statistics", "the paragraph on methods above", "why these figures suit your question"},
		{11, "Numbers really measured", r.measured(), "reasons for what is missing"},
		{12, "What subjects and raters were like", r.ranges(), "age, sex, jaw regions, tooth status as far as they matter"},
		{13, "Estimates with their uncertainty", "the paragraph on results above", ""},
		{14, "What the size of the error means in practice", r.meaning(), "the difference that would change a decision, set before looking"},
		{15, "Detailed results", "every figure in the CSV and JSON, and the plots", "the table of readings, where it may be shared"},
	}
}

// rater is what plays the rater: a rater, or a session of one.
func (r *Result) rater() string {
	if r.Design.Sessions {
		return "session"
	}
	return "rater"
}

func (r *Result) numbers() string {
	d := r.Design
	s := fmt.Sprintf("%s, %s", plural(d.Subjects, "subject"), plural(len(d.Raters), r.rater()))
	if d.Replicates > 1 {
		s += fmt.Sprintf(", %d replicates each", d.Replicates)
	}
	return s
}

func (r *Result) process() string {
	switch d := r.Design; {
	case r.Reference != "":
		return "each rater was held against the reference " + r.Reference + ", known beforehand"
	case d.Model == OneWayUnequal || d.Model == TwoWayUnequal:
		return "not every subject was read equally often by every " + r.rater()
	case d.Model == TwoWayReplicates:
		return fmt.Sprintf("every rater read every subject %d times", d.Replicates)
	case d.Sessions:
		return "the one rater read every subject once in every session"
	}
	return "every rater read every subject once"
}

// identical counts the pairs of readings that are the same to the last digit: many of them in a finely
// graduated measurement are a sign that one was copied from the other.
func (r *Result) identical() string {
	same, all := 0, 0
	for _, p := range r.Pairs {
		for i := range p.x {
			all++
			if p.x[i] == p.y[i] {
				same++
			}
		}
	}
	return fmt.Sprintf("%d of %d comparisons are equal to the last digit", same, all)
}

func (r *Result) measured() string {
	d := r.Design
	s := fmt.Sprintf("%s of %s by %s", plural(d.Readings, "reading"), plural(d.Subjects, "subject"), plural(len(d.Raters), r.rater()))
	if d.EmptyCells > 0 {
		s += fmt.Sprintf("; no reading in %d of %d places", d.EmptyCells, d.Subjects*len(d.Raters))
	}
	if d.Skipped > 0 {
		s += fmt.Sprintf("; %s without a number left out", plural(d.Skipped, "row"))
	}
	if d.LeftOut > 0 {
		s += fmt.Sprintf("; %s by other raters left out", plural(d.LeftOut, "reading"))
	}
	return s
}

func (r *Result) ranges() string {
	var out []string
	for _, x := range r.Raters {
		at := decimals(float64(x.SD))
		out = append(out, fmt.Sprintf("%s: mean %s, SD %s", x.Name, r.figure(x.Mean, at), r.figure(x.SD, at)))
	}
	return strings.Join(out, "; ")
}

func (r *Result) meaning() string {
	rc := r.Overall.Repeat.Value
	if !rc.Known() {
		return ""
	}
	return fmt.Sprintf("two %s lie within %s of each other 19 times in 20", r.Overall.Meaning, r.figure(rc, decimals(float64(rc))))
}

// decimals is how many decimals give a spread two significant digits.
func decimals(spread float64) int {
	if !(spread > 0) || math.IsInf(spread, 0) {
		return 2
	}
	return min(max(1-int(math.Floor(math.Log10(spread))), 0), 12)
}

// figure is a number with its unit, the minus sign as printers set it.
func (r *Result) figure(x Number, decimals int) string {
	return strings.TrimSpace(digits(x, decimals) + " " + r.Unit)
}

func digits(x Number, decimals int) string {
	if !x.Known() {
		return "not known"
	}
	s := fmt.Sprintf("%.*f", decimals, float64(x))
	if strings.Trim(s, "-0.") == "" {
		s = strings.TrimPrefix(s, "-") // no minus before a zero
	}
	return strings.Replace(s, "-", "−", 1)
}
