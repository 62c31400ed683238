package report

import (
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/uncertainty"
)

func judged(to string, value *float64, margin float64, v measure.Verdict) measure.Row {
	return measure.Row{Quantity: "clearance", To: to, Value: value, Unit: "mm", Margin: &margin, Verdict: v,
		Budget: uncertainty.Budget{{Name: "edge", Std: 0.1}}}
}

// Of several distances with the site's verdict the one with the least value − U − margin limits.
func TestTheLeastReserveLimits(t *testing.T) {
	s := &measure.SiteResult{Verdict: measure.NotHeld, Rows: []measure.Row{
		judged("root 35", pointer(1.2), 1.5, measure.NotHeld),
		judged("left canal", pointer(0.9), 2, measure.NotHeld),
		judged("root 37", pointer(-4), 1.5, measure.Uncertain),
	}}
	require.Equal(t, "Clearance to left canal: 0.90 ± 0.20 mm, margin 2.0 mm", limitOf(s, measure.Mandible))
}

// What is missing limits more than what is known.
func TestWhatIsMissingLimitsFirst(t *testing.T) {
	row := judged("canal", nil, 2, measure.NotAssessed)
	row.Note = "canal not marked on this side"
	s := &measure.SiteResult{Verdict: measure.NotAssessed, Rows: []measure.Row{judged("sinus", pointer(9), 1, measure.NotAssessed), row}}
	require.Equal(t, "Clearance to canal: canal not marked on this side", limitOf(s, measure.Mandible))
}

func TestSiteWithoutMarginNamesItsEnd(t *testing.T) {
	require.Equal(t, "Height ends at the sinus", limitOf(&measure.SiteResult{HeightTo: measure.ToSinus}, measure.Maxilla))
	require.Equal(t, "Not measured: outside the field", limitOf(&measure.SiteResult{Err: "outside the field"}, measure.Maxilla))
}
