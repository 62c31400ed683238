package measure

import (
	"cmp"
	"math"
	"slices"

	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
)

// What is said first of a site: overlaps, then every structure nearer than twice its margin whatever
// the verdicts are, then what was not assessed, then the bone beside the implant.

// rank is a row's place among the rows of its site, first what a reader must not miss.
type rank int

const (
	rankOverlap     rank = iota // bodies that overlap, an implant that leaves the bone
	rankNear                    // a structure nearer than twice its margin
	rankNotAssessed             // a margin that was not judged
	rankClearance               // any other distance to a structure
	rankBone                    // bone beside the implant
	rankRest                    // everything else, in the order it was measured
)

// nearBy is how many margins away a structure still is said whatever the site's verdict is. Our choice.
const nearBy = 2.0

func rankOf(r Row) rank {
	switch {
	case r.Overlap():
		return rankOverlap
	case r.Quantity == quantity.Clearance && r.Value != nil && r.Margin != nil && *r.Value < nearBy**r.Margin:
		return rankNear
	case r.Verdict == safety.NotAssessed:
		return rankNotAssessed
	case r.Quantity == quantity.Clearance:
		return rankClearance
	case quantity.Of(r.Quantity).BesideImplant():
		return rankBone
	}
	return rankRest
}

// Overlap reports whether the row is an overlap of two bodies, or an implant that leaves the bone: not
// held whatever the margin is.
func (r Row) Overlap() bool {
	return quantity.Of(r.Quantity).Overlap && r.Verdict == safety.NotHeld && (r.Value == nil || *r.Value < 0)
}

// ordered returns the rows with what must not be missed first, the least reserve first among equals.
func ordered(rows []Row) []Row {
	out := slices.Clone(rows)
	slices.SortStableFunc(out, func(a, b Row) int {
		x, y := rankOf(a), rankOf(b)
		if x != y || x > rankClearance {
			return cmp.Compare(x, y)
		}
		return cmp.Compare(a.Reserve(), b.Reserve())
	})
	return out
}

// Reserve is what the row has left over its margin, value − U − margin, mm; −Inf where its value is not known, +Inf where no
// margin applies.
func (r Row) Reserve() float64 {
	if r.Value == nil {
		return math.Inf(-1)
	}
	if r.Margin == nil {
		return math.Inf(1)
	}
	return *r.Value - r.Budget.U() - *r.Margin
}

// Foremost returns the rows that every first page says of the site, in order: overlaps, structures
// nearer than twice their margin, what was not assessed, and bone beside the implant whose margin
// is not held or in doubt.
func (s *SiteResult) Foremost() []Row {
	var out []Row
	for _, r := range ordered(s.Rows) {
		k := rankOf(r)
		if k <= rankNotAssessed || k <= rankBone && (r.Verdict == safety.NotHeld || r.Verdict == safety.Uncertain) {
			out = append(out, r)
		}
	}
	return out
}

// Verdicts returns every verdict that a row of the site has, the gravest first: a page says all that
// apply, not one.
func (s *SiteResult) Verdicts() []Verdict {
	var out []Verdict
	for _, v := range safety.Verdicts() {
		if slices.ContainsFunc(s.Rows, func(r Row) bool { return r.Verdict == v }) || v == s.Verdict {
			out = append(out, v)
		}
	}
	return out
}
