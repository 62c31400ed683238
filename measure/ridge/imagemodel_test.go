package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// Plates of 0.9 mm are under 3.5 sigma of a blur of 0.3 mm; in a quiet image they tell blur and cortex
// all the same. The scene's own values are the truth.
func TestThinPlatesThatTellTeach(t *testing.T) {
	outer, inner := hollow(3.5, 20, 0.9)
	o := learnt(t, around(20, 0.4, 10), bony(outer, inner, 0.3))
	require.True(t, o.model.known())
	require.InDelta(t, 0.3, o.model.Blur, 0.015)
	require.InDelta(t, cortex, o.model.Cortex, 0.05*(cortex-soft))
	level, ok := o.model.AirLevel()
	require.True(t, ok)
	require.Greater(t, level, air)
	require.Less(t, level, soft)
}

// Where no wall tells, blur and cortex stay unknown, and air is still told from tissue.
func TestNoWallTells(t *testing.T) {
	outer, inner := hollow(3.5, 20, 0.7)
	o := learnt(t, around(20, 0.5, 250), bony(outer, inner, 0.45))
	require.False(t, o.model.known())
	level, ok := o.model.AirLevel()
	require.True(t, ok)
	require.Greater(t, level, air)
	require.Less(t, level, soft+300)
}

// Trabeculae of 110 grey values (SD) behind plates of 1.5 mm: their thickness lies within U of the truth,
// and U has a term for them. Smooth marrow has none to speak of.
func TestTrabeculaeAreInThePlatesBudget(t *testing.T) {
	outer, inner := hollow(3.5, 22, 1.5)
	bone, within := bony(outer, inner, 0.2), inner.blurred(0.2)
	term := func(p Plate) float64 {
		for _, t := range p.Budget {
			if t.Name == "marrow" {
				return t.Contribution()
			}
		}
		return math.NaN()
	}
	for _, c := range []struct {
		texture     float64 // its SD is half of it
		least, most float64 // of the term, mm
	}{{0, 0, 0.005}, {220, 0.01, 0.04}} {
		out, n, terms := 0, 0, 0.0
		for k := range 3 {
			shift := reformat.UV{U: 0.31 * float64(k), V: 0.47 * float64(k)}
			s := around(22, 0.2, 20)
			s.seed = uint64(k)
			o, a := trace(t, s.field(t, func(p reformat.UV) float64 {
				q := scale(2*math.Pi/1.3, sub(p, shift))
				return bone(p) + c.texture*within(p)*math.Sin(q.U)*math.Sin(q.V)
			}))
			for _, d := range []float64{5, 7, 9, 11} {
				w, err := o.Width(a, d, Placement{})
				require.NoError(t, err)
				for _, p := range w.Plates {
					require.NoError(t, p.Err)
					if math.Abs(p.Value-1.5) > p.U() {
						out++
					}
					n++
					terms += term(p) / 24
				}
			}
		}
		t.Logf("texture %g: %d of %d outside U, mean term %.4f mm", c.texture, out, n, terms)
		require.LessOrEqual(t, out, n/10, "twice what k = 2 leaves outside")
		require.GreaterOrEqual(t, terms, c.least)
		require.LessOrEqual(t, terms, c.most)
	}
}

// Where half of the walls border on air and half on soft tissue, what lies beside bone is one of the two and not
// their middle, which no wall has; where they scatter about one, it is their median.
func TestTwoTissuesHaveNoMean(t *testing.T) {
	for name, c := range map[string]struct {
		grey []float64
		mid  float64
		want float64
	}{
		"half air, half soft tissue": {[]float64{-1000, 50, 60, -990}, -470, 50},
		"one more of soft tissue":    {[]float64{-1000, 50, 60, -990, 55}, 50, 50},
		"one tissue that scatters":   {[]float64{40, 50, 60, 70}, 55, 55},
	} {
		t.Run(name, func(t *testing.T) { require.Equal(t, c.want, oneOfTwo(c.grey, c.mid, 1600)) })
	}
}
