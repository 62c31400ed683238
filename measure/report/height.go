package report

import (
	"math"
	"strings"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
)

// heightView is a site's ridge height as every medium says it.
type heightView struct {
	Name    string // "height", or "length" where it ends at a side wall
	Reading string // with U, mm; without U and to one decimal where it is open; empty: no height
	To      string // "to the canal"; where it is open: "to the border; canal not marked"
	Open    bool   // it does not end at the limit that was asked for, or at no base: never the bold number
}

// heightOf returns the site's height in words.
func heightOf(s *measure.SiteResult, jaw measure.Jaw) heightView {
	row, known := s.Lookup(quantity.RidgeHeight, math.NaN())
	if !known || row.Value == nil {
		return heightView{}
	}
	h := heightView{Name: "height", Reading: read(*row.Value, row.Budget.U()).String(), To: "to the " + limitWord(s.HeightTo, jaw)}
	if wall(s.HeightTo) {
		h.Name = "length"
	}
	if why := openWords(s); why != "" {
		// Where it ends was not asked for: U of that place would lend the number a meaning that it has not.
		h.Reading, h.To, h.Open = rounded(*row.Value, 1), h.To+"; "+why, true
	}
	return h
}

// openWords says why the site's height is not one to plan by; empty: it is.
func openWords(s *measure.SiteResult) string {
	if wall(s.HeightTo) && !strings.Contains(s.HeightOpen, measure.NotToBase) {
		return strings.TrimSuffix(measure.NotToBase+"; "+s.HeightOpen, "; ")
	}
	return s.HeightOpen
}

// String returns the height in one line: "15.04 ± 0.61 to the canal"; empty where there is none.
func (h heightView) String() string { return strings.TrimSpace(h.Reading + " " + h.To) }

// wall reports whether the height ends at a side wall of the ridge.
func wall(l measure.Limit) bool { return strings.HasSuffix(string(l), "_wall") }

// limitWord returns what a height ends at, in words; the inner side is palatal in the maxilla.
func limitWord(l measure.Limit, jaw measure.Jaw) string {
	return strings.Replace(quantity.InWords(string(l)), "lingual", inner(jaw), 1)
}
