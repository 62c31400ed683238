package ridge

import (
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// Two goroutines may ask one ridge, and get what one that asks alone gets: the edges of one depth are fitted once,
// whoever asks first. Run with -race.
func TestManyMayAskOneRidge(t *testing.T) {
	f := around(20, 0.3, 40).field(t, ridgeOf(20))
	stations := []Station{NewStation(f)}
	outline, err := Trace(f, Learn(stations))
	require.NoError(t, err)
	alone := outline.Weigh()
	axis, err := alone.FindAxis(nil)
	require.NoError(t, err)
	want, err := alone.Width(axis, 3, Placement{})
	require.NoError(t, err)
	notes := alone.Notes(axis)

	shared := outline.Weigh()
	_, err = shared.FindAxis(nil)
	require.NoError(t, err)
	var wait sync.WaitGroup
	for range 2 {
		wait.Go(func() {
			w, err := shared.Width(axis, 3, Placement{})
			if err != nil || w.Value != want.Value || w.U() != want.U() {
				t.Errorf("width %v ± %v, %v, want %v ± %v", w.Value, w.U(), err, want.Value, want.U())
			}
			if got := shared.Notes(axis); len(got) != len(notes) {
				t.Errorf("notes %q, want %q", got, notes)
			}
			if low, high := outline.Near(axis.At(3), axis.Side()); !(high > low) || !outline.Inside(axis.At(3)) {
				t.Errorf("the outline has no bone at 3 mm")
			}
			if again := Learn(stations); again.Blur != outline.tissue.Blur || again.Edges != outline.tissue.Edges {
				t.Errorf("taught %+v, first %+v", again, outline.tissue)
			}
		})
	}
	wait.Wait()
}

// An outline does not change by what is asked of it, nor by the ridges made of it.
func TestOutlineDoesNotChange(t *testing.T) {
	f := around(20, 0.3, 40).field(t, ridgeOf(20))
	outline, err := Trace(f, Learn([]Station{NewStation(f)}))
	require.NoError(t, err)
	before, points := *outline, append([]reformat.UV(nil), outline.Points...)
	a, err := outline.Weigh().FindAxis(nil)
	require.NoError(t, err)
	_, err = outline.Fit().Width(a, 5, Placement{})
	require.NoError(t, err)
	require.Equal(t, before, *outline)
	require.Equal(t, points, outline.Points)
}
