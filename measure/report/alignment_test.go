package report

import (
	"bytes"
	"encoding/csv"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"

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
