package repeat

import (
	"fmt"
	"slices"
	"strings"
)

// A reference is what each subject truly is, or is taken to be: one value a subject, in a column of its own. The raters are
// then held against it and not against each other. It is taken as without error: the SD of a difference is the rater's own,
// what supposes that both err (Dahlberg's error, repeatability) is absent, and proportional bias is sought over the
// reference, not over the mean.

const referenceNote = "The reference is taken as without error: bias, SD and limits are the rater's own; what all raters together give is not said against a reference."

var referenceSources = []string{
	"Bland JM, Altman DG. Lancet 1986;327:307–310 (limits of agreement).",
	"Krouwer JS. Stat Med 2008;27:778–780 (difference over a reference).",
	"Carkeet A. Optom Vis Sci 2015;92:e71–e80 (exact intervals of the limits).",
	"Lin LI. Biometrics 1989;45:255–268; corrected 2000;56:324–325 (concordance).",
	"Kottner J et al. J Clin Epidemiol 2011;64:96–106 (reporting).",
}

// truth takes the reference of a row's subject, which must say the same in all its rows.
func (p *parser) truth(cell string, of Reading) {
	name := p.columns.Reference
	v, reason := number(strings.TrimSpace(cell))
	if reason != "" {
		p.fault(of.Line, name, reason)
		return
	}
	if of.Rater == name {
		p.fault(of.Line, p.columns.Rater, fmt.Sprintf("a rater is called %q, as the reference: rename one", name))
		return
	}
	was, known := p.truths[of.Subject]
	if known && was.Value != v {
		p.fault(of.Line, name, fmt.Sprintf("%g, but the same subject has %g on line %d: a subject has one reference", v, was.Value, was.Line))
		return
	}
	if !known {
		p.truths[of.Subject] = Reading{Subject: of.Subject, Rater: name, Value: v, Line: of.Line, Cluster: of.Cluster}
	}
}

// addTruths puts the references behind the readings, in the order of their rows.
func (p *parser) addTruths() {
	if len(p.table.Readings) == 0 {
		return
	}
	var all []Reading
	for _, r := range p.truths {
		all = append(all, r)
	}
	slices.SortFunc(all, func(a, b Reading) int { return a.Line - b.Line })
	p.table.Readings = append(p.table.Readings, all...)
}

// withReference asks for the reference as one of the raters, and for no equal table: it is read once.
func (o Options) withReference(name string) Options {
	if len(o.Raters) > 0 {
		o.Raters = append(slices.Clone(o.Raters), name)
	}
	o.RequireBalanced = false
	return o
}

// compareToReference takes the figures of each rater, and of each against the reference.
func compareToReference(g *grid, s settings) *Result {
	r := &Result{Reference: s.reference, Design: g.Design, Overall: s.noOverall()}
	at := slices.Index(g.Raters, s.reference)
	r.Design.Raters = slices.Delete(slices.Clone(g.Raters), at, at+1)
	for i := range g.cell {
		r.Design.Readings -= len(g.cell[i][at])
	}
	for j := range g.Raters {
		if j != at {
			r.Raters = append(r.Raters, newRater(g, j, s))
			r.Pairs = append(r.Pairs, newPair(g, j, at, s))
		}
	}
	return r
}

// noOverall is what all raters together give where nothing is said of that: every figure absent.
func (s settings) noOverall() Overall {
	none := absent(s.unit, "held against a reference")
	return Overall{WithinSD: none, RandomSD: none, Repeat: none, SEM: none, SEMSame: none, Reproducibility: none, MDC: none, MDCSame: none}
}

// oneSided takes away what supposes that both of a pair err.
func (p *Pair) oneSided(s settings) {
	for _, e := range []*Estimate{&p.WithinSD, &p.Dahlberg, &p.RandomSD, &p.Repeat} {
		*e = absent(s.unit, "the reference is taken as without error")
	}
}

// referenceText is the method of a comparison with a reference.
func (r *Result) referenceText() string {
	limits := fmt.Sprintf("mean difference ± %g SD", r.LimitsFactor)
	if r.compares(singles) {
		limits += ", with exact intervals from the noncentral t distribution"
	}
	if r.compares(replicateMeans) {
		limits += ", of single readings where a rater read a subject more than once, with approximate intervals"
	}
	return fmt.Sprintf("each was held against the reference %s, which is taken as without error. Differences are reading minus reference. "+
		"The mean difference is given with a t interval and tested against zero by a paired t test. Limits of agreement are the %s. "+
		"Proportional bias was tested by regressing the difference on the reference. Lin's concordance is given with an interval through Fisher's z. "+
		"All intervals are at %s; they suppose normal errors of the same size over the whole range, which the plots are there to judge.", line(r.Reference), limits, r.level())
}
