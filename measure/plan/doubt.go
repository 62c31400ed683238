package plan

import (
	"fmt"
	"slices"
)

// What looks wrong about a plan, and what the person who made it said of it.

// Doubt is something about a plan that may be wrong: an error, or a caution with what it does to verdicts.
type Doubt struct {
	Caution
	Structure string   // name of the structure it is about; empty: the site or the case
	Also      []string // names of structures whose places hang on that one's
	Spreads   bool     // to the sites where the image does not show the structure at its mark
	Confirm   string   // the word of `confirmed` that says it was looked at; empty: it cannot be
	refuse    bool     // an error unless confirmed
	path      string   // of the value to blame: "sites[2].tooth"
	remedy    string
}

// At returns the doubt as one about a site.
func (d Doubt) At(site string) Doubt {
	d.Site = site
	return d
}

// About reports whether the doubt concerns what is said of the structure called to.
func (d Doubt) About(to string) bool {
	return d.Structure == "" || d.Structure == to || slices.Contains(d.Also, to)
}

// The words of a site's `confirmed`.
const (
	confirmPlace    = "place"
	confirmOrder    = "order"
	confirmSide     = "side"
	ConfirmPlatform = "platform"
	confirmAxis     = "axis"
)

// confirmWords are all of them; numberWords those about tooth numbers, for which no pixel is needed.
var (
	confirmWords = []string{confirmPlace, confirmOrder, confirmSide, ConfirmPlatform, confirmAxis}
	numberWords  = confirmWords[:3]
)

// SiteDoubt makes a doubt about the i-th site.
func (p *Placed) SiteDoubt(i int, key, code string, severity Severity, format string, args ...any) Doubt {
	return Doubt{Caution: Cautionf(code, severity, format, args...).At(p.Sites[i].ID), path: sitePath(i) + key}
}

// StructureDoubt makes a doubt about the i-th structure.
func (p *Placed) StructureDoubt(i int, key, code string, severity Severity, format string, args ...any) Doubt {
	return Doubt{Caution: Cautionf(code, severity, format, args...), Structure: p.Structures[i].Name, path: structurePath(i) + key}
}

// Doubts gathers what looks wrong about one plan, each thing once, and which of the plan's confirmations
// met something.
type Doubts struct {
	plan *Placed
	all  []Doubt
	met  map[confirmation]bool
}

// All returns the doubts gathered, in order; those that the plan confirms say what was accepted.
func (d *Doubts) All() []Doubt { return d.all }

// Cautions returns the doubts gathered as what a result carries.
func (d *Doubts) Cautions() []Caution {
	var out []Caution
	for _, one := range d.all {
		out = append(out, one.Caution)
	}
	return out
}

// Add gathers doubts. A confirmed one becomes a caution that says what was accepted; the error is an
// [Errors] of those that no plan may have.
func (d *Doubts) Add(doubts ...Doubt) error {
	f := &faults{}
	d.addInto(f, doubts)
	return f.err()
}

func (d *Doubts) addInto(f *faults, doubts []Doubt) {
	for _, one := range doubts {
		switch {
		case d.plan.confirms(one):
			one.Text = fmt.Sprintf("%s confirmed by the plan: %s", one.Confirm, one.Text)
			one.Code, one.Severity, one.refuse = "confirmed_"+one.Confirm, SeverityCaution, false
			d.met[confirmation{one.Site, one.Confirm}] = true
		case one.refuse:
			where := ""
			if one.Site != "" {
				where = siteName(one.Site)
			}
			f.add(d.plan.source.Position(one.path), where, one.remedy, "%s", one.Text)
			continue
		}
		if !slices.ContainsFunc(d.all, func(o Doubt) bool { return o.Caution == one.Caution }) {
			d.all = append(d.all, one)
		}
	}
}

// AddIdle adds a caution for every confirmation that met nothing: what was confirmed is not there. Without
// the image, only those about tooth numbers can be told.
func (d *Doubts) AddIdle(image bool) {
	asked := numberWords
	if image {
		asked = confirmWords
	}
	for i, s := range d.plan.Sites {
		for _, word := range s.Confirmed {
			if slices.Contains(asked, word) && !d.met[confirmation{s.ID, word}] {
				_ = d.Add(d.plan.SiteDoubt(i, ".confirmed", "confirmed_nothing", SeverityCaution, "confirmed: [%s] silences nothing: nothing was found wrong there", word))
			}
		}
	}
}

// confirmation is one word of a site's `confirmed`.
type confirmation struct{ site, word string }

// confirms reports whether the doubt's site confirms it. A wrong side can be confirmed only where the
// plan says how the patient lies.
func (p *Placed) confirms(d Doubt) bool {
	if d.Confirm == "" || d.Confirm == confirmSide && p.OrientationNote == "" {
		return false
	}
	i := slices.IndexFunc(p.Sites, func(s Site) bool { return s.ID == d.Site })
	return i >= 0 && slices.Contains(p.Sites[i].Confirmed, d.Confirm)
}
