package measure

import (
	"fmt"
	"slices"
)

// What looks wrong about a plan, and what the person who made it said of it.

// doubt is something about a plan that may be wrong: an error, or a caution with what it does to verdicts.
type doubt struct {
	Caution
	structure string   // name of the structure it is about; empty: the site or the case
	also      []string // names of structures whose places hang on that one's
	spreads   bool     // to the sites where the image does not show the structure at its mark
	confirm   string   // the word of `confirmed` that says it was looked at; empty: it cannot be
	refuse    bool     // an error unless confirmed
	mark      mark
	remedy    string
}

// about reports whether the doubt concerns what is said of the structure called to.
func (d doubt) about(to string) bool {
	return d.structure == "" || d.structure == to || slices.Contains(d.also, to)
}

// The words of a site's `confirmed`.
const (
	confirmPlace    = "place"
	confirmOrder    = "order"
	confirmSide     = "side"
	confirmPlatform = "platform"
	confirmAxis     = "axis"
)

// confirmWords are all of them; numberWords those about tooth numbers, for which no pixel is needed.
var (
	confirmWords = []string{confirmPlace, confirmOrder, confirmSide, confirmPlatform, confirmAxis}
	numberWords  = confirmWords[:3]
)

// siteDoubt makes a doubt about the i-th site.
func (p *Plan) siteDoubt(i int, key, code string, severity Severity, format string, args ...any) doubt {
	at := p.markAt(fmt.Sprintf("sites[%d]%s", i, key))
	if at.line == 0 {
		at.line, at.column = p.Sites[i].Line, 1
	}
	return doubt{Caution: Cautionf(code, severity, format, args...).at(p.Sites[i].ID), mark: at}
}

// structureDoubt makes a doubt about the i-th structure.
func (p *Plan) structureDoubt(i int, key, code string, severity Severity, format string, args ...any) doubt {
	d := doubt{Caution: Cautionf(code, severity, format, args...), structure: p.Structures[i].Name}
	d.mark = p.markAt(fmt.Sprintf("structures[%d]%s", i, key))
	return d
}

// resolve turns doubts into errors and into what is left of them, each once: a confirmed doubt is a caution
// that says what was accepted. silenced, if not nil, is told which confirmations silenced something.
func (p *Plan) resolve(doubts []doubt, f *faults, silenced map[confirmation]bool) []doubt {
	var left []doubt
	for _, d := range doubts {
		switch {
		case p.confirms(d):
			d.Text = fmt.Sprintf("%s confirmed by the plan: %s", d.confirm, d.Text)
			d.Code, d.Severity, d.refuse = "confirmed_"+d.confirm, SeverityCaution, false
			silenced[confirmation{d.Site, d.confirm}] = true
		case d.refuse:
			where := ""
			if d.Site != "" {
				where = siteName(d.Site)
			}
			f.add(d.mark, where, d.remedy, "%s", d.Text)
			continue
		}
		if !slices.ContainsFunc(left, func(o doubt) bool { return o.Caution == d.Caution }) {
			left = append(left, d)
		}
	}
	return left
}

// confirmation is one word of a site's `confirmed`.
type confirmation struct{ site, word string }

// confirms reports whether the doubt's site confirms it. A wrong side can be confirmed only where the
// plan says how the patient lies.
func (p *Plan) confirms(d doubt) bool {
	if d.confirm == "" || d.confirm == confirmSide && p.OrientationNote == "" {
		return false
	}
	i := slices.IndexFunc(p.Sites, func(s Site) bool { return s.ID == d.Site })
	return i >= 0 && slices.Contains(p.Sites[i].Confirmed, d.confirm)
}

// idle returns a caution for every confirmation by one of the words asked that silenced nothing: what was
// confirmed is not there.
func (p *Plan) idle(asked []string, silenced map[confirmation]bool) []doubt {
	var out []doubt
	for i, s := range p.Sites {
		for _, word := range s.Confirmed {
			if slices.Contains(asked, word) && !silenced[confirmation{s.ID, word}] {
				out = append(out, p.siteDoubt(i, ".confirmed", "confirmed_nothing", SeverityCaution, "confirmed: [%s] silences nothing: nothing was found wrong there", word))
			}
		}
	}
	return out
}
