package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
)

// Worked by hand: upright platforms of 4 mm at (±20, 0) touch the line y = 2 distally, which an end
// at y = 10 lies 8 mm behind and one at y = −3 lies 5 mm before, at any height.
func TestDistalExtensionIsWorkedByHand(t *testing.T) {
	at := func(tooth string, x, y float64) safety.Placed {
		return safety.Placed{Site: tooth, Tooth: tooth, Implant: Implant{Platform: r3.Vec{X: x, Y: y}, Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10}}
	}
	c := &run{plan: &Plan{Occlusal: r3.Vec{Z: 1}, ProsthesisEnd: []r3.Vec{{X: 20, Y: 10, Z: 5}, {X: -18, Y: -3}}}}
	all := []safety.Placed{at("36", 20, 0), at("31", 0, -20), at("46", -20, 0)}
	rows := c.extensionRows(all, safety.Options{})
	require.Len(t, rows, 2)
	for i, want := range []float64{8, -5} {
		assert.Equal(t, "arch", rows[i].Sites)
		assert.InDelta(t, want, *rows[i].Value, 1e-9)
		assert.Zero(t, rows[i].Budget.U())
		assert.Contains(t, rows[i].Note, "as planned; behind the line")
		assert.Empty(t, rows[i].Verdict)
	}
	rows = c.extensionRows([]safety.Placed{all[0], all[1], at("34", 15, -8)}, safety.Options{})
	assert.Nil(t, rows[0].Value)
	assert.Contains(t, rows[0].Note, "needs an implant on each side")
}
