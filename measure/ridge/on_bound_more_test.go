package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// even is a field of one grey value.
func even(t *testing.T, grey float64) reformat.Field {
	return scene{voxel: 0.3, min: reformat.UV{U: -9, V: -24}, max: reformat.UV{U: 9, V: 4}, depth: 1.5}.field(t, func(reformat.UV) float64 { return grey })
}

// A crest where no surface can be fitted is the outline's, half of the coarsest voxel unsure.
func TestCrestWithoutASurface(t *testing.T) {
	o := polygon(reformat.UV{V: -4}, 4, 90)
	o.field = even(t, soft)
	var a Axis
	a.Dir = down
	require.NoError(t, o.Fit().fineCrest(&a, reformat.UV{V: -2}))
	require.InDelta(t, 0, a.Crest.V, 0.01)
	require.InDelta(t, 0.15, a.CrestSD, 1e-12)
	require.Nil(t, a.crestWall)
}

// Bone between two plates is solid where all of it is brighter than half-way from marrow to them.
func TestSolidIsBrighterThanHalfWay(t *testing.T) {
	wall := toldWall(soft, 1000)
	c := fineChord{low: crossing{at: reformat.UV{U: -3, V: -9}}, high: crossing{at: reformat.UV{U: 3, V: -9}}, lowWall: wall, highWall: wall}
	model := ImageModel{Edges: 9, Soft: soft, Cortex: 1000, Marrow: 400, Blur: 0.25}
	for grey, want := range map[float64]bool{650: false, 750: true} {
		require.Equal(t, want, (&Outline{field: even(t, grey), model: model}).solid(c, reformat.UV{U: 1}), "%g", grey)
	}
	model.Marrow = 1000
	require.False(t, (&Outline{field: even(t, 2000), model: model}).solid(c, reformat.UV{U: 1}), "marrow was not told from cortex")
}

// What begins at an edge is bone from the least grey value of bone on; a body is near the axis within 8 mm of it.
func TestEdgesAndBodiesOnTheirBounds(t *testing.T) {
	r := (&Outline{field: even(t, soft), model: ImageModel{Edges: 9, Soft: 20, Cortex: 30}}).Fit()
	quiet := func(inside float64) *SurfacePatch {
		w := toldWall(20, inside)
		w.noise = 0
		return w
	}
	require.NoError(t, r.trusted(quiet(21.5)), "20 + 0.15·10")
	require.ErrorIs(t, r.trusted(quiet(21.4)), ErrNoEdge)
	r.dense = func() []Body {
		return []Body{{Middle: reformat.UV{U: 8}}, {Middle: reformat.UV{U: -7.75}}, {Middle: reformat.UV{U: -8.25, V: 3}}}
	}
	require.Equal(t, []Body{{Middle: reformat.UV{U: -7.75}}}, r.bodies(Axis{Dir: down}))
	tissue := coarseLevels{soft: 10, cortex: 20}
	require.Len(t, tissue.cortical([]*SurfacePatch{toldWall(10, 20), toldWall(10, 20), toldWall(10, 20), toldWall(10, 21), toldWall(10, 19)}), 5, "a tenth off is of the kind")
	require.Len(t, tissue.cortical([]*SurfacePatch{toldWall(10, 20), toldWall(10, 20), toldWall(10, 20), toldWall(10, 21.25)}), 3)
}

// Profiles on their bounds: a level reached at a bin and left only later, an empty bin after the first, a fall that goes on past the layer's begin.
func TestProfilesOnTheirBounds(t *testing.T) {
	p := profile{low: 0, step: 1, grey: []float64{0, 50, 50, 100}}
	require.InDelta(t, 2.5, p.crossing(0, 50), 1e-12)
	p = profile{grey: []float64{4, math.NaN(), 10}}
	p.bridge()
	require.Equal(t, []float64{4, 7, 10}, p.grey)
	o := &estimate{}
	o.p[pSigma], o.p[pGamma] = 0.25, beyondReach
	fall := layered(-700, [2]float64{-1.2, -250}, [2]float64{-0.9, 0}, [2]float64{0, 1000})
	o.outside(fall, fall.bin(-0.25), 0, 1000, 1)
	require.True(t, o.mucosa)
	require.InDelta(t, 1.25, o.p[pGamma], 1e-9, "where half of the fall has gone, not where it begins")
	o = &estimate{plate: true, high: 9}
	o.p[pTau], o.p[pSigma], o.p[pE], o.p[pG1] = 4, 0.25, 0.1, 1000
	o.leaveInner(2)
	require.False(t, o.plate, "2.6 mm and three sigma")
	require.InDelta(t, 2.7, o.high, 1e-12)
}
