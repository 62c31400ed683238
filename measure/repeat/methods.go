package repeat

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"
)

// WriteMethods writes text a paper can start from (Markdown): how agreement was analysed, what came
// out, what GRRAS asks and the table answers or leaves to the author, and the sources.
func (r *Result) WriteMethods(w io.Writer) error {
	var b strings.Builder
	b.WriteString("# Agreement of " + r.name() + "\n\n## Methods\n\n" + r.methods() + "\n\n## Results\n\n")
	for _, p := range r.Pairs {
		b.WriteString(r.pairText(p) + "\n\n")
	}
	b.WriteString(r.overallText() + "\n")
	if len(r.Notes) > 0 {
		b.WriteString("\n## To know before reading the figures\n\n")
		for _, n := range r.Notes {
			b.WriteString("- " + line(n) + "\n")
		}
	}
	b.WriteString(r.checklistText())
	b.WriteString(r.originText())
	b.WriteString("\n## Sources\n\n")
	for _, s := range r.sources() {
		b.WriteString("- " + s + "\n")
	}
	_, err := io.WriteString(w, b.String())
	return err
}

// line keeps text of the user on one line.
func line(s string) string { return strings.Join(strings.Fields(s), " ") }

func (r *Result) name() string {
	if r.Unit == "" {
		return line(r.Value)
	}
	return fmt.Sprintf("%s (%s)", line(r.Value), line(r.Unit))
}

// level is the confidence in per cent, as text.
func (r *Result) level() string { return fmt.Sprintf("%g %%", 100*r.Confidence) }

// compares reports whether a pair that could be compared is of the kind.
func (r *Result) compares(of string) bool {
	return slices.ContainsFunc(r.Pairs, func(p Pair) bool { return p.Of == of && p.Reason == "" })
}

func (r *Result) methods() string {
	d := r.Design
	var b strings.Builder
	say := func(format string, a ...any) { fmt.Fprintf(&b, format, a...) }
	who := strings.Join(d.Raters, ", ")
	if d.Sessions {
		say("One rater measured %s in %s (%s); ", plural(d.Subjects, "subject"), plural(len(d.Raters), "session"), line(who))
	} else {
		say("%s (%s) measured %s; ", plural(len(d.Raters), "rater"), line(who), plural(d.Subjects, "subject"))
	}
	if r.Reference != "" {
		say("%s", r.referenceText())
		return b.String()
	}
	say("%s. ", r.process())
	say("Differences were taken as first minus second. The mean difference is given with a t interval and tested against zero by a paired t test. ")
	if r.compares(singles) {
		say("Limits of agreement are the mean difference ± %g SD, with exact intervals from the noncentral t distribution. ", r.LimitsFactor)
	}
	if r.compares(replicateMeans) {
		say("Where a rater read a subject more than once, means were compared, and the SD of the difference was put back to single readings before limits of agreement (mean ± %g SD, approximate intervals) were set. ", r.LimitsFactor)
	}
	say("Proportional bias was tested by regressing the difference on the mean. ")
	say("The within-subject SD comes from analysis of variance, and the repeatability coefficient is 1.96·√2 times it. ")
	say("%s", r.modelText())
	if c := r.Clusters; c != nil && c.Draws > 0 {
		say(" As the subjects are of %d clusters (%s), intervals are also given by bootstrap of whole clusters (%d draws, bias-corrected and expanded percentile interval).", c.Number, line(c.Of), c.Draws)
	}
	say(" Lin's concordance is given with an interval through Fisher's z. All intervals are at %s; they suppose normal errors of the same size over the whole range, which the plots of difference against mean are there to judge.", r.level())
	return b.String()
}

func (r *Result) modelText() string {
	sd := " SDs that hold for any raters, of whom these are a sample, have modified large-sample intervals (Graybill and Wang)."
	switch r.Design.Model {
	case TwoWay:
		if r.Design.Sessions {
			sd = " The sessions are taken as interchangeable, and the SD within subjects has a χ² interval."
		}
		return "Intraclass correlations are from the two-way table, in all six forms, with intervals from F (exact but for ICC(2,·), whose degrees of freedom are Satterthwaite's)." + sd
	case TwoWayReplicates:
		return "Variance components are from the two-way table with replicates; intraclass correlations are of the means of " + plural(r.Design.Replicates, "replicate") +
			", in all six forms, and of single readings." + sd
	case TwoWayUnequal:
		interaction := ""
		if len(r.Overall.Components) == 4 {
			interaction = " + (1 | subject:rater)"
		}
		return "As the numbers of readings are unequal, variance components are by restricted maximum likelihood (reading ~ 1 + (1 | subject) + (1 | rater)" + interaction +
			", as R's lme4 writes it), and intervals are approximate: those of the equal table that would tell as much. ICC(1,1) is one-way, with the interval of Thomas and Hultquist." + sd
	}
	return "As the numbers of readings are unequal and raters cannot be told apart, variance components are one-way, and ICC(1,1) is given with the interval of Thomas and Hultquist; forms that tell raters apart are not given."
}

// originText says by which program the figures were made, and from what.
func (r *Result) originText() string {
	var lines []string
	if r.Tool != "" {
		lines = append(lines, "Made by "+r.Tool+".")
	}
	if s := r.Source; s != nil {
		lines = append(lines, "Table: SHA-256 "+s.SHA256+".", "Subject: "+strings.Join(s.Subject, ", ")+"; value: "+s.Value+".")
		for _, c := range []struct{ what, name string }{{"Rater", s.Rater}, {"Replicate", s.Replicate}, {"Cluster", s.Cluster}, {"Reference", s.Reference}} {
			if c.name != "" {
				lines = append(lines, c.what+": "+c.name+".")
			}
		}
		var kept []string
		for _, w := range s.Where {
			kept = append(kept, w.Column+" = "+w.Value)
		}
		lines = append(lines, "Rows kept: "+cmp.Or(strings.Join(kept, " and "), "all")+".")
	}
	var b strings.Builder
	for i, l := range lines {
		if i == 0 {
			b.WriteString("\n## Where the figures come from\n\n")
		}
		b.WriteString("- " + line(l) + "\n")
	}
	return b.String()
}

// span is an estimate with its interval, in the unit of the readings.
func (r *Result) span(e Estimate, at int) string {
	if !e.Value.Known() {
		return "not known (" + e.Reason + ")"
	}
	return r.figure(e.Value, at) + r.interval(e.Interval, at)
}

func (r *Result) interval(i Interval, at int) string {
	if !i.Low.Known() || !i.High.Known() {
		return ""
	}
	return fmt.Sprintf(" (%s CI %s to %s)", r.level(), digits(i.Low, at), digits(i.High, at))
}

func (r *Result) pairText(p Pair) string {
	if p.Reason != "" {
		return fmt.Sprintf("%s and %s: not compared, as %s.", line(p.First), line(p.Second), p.Reason)
	}
	at := decimals(float64(p.SD.Value))
	limit := func(l Limit) string {
		if l.Reason != "" {
			return r.figure(l.Value, at) + r.interval(l.Approx, at)
		}
		return r.figure(l.Value, at) + r.interval(l.Exact, at)
	}
	var b strings.Builder
	say := func(format string, a ...any) { fmt.Fprintf(&b, format, a...) }
	say("%s minus %s, %s, %s: mean difference %s, %s; limits of agreement %s and %s.", line(p.First), line(p.Second), plural(p.Subjects, "subject"), p.Of,
		r.span(p.Bias, at), chance(p.BiasTest), limit(p.LowerLimit), limit(p.UpperLimit))
	if p.Dahlberg.Value.Known() {
		say(" Within-subject SD (Dahlberg's error) %s; repeatability coefficient %s.", r.span(p.WithinSD, at), r.span(p.Repeat, at))
	}
	if c := r.Clusters; c != nil && c.Draws > 0 {
		by := func(statistic string) string {
			i := c.of(row{statistic: statistic, of: p.First + " − " + p.Second})
			return digits(i.Low, at) + " to " + digits(i.High, at)
		}
		say(" By whole clusters (%s CI): mean difference %s, limits of agreement %s and %s.", r.level(), by("bias"), by("lower_limit"), by("upper_limit"))
	}
	say(" Slope of difference on mean %s, %s. Lin's concordance %s.", pure(r, p.Slope), chance(p.SlopeTest), pure(r, p.Concordance))
	return b.String()
}

func pure(r *Result, e Estimate) string {
	if !e.Value.Known() {
		return "not known (" + e.Reason + ")"
	}
	return digits(e.Value, 3) + r.interval(e.Interval, 3)
}

// chance is a p value as papers print it.
func chance(t Test) string {
	switch {
	case !t.P.Known():
		return "no test (the differences do not vary)"
	case t.P < 0.001:
		return "p < 0.001"
	}
	return "p = " + digits(t.P, 3)
}

func (r *Result) overallText() string {
	if r.Reference != "" {
		return referenceNote
	}
	o := r.Overall
	at := decimals(float64(o.WithinSD.Value))
	var b strings.Builder
	say := func(format string, a ...any) { fmt.Fprintf(&b, format, a...) }
	say("All together: within-subject SD %s (%s); repeatability coefficient %s. ", r.span(o.WithinSD, at), o.Meaning, r.span(o.Repeat, at))
	say("Standard error of measurement %s; reproducibility coefficient %s; minimal detectable change %s. ",
		r.span(o.SEM, at), r.span(o.Reproducibility, at), r.span(o.MDC, at))
	var parts []string
	for _, c := range o.Components {
		parts = append(parts, c.Of+" "+r.figure(c.SD, at))
	}
	say("SD by source: %s", strings.Join(parts, ", "))
	of := ""
	for _, c := range o.ICC {
		before := "; "
		if c.Of != of {
			of, before = c.Of, ". Intraclass correlations of "+c.Of+": "
		}
		say("%s%s %s", before, c.Form, pure(r, c.Estimate))
	}
	say(".")
	for _, x := range r.Raters {
		if x.ICC != nil {
			say(" Replicates by %s: within-subject SD %s, repeatability coefficient %s, ICC(1,1) %s.", line(x.Name), r.span(x.WithinSD, at), r.span(x.Repeat, at), pure(r, x.ICC.Estimate))
		}
	}
	return b.String()
}

func (r *Result) checklistText() string {
	var b strings.Builder
	b.WriteString("\n## What GRRAS asks\n\n| item | asked | from the table | for the author |\n| --- | --- | --- | --- |\n")
	cell := func(s string) string { return strings.ReplaceAll(line(s), "|", `\|`) }
	for _, i := range r.Checklist() {
		fmt.Fprintf(&b, "| %d | %s | %s | %s |\n", i.Number, i.Asks, cell(i.Data), cell(i.Author))
	}
	return b.String()
}

// sources are the papers behind the figures that were given.
func (r *Result) sources() []string {
	if r.Reference != "" {
		return referenceSources
	}
	out := []string{
		"Bland JM, Altman DG. Lancet 1986;327:307–310 (limits of agreement, repeatability).",
		"Shrout PE, Fleiss JL. Psychol Bull 1979;86:420–428 (intraclass correlation).",
		"McGraw KO, Wong SP. Psychol Methods 1996;1:30–46 (intraclass correlation).",
		"Lin LI. Biometrics 1989;45:255–268; corrected 2000;56:324–325 (concordance).",
		"Kottner J et al. J Clin Epidemiol 2011;64:96–106 (reporting).",
	}
	if r.compares(singles) {
		out = append(out, "Carkeet A. Optom Vis Sci 2015;92:e71–e80 (exact intervals of the limits).")
	}
	if r.compares(replicateMeans) {
		out = append(out, "Bland JM, Altman DG. Stat Methods Med Res 1999;8:135–160 (limits with replicates).")
	}
	if !r.Design.Sessions && r.Design.Model != OneWayUnequal {
		out = append(out, "Graybill FA, Wang CM. J Am Stat Assoc 1980;75:869–873 (intervals of sums of variances).")
	}
	if r.Design.Model == TwoWayUnequal {
		out = append(out, "Searle SR, Casella G, McCulloch CE. Variance Components, 1992 (restricted maximum likelihood).")
	}
	if r.Design.Model == TwoWayUnequal || r.Design.Model == OneWayUnequal {
		out = append(out, "Thomas JD, Hultquist RA. Ann Stat 1978;6:582–587 (interval with unequal numbers).")
	}
	if r.Clusters != nil && r.Clusters.Draws > 0 {
		out = append(out, "Hesterberg TC. Am Stat 2015;69:371–386 (bootstrap of whole clusters, expanded interval).")
	}
	return out
}
