package measure

import (
	"slices"
	"strings"

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
			if d.structure == "" && (d.Site == "" || named) {
				limitRow(&arch[i].Row, d)
			}
		}
	}
}

// doubt limits what the doubt is about at this site.
func (s *site) doubt(d doubt) {
	if d.spreads && d.Site != s.plan.ID && slices.Contains(s.shown, d.structure) {
		return
	}
	if d.Site != "" && d.Site != s.plan.ID {
		if !d.spreads {
			return
		}
		d.Text, d.Site, d.Severity = "at site "+d.Site+" "+d.Text, "", SeverityUncertain
	}
	said := false
	if d.structure != "" && d.about(s.height.name) {
		s.doubtHeight(d)
	}
	for i := range s.out.Rows {
		if r := &s.out.Rows[i]; d.about(r.To) {
			limitRow(r, d)
			said = said || r.Verdict != safety.NoMargin
		}
	}
	for i := range s.out.Findings {
		if f := &s.out.Findings[i]; d.about(f.To) {
			f.Verdict = limited(f.Verdict, d.Severity)
		}
	}
	for i := range s.out.Ladder {
		limitRung(&s.out.Ladder[i], d)
	}
	if d.Site == "" || d.Severity != SeverityNotAssessed || d.structure != "" && said {
		return
	}
	to := d.structure
	if to == "" {
		to = spaced(d.Code)
	}
	row := newRow(quantity.Clearance, to, d.Text)
	row.Verdict = safety.NotAssessed
	s.add(row)
}

// doubtHeight says of a height that it ends at a structure in doubt.
func (s *site) doubtHeight(d doubt) {
	for i := range s.out.Rows {
		if r := &s.out.Rows[i]; quantity.Of(r.Quantity).EndsAtLimit {
			r.Note = joined(d.Text, r.Note)
		}
	}
	if d.Severity == SeverityNotAssessed {
		s.out.HeightOpen = joined(d.Text, s.out.HeightOpen)
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
		r.Note = joined(r.Note, d.Text)
	}
}

// limitRung limits the verdict of a size tried. A structure in doubt limits every size that it could
// limit: nobody knows where it is.
func limitRung(r *safety.Rung, d doubt) {
	concerned := d.structure == ""
	for i := range r.Findings {
		if f := &r.Findings[i]; d.about(f.To) {
			f.Verdict = limited(f.Verdict, d.Severity)
			concerned = true
		}
	}
	if concerned && limited(r.Verdict, d.Severity) != r.Verdict {
		r.Verdict = limited(r.Verdict, d.Severity)
		r.Reason = joined(r.Reason, d.Text)
	}
}
