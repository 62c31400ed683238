package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
)

// floored is the field of bone above an air-filled cavity whose floor lies floor(t) mm below v = 0 at t mm along the arch, under a cortex of
// 1 mm; air fills thick mm.
func floored(t *testing.T, thick float64, floor func(along float64) float64) reformat.Field {
	t.Helper()
	frame := reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}}
	g := volume.Grid{Size: [3]int{20, 40, 120}, Origin: r3.Vec{X: -2, Y: -4, Z: -26}, Step: [3]r3.Vec{{X: 0.2}, {Y: 0.2}, {Z: 0.25}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	for k := range g.Size[2] {
		for j := range g.Size[1] {
			at := g.Patient(volume.Index{J: float64(j), K: float64(k)})
			below := -at.Z - floor(at.Y)
			grey := marrow
			switch {
			case below > thick:
				grey = soft
			case below > 0:
				grey = air
			case below > -1:
				grey = cortex
			}
			for i := range g.Size[0] {
				v.Stored[(k*g.Size[1]+j)*g.Size[0]+i] = int16(grey)
			}
		}
	}
	return reformat.NewField(v, frame)
}

var taughtGreys = ImageModel{Soft: soft, Cortex: cortex, Marrow: marrow, Noise: 30, Edges: 9, Blur: 0.15, BlurSD: 0.05, CortexSD: 80, SoftSD: 80}

// A floor is found where it is drawn, to half a voxel and a step; air shorter than 1.5 mm is a marrow space; a floor farther than 10 mm from the air is none.
func TestFloorOfACavity(t *testing.T) {
	a := Axis{Dir: down}
	level := func(depth float64) func(float64) float64 { return func(float64) float64 { return depth } }
	for _, depth := range []float64{3, 8.1, 14} {
		o := &Outline{field: floored(t, 30, level(depth)), model: taughtGreys}
		at, found, ok := o.RoughFloor(a)
		require.True(t, ok)
		require.InDelta(t, depth, found, 0.3)
		require.InDelta(t, -found, at.V, 1e-9)
		_, _, ok = (&Outline{field: o.field, model: ImageModel{}}).RoughFloor(a)
		require.False(t, ok, "nothing known of air")
	}
	for thick, want := range map[float64]bool{1: false, 1.4: false, 2.2: true} {
		o := &Outline{field: floored(t, thick, level(8)), model: taughtGreys}
		_, found := o.lumen(a, 20)
		require.Equal(t, want, found, "%g mm of air", thick)
		_, err := o.Fit().Floor(a)
		if !want {
			require.ErrorIs(t, err, ErrNoCavity)
		}
	}
	o := &Outline{field: floored(t, 30, level(14)), model: taughtGreys}
	_, ok := o.lumen(a, 13)
	require.False(t, ok, "no farther than it is asked to look")
	from, ok := o.lumen(a, 20)
	require.True(t, ok)
	require.InDelta(t, 14, from, 0.3)
	_, ok = o.floorAbove(a, from+9.5)
	require.True(t, ok, "mucosa of 9.5 mm")
	_, ok = o.floorAbove(a, from+10.5)
	require.False(t, ok)
	dim := o.model
	dim.Cortex = 16 * cortex // nothing there is as bright as a floor
	dark := &Outline{field: o.field, model: dim}
	_, ok = dark.floorAbove(a, from)
	require.False(t, ok)
}

// Where air ends, by hand: 0.3 of the step under soft tissue, 50 − 0.3·1550 = −415; where bone itself borders on air, a quarter of the step above that, −1000 + 0.25·2600 = −350. Bone that
// stands no more out than three times the noise tells nothing.
func TestLevelOfAir(t *testing.T) {
	for _, c := range []struct {
		m     ImageModel
		level float64
		ok    bool
	}{
		{ImageModel{Soft: 50, Cortex: 1600, Marrow: 400, Noise: 30}, -415, true},
		{ImageModel{Soft: 50, Cortex: 1600, Marrow: 824, Noise: 30}, -415, true},
		{ImageModel{Soft: 50, Cortex: 1600, Marrow: 826, Noise: 30}, 437.5, true},
		{ImageModel{Soft: -1000, Cortex: 1600, Marrow: 400, Noise: 30}, -350, true},
		{ImageModel{Soft: 50, Cortex: 1600, Marrow: 400, Noise: 510}, -415, true},
		{ImageModel{Soft: 50, Cortex: 1600, Marrow: 400, Noise: 520}, 0, false},
		{ImageModel{Soft: 50, Cortex: 50}, 0, false},
		{ImageModel{Soft: 1600, Cortex: 50}, 0, false},
	} {
		level, ok := c.m.AirLevel()
		require.Equal(t, c.ok, ok, "%+v", c.m)
		require.InDelta(t, c.level, level, 1e-9, "%+v", c.m)
	}
}

// A septum of 1.2 mm on a floor 8 mm below the crest is one where the floor lies a millimetre nearer on both sides; a sloping floor is none,
// nor is a step down on one side, nor one with no cavity beside it.
func TestSeptumStandsOutOnBothSides(t *testing.T) {
	a := Axis{Dir: down}
	septum := func(left, right float64) *Outline {
		return &Outline{model: taughtGreys, field: floored(t, 30, func(along float64) float64 {
			switch {
			case along < -0.6:
				return left
			case along > 0.6:
				return right
			}
			return 15
		})}
	}
	for _, c := range []struct {
		left, right, depth float64
		ok                 bool
	}{{8, 8, 15, true}, {8, 10, 15, true}, {10, 8, 15, true}, {8, 8, 9.5, true}, {8, 8, 8.6, false}, {8, 14.6, 15, false}, {14.6, 8, 15, false}, {8, 50, 15, false}, {50, 8, 15, false}} {
		beside, ok := septum(c.left, c.right).Septum(a, c.depth)
		require.Equal(t, c.ok, ok, "%+v", c)
		if ok {
			require.InDelta(t, math.Min(c.left, c.right), beside, 0.35)
		}
	}
	slope := &Outline{model: taughtGreys, field: floored(t, 30, func(along float64) float64 { return 10 + along })}
	_, ok := slope.Septum(a, 10)
	require.False(t, ok)
}
