package report

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/uncertainty"
)

func judged(to string, value *float64, margin float64, v measure.Verdict) measure.Row {
	return measure.Row{Quantity: "clearance", To: to, Value: value, Unit: "mm", Margin: &margin, Verdict: v,
		Budget: uncertainty.Budget{{Name: "edge", Std: 0.1}}}
}

func noted(row measure.Row, note string) measure.Row {
	row.Note = note
	return row
}

func beside(at, value *float64, v measure.Verdict, note string) measure.Row {
	row := noted(judged("", value, 1.5, v), note)
	row.Quantity, row.At = "buccal_bone", at
	return row
}

func texts(lines []siteLine) []string {
	return each(lines, func(l siteLine) string { return l.Text })
}

// What must not be missed stands first, in the order of issue 11: an overlap in words; a canal at 1.54 mm
// although the site is not assessed for its loop; the loop; the bone beside the implant.
func TestWhatLimitsASiteInItsOrder(t *testing.T) {
	s := &measure.SiteResult{Verdict: measure.NotHeld, Rows: []measure.Row{
		beside(pointer(1), pointer(1.3), measure.Uncertain, ""),
		beside(pointer(3), pointer(2.4), measure.Held, ""),
		beside(nil, pointer(1.4), measure.Uncertain, "least over the whole length, 0.5 mm below the platform"),
		noted(judged("anterior loop", nil, 2, measure.NotAssessed), "anterior loop not marked"),
		judged("far root", pointer(9), 1.5, measure.Held),
		judged("left canal", pointer(1.54), 2, measure.NotAssessed),
		noted(judged("root 35", pointer(-0.2), 1.5, measure.NotHeld), "overlaps root 35 by 0.2 mm"),
	}}
	require.Equal(t, []string{
		"Overlaps root 35 by 0.2 mm. Clearance to root 35: −0.20 ± 0.20 mm, margin 1.5 mm: not held",
		"Clearance to left canal: 1.54 ± 0.20 mm, margin 2.0 mm: not assessed",
		"Clearance to anterior loop, margin 2.0 mm: not assessed: anterior loop not marked",
		"Buccal bone beside implant: 1.30 ± 0.20 mm at 1 mm, 1.40 ± 0.20 mm (least over the whole length, 0.5 mm below the platform), margin 1.5 mm: uncertain",
	}, texts(linesOf(s, measure.Mandible)))
	require.Equal(t, "not held · not assessed · uncertain", strings.ToLower(loudly(verdictsOf(s))))
}

// Rows that lack a number for one reason are one line: a site outside the field would have a dozen.
func TestOneReasonIsSaidOnce(t *testing.T) {
	s := &measure.SiteResult{Verdict: measure.NotAssessed, Rows: []measure.Row{
		beside(pointer(1), nil, measure.NotAssessed, "the field ends"),
		beside(pointer(3), nil, measure.NotAssessed, "the field ends"),
		beside(nil, nil, measure.NotAssessed, "the field ends"),
	}}
	require.Equal(t, []string{"Buccal bone beside implant at 1 mm, at 3 mm, at its least, margin 1.5 mm: not assessed: the field ends"}, texts(linesOf(s, measure.Mandible)))
}

// A site whose bone could not be measured still says that its implant lies in the canal, and that first.
func TestOverlapOfAnUnmeasuredSiteIsSaid(t *testing.T) {
	why := "outside the field"
	s := &measure.SiteResult{Err: why, Verdict: measure.NotHeld, Rows: []measure.Row{
		beside(pointer(1), nil, measure.NotAssessed, "no outline of the bone: "+why),
		noted(judged("left canal", pointer(-1), 2, measure.NotHeld), "overlaps the left canal by 1.0 mm"),
	}}
	require.Equal(t, []string{
		"Overlaps the left canal by 1.0 mm. Clearance to left canal: −1.00 ± 0.20 mm, margin 2.0 mm: not held",
		"Not measured: outside the field",
	}, texts(linesOf(s, measure.Mandible)))
	require.Equal(t, []string{"Not measured: outside the field"}, texts(linesOf(&measure.SiteResult{Err: why}, measure.Maxilla)))
}

// Where nothing must be said first, the least reserve limits: of 9 mm against 1.5 and 8 mm against 2 the second.
func TestTheLeastReserveLimits(t *testing.T) {
	s := &measure.SiteResult{Verdict: measure.Held, Rows: []measure.Row{
		judged("root 35", pointer(9), 1.5, measure.Held), judged("left canal", pointer(8), 2, measure.Held),
	}}
	require.Equal(t, []string{"Clearance to left canal: 8.00 ± 0.20 mm, margin 2.0 mm: held"}, texts(linesOf(s, measure.Mandible)))
	require.Equal(t, []string{"Height ends at the sinus"}, texts(linesOf(&measure.SiteResult{HeightTo: measure.ToSinus}, measure.Maxilla)))
}

// A verdict that no row has (a caution lowered it) is explained by the site's note.
func TestVerdictOfNoRowIsExplained(t *testing.T) {
	s := &measure.SiteResult{Verdict: measure.NotAssessed, Note: "place not confirmed", Rows: []measure.Row{judged("root 35", pointer(2.5), 1.5, measure.Held)}}
	require.Equal(t, []string{"Clearance to root 35: 2.50 ± 0.20 mm, margin 1.5 mm: held", "This site: not assessed: place not confirmed"}, texts(linesOf(s, measure.Mandible)))
}

// An axis that leaves the bone has no distance at any depth, on either side: one line says by how much at most.
func TestImplantOutsideTheBoneIsOneLine(t *testing.T) {
	out := func(at *float64, q quantity.Name, by string) measure.Row {
		row := beside(at, nil, measure.NotHeld, "the implant stands outside the bone by "+by)
		row.Quantity = q
		return row
	}
	s := &measure.SiteResult{Verdict: measure.NotHeld, Rows: []measure.Row{
		out(pointer(1), "buccal_bone", "3.0 mm"), out(nil, "buccal_bone", "3.4 mm"), out(pointer(1), "lingual_bone", "3.0 mm"), out(nil, "lingual_bone", "3.4 mm"),
	}}
	require.Equal(t, []string{
		"The implant stands outside the bone by 3.4 mm. Buccal bone beside implant at 1 mm, at its least, Palatal bone beside implant at 1 mm, at its least, margin 1.5 mm: not held",
	}, texts(linesOf(s, measure.Maxilla)))
	s.Rows[3].Margin = pointer(2)
	require.Len(t, linesOf(s, measure.Maxilla), 2, "another margin is another line")
}

// What is not known of the site itself names no structure.
func TestDoubtAboutTheSiteIsNoClearance(t *testing.T) {
	s := &measure.SiteResult{Verdict: measure.NotAssessed, Rows: []measure.Row{{Quantity: "clearance", To: "place", Unit: "mm", Verdict: measure.NotAssessed, Note: "this is the place of 37"}}}
	require.Equal(t, []string{"Place: not assessed: this is the place of 37"}, texts(linesOf(s, measure.Mandible)))
}
