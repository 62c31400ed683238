package report

import (
	"cmp"
	"slices"
	"strings"

	"ridgerule/measure"
)

// severities is the order in which cautions are read: first what changes a verdict.
var severities = []measure.Severity{measure.SeverityNotAssessed, measure.SeverityUncertain, measure.SeverityCaution, measure.SeverityNote}

// cautionView is a caution as every medium says it.
type cautionView struct {
	Text  string // a sentence: what it does to verdicts, the site, what is the matter
	Grave bool   // it changes a verdict
	Note  bool   // no alarm: last, and in smaller letters
}

// cautionsOf returns the result's cautions in the order in which they are read.
func cautionsOf(r *measure.Result) []cautionView {
	all := slices.Clone(r.Cautions)
	slices.SortStableFunc(all, func(a, b measure.Caution) int {
		return cmp.Compare(slices.Index(severities, a.Severity), slices.Index(severities, b.Severity))
	})
	return each(all, viewOfCaution)
}

func viewOfCaution(c measure.Caution) cautionView {
	v := cautionView{Text: c.Line(), Note: c.Severity == measure.SeverityNote}
	if c.Severity == measure.SeverityNotAssessed || c.Severity == measure.SeverityUncertain {
		v.Text, v.Grave = initial(string(c.Severity), strings.ToUpper)+": "+v.Text, true
	}
	v.Text += "."
	return v
}

// cautionsAt returns the cautions about one site.
func cautionsAt(r *measure.Result, site string) []cautionView {
	at := *r
	at.Cautions = slices.DeleteFunc(slices.Clone(r.Cautions), func(c measure.Caution) bool { return c.Site != site })
	return cautionsOf(&at)
}
