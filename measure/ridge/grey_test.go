package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// Grey values that grow by 30 a mm toward buccal and 50 a mm coronally, in a bone from −2 to 4 mm wide and 6 mm deep from its crest at v = 4: the
// mean is that of its middle (1, 1), the variance (30² + 50²)·6²/12; coronally alone, the quantiles are those of the depths. What lies outside, or
// deeper, has no say.
func TestGreyOfTheBone(t *testing.T) {
	s := scene{voxel: 0.2, min: reformat.UV{U: -6, V: -10}, max: reformat.UV{U: 8, V: 8}, depth: 1}
	corners := []reformat.UV{{U: -4, V: -8}, {U: 4, V: -8}, {U: 4, V: 4}, {U: -2, V: 4}, {U: -2, V: -6}, {U: -4, V: -6}} // with a foot below
	o := &Outline{}
	for i, p := range corners {
		for k := range 40 {
			o.Points = append(o.Points, add(p, scale(float64(k)/40, sub(corners[(i+1)%len(corners)], p))))
		}
	}
	o.Cut = make([]bool, len(o.Points))
	a := Axis{Crest: reformat.UV{U: 1, V: 4}, Dir: down}
	measured := func(across, up float64) Grey {
		o.field = s.field(t, func(p reformat.UV) float64 {
			if p.U < -2.4 || p.U > 4.4 || p.V > 4.4 || p.V < -2.4 {
				return -9000
			}
			return 1000 + across*p.U + up*p.V
		})
		g, ok := o.Grey(a, 6)
		require.True(t, ok)
		return g
	}
	// A raster of 0.2 mm ends within 0.2 mm of the bone's ends.
	g := measured(30, 50)
	require.InDelta(t, 1080, g.Mean, 0.1*(30+50))
	require.InDelta(t, math.Hypot(30, 50)*6/math.Sqrt(12), g.SD, math.Hypot(30, 50)*0.2/math.Sqrt(12)+0.5)
	g = measured(0, 50)
	require.InDelta(t, 1000+50*(-2+0.05*6), g.P05, 50*0.15)
	require.InDelta(t, 1000+50*(-2+0.95*6), g.P95, 50*0.15)
	_, ok := o.Grey(a, -0.1)
	require.False(t, ok, "no depth, no grey value")
	o.Points, o.Cut = polygon(reformat.UV{U: 1, V: 3.7}, 0.25, 40).Points, make([]bool, 40)
	_, ok = o.Grey(a, 6)
	require.False(t, ok, "fewer than ten places tell nothing")
}
