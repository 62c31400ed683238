package ridge

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"

	"ridgerule/measure/reformat"
)

// toldWall is a wall as a fit would leave it: its grey values, blur 0.25 mm, and standard uncertainties of
// a fiftieth of a step.
func toldWall(outside, inside float64) *SurfacePatch {
	w := &SurfacePatch{noise: 40, active: []int{pSigma, pG1}}
	w.p[pG0], w.p[pG1], w.p[pSigma] = outside, inside, 0.25
	w.cov = mat.NewSymDense(2, []float64{0.005 * 0.005, 0, 0, 900})
	return w
}

// stationOf is a station that has tried all its walls; its coarse outline shows soft tissue and dim bone.
func stationOf(walls ...*SurfacePatch) Station {
	return Station{outline: &Outline{}, soft: soft, cortex: 1100, walls: walls, tried: len(stationWalls)}
}

// Three stations of four are spoilt: their walls are of dentine, enamel or metal, two are as dim as marrow
// and two are skin. What cortical bone is, the others tell: within a tenth of the spread of their own
// walls (30 grey values), and the same whatever the spoilt ones are and in whatever order.
func TestMajorityOfSpoiltStationsTeachesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	var bone []Station
	for range 8 {
		bone = append(bone, stationOf(toldWall(soft, cortex+30*r.NormFloat64()), toldWall(soft, cortex+30*r.NormFloat64())))
	}
	want := EstimateImage(bone)
	require.True(t, want.known())
	require.Empty(t, want.Cautions())
	require.InDelta(t, cortex, want.Cortex, 30)
	for _, spoilt := range [][]float64{{2000}, {2700}, {4500}, {2000, 2700}, {1980, 2100, 2700, 3500, 6000}} {
		all := slices.Clone(bone)
		for i := range 24 {
			s := spoilt[i%len(spoilt)]
			all = append(all, stationOf(toldWall(soft, s+60*r.NormFloat64()), toldWall(air, s+60*r.NormFloat64())))
		}
		all = append(all, stationOf(toldWall(soft, 700), toldWall(soft, 700)), stationOf(toldWall(air, soft), toldWall(air, soft)))
		r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		got := EstimateImage(all)
		require.InDelta(t, want.Cortex, got.Cortex, 3, "%v", spoilt)
		require.InDelta(t, want.Soft, got.Soft, 3, "%v", spoilt)
		require.InDelta(t, want.CortexSD, got.CortexSD, 0.1*want.CortexSD, "%v", spoilt)
	}
}

// In a small field most stations may lie past the jaw and outline noise: what they show is no bone, and the others teach as
// if they were alone. Where all do, no grey value is air.
func TestStationsThatOutlineNoiseTeachNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	var bone, noise []Station
	for range 4 {
		bone = append(bone, stationOf(toldWall(soft, cortex+30*r.NormFloat64()), toldWall(soft, cortex+30*r.NormFloat64())))
	}
	for range 9 {
		noise = append(noise, Station{outline: &Outline{}, soft: soft + 5*r.NormFloat64(), cortex: soft + 2 + 5*math.Abs(r.NormFloat64()), tried: len(stationWalls)})
	}
	want, got := EstimateImage(bone), EstimateImage(slices.Concat(noise, bone))
	require.True(t, got.known())
	require.InDelta(t, want.Cortex, got.Cortex, 3)
	require.InDelta(t, want.Soft, got.Soft, 3)
	t2 := EstimateImage(noise)
	require.False(t, t2.known())
	t2.Noise = 50
	_, air := t2.AirLevel()
	require.False(t, air)
}

// Where all walls contradict the coarse pass, or each other, or hardly a station has one that tells, nothing is known, the grey values beside the
// coarse outlines stand in, and it is said.
func TestImplausibleTeachingFallsBack(t *testing.T) {
	metal := []Station{stationOf(toldWall(soft, 6000), toldWall(soft, 6000)), stationOf(toldWall(soft, 6000), toldWall(soft, 6000))}
	odd := []Station{stationOf(), stationOf(), stationOf()}
	for i := range odd {
		w := toldWall(soft, cortex)
		w.p[pSigma] = []float64{0.1, 0.3, 1.5}[i]
		odd[i].walls = []*SurfacePatch{w}
	}
	few := []Station{stationOf(toldWall(soft, cortex), toldWall(soft, cortex), toldWall(soft, cortex))}
	require.True(t, EstimateImage(few).known())
	for range 30 {
		few = append(few, stationOf())
	}
	for name, stations := range map[string][]Station{"metal": metal, "blur": odd, "few": few, "none": nil, "no walls": {stationOf()}} {
		got := EstimateImage(stations)
		require.False(t, got.known(), name)
		require.Len(t, got.Cautions(), 1, name)
		if len(stations) > 0 {
			require.Equal(t, [2]float64{soft, 1100}, [2]float64{got.Soft, got.Cortex}, name)
		}
	}
}

// Roots in a section, a crown on it, metal in it: the walls that teach are those of bone. Of five stations
// four are spoilt.
func TestRootsAndCrownsDoNotTeach(t *testing.T) {
	s := around(24, 0.3, 40)
	clean := EstimateImage([]Station{NewStation(s.field(t, ridgeOf(24)))})
	stations := []Station{NewStation(s.field(t, ridgeOf(24)))}
	for i, grey := range []float64{2000, 2700, 2700, 5000} {
		s.seed = uint64(i)
		stations = append(stations, NewStation(s.field(t, with(ridgeOf(24), roundBody(reformat.UV{V: 2.5}, 4), grey))))
	}
	got := EstimateImage(stations)
	require.True(t, got.known())
	require.InDelta(t, cortex, got.Cortex, 0.03*(cortex-soft))
	require.InDelta(t, clean.Blur, got.Blur, 0.03*clean.Blur)
}
