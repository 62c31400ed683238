package measure

import (
	"cmp"
	"slices"
	"strings"

	"ridgerule/measure/cells"
	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
)

// What the doubts about a plan do to the verdicts that rest on it.

// applyDoubts limits the verdicts that the doubts are about, and adds a row to each site that is not
// assessed as a whole.
func (c *run) applyDoubts(sites []*site, arch []ArchRow, doubts []doubt) {
	for _, s := range sites {
		for _, d := range doubts {
			if d.Severity == SeverityUncertain || d.Severity == SeverityNotAssessed {
				s.doubt(d)
			}
		}
	}
	for i := range arch {
		for _, d := range doubts {
			named := slices.Contains(strings.Split(arch[i].Sites, "|"), d.Site)
			if d.Structure == "" && (d.Site == "" || named) {
				limitRow(&arch[i].Row, d)
			}
		}
	}
}

// here returns what a doubt means at this site; false: nothing.
func (s *site) here(d doubt) (doubt, bool) {
	if d.Site == s.plan.ID {
		return d, true
	}
	if d.Spreads && slices.Contains(s.shown, d.Structure) {
		return d, false
	}
	if d.Site != "" {
		d.Text, d.Site, d.Severity = "at site "+d.Site+" "+d.Text, "", SeverityUncertain
		return d, d.Spreads
	}
	return d, true
}

// doubt limits what the doubt is about at this site.
func (s *site) doubt(d doubt) {
	d, any := s.here(d)
	if !any {
		return
	}
	if d.Structure != "" && d.About(s.height.name) {
		s.doubtHeight(d)
	}
	said := s.limitRows(d)
	for i := range s.out.Findings {
		if f := &s.out.Findings[i]; d.About(f.To) {
			f.Verdict = limited(f.Verdict, d.Severity)
		}
	}
	for i := range s.out.SizesTried {
		limitRung(&s.out.SizesTried[i], d)
	}
	if d.Site != "" && d.Severity == SeverityNotAssessed && !(d.Structure != "" && said) {
		row := newRow(quantity.Clearance, cmp.Or(d.Structure, quantity.InWords(d.Code)), d.Text)
		row.Verdict = safety.NotAssessed
		s.add(row)
	}
}

// limitRows limits the rows that the doubt is about; said: one of them has a margin.
func (s *site) limitRows(d doubt) (said bool) {
	for i := range s.out.Rows {
		if r := &s.out.Rows[i]; d.About(r.To) {
			limitRow(r, d)
			said = said || r.Verdict != safety.NoMargin
		}
	}
	return said
}

// doubtHeight says of a height that it ends at a structure in doubt.
func (s *site) doubtHeight(d doubt) {
	for i := range s.out.Rows {
		if r := &s.out.Rows[i]; quantity.Of(r.Quantity).EndsAtLimit {
			r.Note = cells.Note(d.Text, r.Note)
		}
	}
	if d.Severity == SeverityNotAssessed {
		s.out.HeightOpen = cells.Note(d.Text, s.out.HeightOpen)
	}
}

// limited returns a verdict no better than the severity allows. What is surely not held stays so.
func limited(v safety.Verdict, by Severity) safety.Verdict {
	if v == safety.NoMargin {
		return v
	}
	return safety.Worst(v, map[Severity]safety.Verdict{SeverityUncertain: safety.Uncertain, SeverityNotAssessed: safety.NotAssessed}[by])
}

// limitRow limits a row's verdict and says why.
func limitRow(r *Row, d doubt) {
	v := limited(r.Verdict, d.Severity)
	if v == safety.NoMargin || d.Severity != SeverityUncertain && d.Severity != SeverityNotAssessed {
		return
	}
	r.Verdict = v
	if !strings.Contains(r.Note, d.Text) {
		r.Note = cells.Note(r.Note, d.Text)
	}
}

// limitRung limits the verdict of a size tried. A structure in doubt limits every size that it could
// limit: nobody knows where it is.
func limitRung(r *safety.SizeResult, d doubt) {
	concerned := d.Structure == ""
	for i := range r.Findings {
		if f := &r.Findings[i]; d.About(f.To) {
			f.Verdict = limited(f.Verdict, d.Severity)
			concerned = true
		}
	}
	if concerned && limited(r.Verdict, d.Severity) != r.Verdict {
		r.Verdict = limited(r.Verdict, d.Severity)
		r.Reason = cells.Note(r.Reason, d.Text)
	}
}
