package report

import (
	"bytes"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/change"
	"ridgerule/measure/uncertainty"
)

// What a person must see first stands before the first section ends, on each page that is about a patient.
func TestAlignmentChangeAndPositionsSayFirstWhoMustReview(t *testing.T) {
	var alignment, changed bytes.Buffer
	require.NoError(t, AlignmentPage(&alignment, align.File{Kind: align.KindScans}, []r3.Vec{{X: -0.2, Y: -33.2, Z: -15.4}}, nil))
	require.NoError(t, ChangePage(&changed, ChangeCase{Result: &change.Result{Before: &measure.Result{Synthetic: true}, After: &measure.Result{}}}))
	first, second := twoSets([]string{"46", "43", "33", "36"}, []r3.Vec{{X: -25}, {X: -12, Y: -24}, {X: 12, Y: -24}, {X: 25}})
	compared, err := align.Compare(first, second, align.CompareOptions{})
	require.NoError(t, err)
	for _, x := range []struct {
		page  string
		words []string
	}{
		{alignment.String(), []string{shortCaution, "Not accepted: "}},
		{changed.String(), []string{shortCaution, "accepted by nobody", syntheticCaution}},
		{positionsPageOf(t, compared), []string{shortCaution, PositionsWords}},
	} {
		opening, _, _ := strings.Cut(x.page, "</section>")
		for _, w := range x.words {
			require.Contains(t, opening, w)
		}
	}
	require.Contains(t, alignment.String(), "1: (0, −33, −15)", "no minus stands before a zero")
}

// An accepted alignment's page says so, whoever the name is, and keeps all the rest; the page of another alignment is left.
func TestAcceptedAlignmentHasAnAcceptedPage(t *testing.T) {
	f := align.File{Kind: align.KindScans, Transform: align.Identity("a"), Cautions: []string{"look twice"}}
	var page bytes.Buffer
	require.NoError(t, AlignmentPage(&page, f, nil, nil))
	accepted, err := f.Accept("<b>r01</b>", time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC))
	require.NoError(t, err)
	got, ok := AcceptedPage(page.Bytes(), accepted)
	require.True(t, ok)
	require.Contains(t, string(got), "Accepted by &lt;b&gt;r01&lt;/b&gt; on 2026-03-04.")
	require.NotContains(t, string(got), "Not accepted")
	var fresh bytes.Buffer
	require.NoError(t, AlignmentPage(&fresh, accepted, nil, nil))
	require.Equal(t, fresh.String(), string(got), "as if it had been made after the acceptance")

	accepted.Cautions = nil
	_, ok = AcceptedPage(page.Bytes(), accepted)
	require.False(t, ok, "of another alignment")
	_, ok = AcceptedPage([]byte("<p>Not accepted</p>"), accepted)
	require.False(t, ok)
}

// Labels come from the plan: no cell of a table of changes is a formula for a spreadsheet. A number keeps its sign.
func TestNoCellOfChangesIsAFormula(t *testing.T) {
	r := &change.Result{Before: &measure.Result{Case: "=0"}, Sites: []change.Site{{ID: "=1+1", Tooth: "+2", Rows: []change.Row{{To: "=2+2", Note: "+3", Shown: change.Change, Change: uncertainty.Length{Value: -0.5}}}, Placed: &change.Placed{}}, {ID: "@4", Err: "-5", NotPlaced: "=6"}}}
	for _, write := range []func(io.Writer, *change.Result) error{ChangesCSV, PlacedCSV} {
		var out bytes.Buffer
		require.NoError(t, write(&out, r))
		rows, err := csv.NewReader(&out).ReadAll()
		require.NoError(t, err)
		require.Greater(t, len(rows), 2)
		for _, cell := range slices.Concat(rows...) {
			_, err := strconv.ParseFloat(cell, 64)
			require.True(t, err == nil || !strings.ContainsAny(cell[:min(1, len(cell))], "=+-@"), cell)
		}
	}
}

// The figure of a placed implant: each deviation with its U stands in it, with the direction that its sign means, and the placed outline
// lies where the deviations say (worked by hand: 0.5 mm distal and 1 mm deeper, 10 mm long, upright, 4 mm wide, 1 : 3.83).
func TestFigureOfPlacedAgainstPlanned(t *testing.T) {
	long := func(v float64) uncertainty.Length {
		return uncertainty.Length{Value: v, Budget: uncertainty.Budget{{Name: "x", Std: 0.05}}}
	}
	p := &change.Placed{Planned: align.Implant{Diameter: 4, Length: 10}, Found: align.FoundImplant{Implant: align.Implant{Diameter: 4, Apex: 4, Length: 10}},
		Deviation: align.Deviation{Coronal: long(1.118), Apical: long(1.118), Depth: long(1), LateralCoronal: long(0.5), LateralApical: long(0.5), Mesial: long(-0.5), MesialApical: long(-0.5),
			Buccal: long(0), BuccalApical: long(0), ApexAt: 10}}
	s := deviationSheet("36", p)
	text, err := s.SVG()
	require.NoError(t, err)
	for _, words := range []string{"distal", "0.50 ± 0.10", "depth 1.00 ± 0.10 mm deeper", "coronal 1.12 ± 0.10", "in the section, buccal right"} {
		require.Contains(t, text, words)
	}
	var solid [][]spot
	s.draw(penOf(func(l stroke) {
		if l.Closed {
			solid = append(solid, l.Points)
		}
	}))
	require.Len(t, solid, 4)
	require.InDelta(t, -0.5*s.Scale, solid[1][0].X-solid[0][0].X, 1e-9)
	require.InDelta(t, 1*s.Scale, solid[1][0].Y-solid[0][0].Y, 1e-9)
	require.InDelta(t, 10*s.Scale, solid[1][1].Y-solid[1][0].Y, 1e-9)
}

// penOf hands every line to a function.
type penOf func(stroke)

func (penOf) grey(picture)    {}
func (penOf) write(label)     {}
func (p penOf) line(l stroke) { p(l) }
