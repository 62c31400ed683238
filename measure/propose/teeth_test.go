package propose

import (
	"context"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/phantom"
)

// Sites are proposed under the planned teeth: where the shape's plan has them, along the arch to 1 mm, with their numbers; none where a tooth stands,
// none for a piece that is no single tooth or that lies off the arch, each with its reason.
func TestSitesUnderPlannedTeeth(t *testing.T) {
	for _, kind := range []phantom.Kind{phantom.Mandible, phantom.Maxilla} {
		j, v := demo(t, kind)
		var teeth []PlannedTooth
		points := func(fdi int) []r3.Vec {
			m, err := j.Crown(fdi, true)
			require.NoError(t, err)
			return m.Points
		}
		for i, s := range j.Plan().Sites {
			one := PlannedTooth{Points: points(s.Tooth)}
			if i%2 == 0 {
				one.Tooth = fmt.Sprint(s.Tooth)
			}
			teeth = append(teeth, one)
		}
		want := len(teeth)
		require.NotEmpty(t, j.Options().Teeth)
		for _, fdi := range j.Options().Teeth {
			teeth = append(teeth, PlannedTooth{Points: points(fdi)})
		}
		off := PlannedTooth{Tooth: "off"}
		for _, p := range teeth[0].Points {
			off.Points = append(off.Points, r3.Add(p, r3.Vec{Z: 0, Y: 60}))
		}
		two := PlannedTooth{Tooth: "two", Points: append(append([]r3.Vec{}, teeth[0].Points...), teeth[1].Points...)}
		p, err := Look(context.Background(), v, Options{Teeth: append(teeth, off, two)})
		require.NoError(t, err)
		require.Len(t, p.Sites, want)
		for i, s := range j.Plan().Sites {
			got := p.Sites[i]
			require.Equal(t, fmt.Sprint(s.Tooth), got.Tooth)
			_, was := j.SectionAt(s.At)
			_, is := j.SectionAt(got.At)
			require.InDelta(t, was, is, 1, "%d", s.Tooth)
			require.Less(t, math.Hypot(got.At.X-s.At.X, got.At.Y-s.At.Y), 1.5)
		}
		text := fmt.Sprint(p.None)
		require.Contains(t, text, "a tooth stands there")
		require.Contains(t, text, "planned tooth off: ")
		require.Contains(t, text, "planned tooth two: its surface is one piece of")
	}
}
