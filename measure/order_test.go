package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"ridgerule/measure/quantity"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// A row of a test: u is its standard uncertainty, mm; value NaN-free, nil where there is none.
func judgedRow(q quantity.Name, to string, value, u, margin float64, v safety.Verdict) Row {
	return Row{Quantity: q, To: to, Value: &value, Unit: "mm", Budget: uncertainty.Budget{{Name: "t", Std: u}}, Margin: &margin, Verdict: v}
}

// A site that reads "not assessed" for its loop had a canal at 1.54 ± 0.60 mm: the canal comes first.
func TestWhatMustNotBeMissedComesFirst(t *testing.T) {
	margin := 2.0
	s := SiteResult{Verdict: safety.NotAssessed, Rows: []Row{
		{Quantity: "ridge_height", Unit: "mm"},
		judgedRow("buccal_bone", "", 1.2, 0.3, 1.5, safety.Uncertain),
		judgedRow("buccal_bone", "", 2.2, 0.1, 1.5, safety.Held),
		judgedRow("clearance", "far root", 9, 0.1, 1.5, safety.Held),
		{Quantity: "clearance", To: "anterior loop", Unit: "mm", Margin: &margin, Verdict: safety.NotAssessed},
		judgedRow("clearance", "left canal", 1.54, 0.3, 2, safety.Uncertain),
		judgedRow("clearance", "root 35", -0.2, 2, 1.5, safety.NotHeld),
	}}
	var names []string
	for _, r := range s.Foremost() {
		names = append(names, string(r.Quantity)+" "+r.To)
	}
	assert.Equal(t, []string{"clearance root 35", "clearance left canal", "clearance anterior loop", "buccal_bone "}, names)
	assert.Equal(t, []Verdict{NotHeld, NotAssessed, Uncertain, Held}, s.Verdicts())

	names = nil
	for _, r := range ordered(s.Rows) {
		names = append(names, string(r.Quantity)+" "+r.To)
	}
	assert.Equal(t, []string{"clearance root 35", "clearance left canal", "clearance anterior loop", "clearance far root", "buccal_bone ", "buccal_bone ", "ridge_height "}, names)
}

// Below zero a distance is an overlap, and bone beside an implant that has none there; an exit on the other side of a tooth's
// middle is none.
func TestWhatIsAnOverlap(t *testing.T) {
	for _, c := range []struct {
		row  Row
		want bool
	}{
		{judgedRow(quantity.Clearance, "left canal", -0.1, 1, 2, safety.NotHeld), true},
		{judgedRow(quantity.Clearance, "left canal", 0.1, 0.1, 2, safety.NotHeld), false},
		{judgedRow(quantity.BuccalBone, "", -0.1, 1, 1.5, safety.NotHeld), true},
		{Row{Quantity: quantity.LingualBone, Verdict: safety.NotHeld}, true},
		{Row{Quantity: quantity.LingualBone, Verdict: safety.NotAssessed}, false},
		{judgedRow(quantity.ExitBuccal, "", -2, 0.1, 1, safety.NotHeld), false},
		{judgedRow(quantity.ExitMesial, "", -2, 0.1, 1, safety.NotHeld), false},
	} {
		assert.Equal(t, c.want, c.row.Overlap(), "%s %v", c.row.Quantity, c.row.Verdict)
	}
}
