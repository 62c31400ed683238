package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ridgerule/measure/reformat"
)

// Points that are passed over must hide no crossing: the walk against the look at every edge.
func TestCrossingsAreThoseOfEveryEdge(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(lo, hi float64, name string) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		o := &Outline{}
		wave, lobes, n := f(0, 0.5, "wave"), rapid.IntRange(2, 7).Draw(t, "lobes"), rapid.IntRange(8, 250).Draw(t, "n")
		for i := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := 8 * (1 + wave*math.Sin(2*math.Pi*float64(i*lobes)/float64(n)))
			o.Points, o.Cut = append(o.Points, reformat.UV{U: r * cos, V: 1.7 * r * sin}), append(o.Cut, false)
		}
		p, d := reformat.UV{U: f(-9, 9, "u"), V: f(-15, 15, "v")}, turnBy(down, f(0, 7, "turn"))
		want := o.hits(p, d)
		o.pace = 1 / o.longest()
		require.Equal(t, want, o.hits(p, d))
	})
}
