package ridge

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// comb is an outline between v = −20 and the heights of its teeth: pairs of (from, to, top) in u, above a body whose top is at v = body.
func comb(body float64, teeth ...[3]float64) *Outline {
	o := &Outline{Points: []reformat.UV{{U: teeth[0][0], V: -20}, {U: teeth[len(teeth)-1][1], V: -20}}}
	for i := len(teeth) - 1; i >= 0; i-- {
		t := teeth[i]
		o.Points = append(o.Points, reformat.UV{U: t[1], V: t[2]}, reformat.UV{U: t[0], V: t[2]})
		if i > 0 {
			o.Points = append(o.Points, reformat.UV{U: t[0], V: body}, reformat.UV{U: teeth[i-1][1], V: body})
		}
	}
	o.Cut = make([]bool, len(o.Points))
	return o
}

// A hole between two rims is told of where it is 1.5 mm wide and 2.5 mm deep, its rims no thicker than 8 mm and the lower one no more than 5 mm
// below the top, near the axis; its width and depth are as drawn, to a step of 0.25 mm.
func TestHoleBetweenTwoRims(t *testing.T) {
	a := Axis{Dir: down}
	for _, c := range []struct {
		name         string
		o            *Outline
		width, depth float64 // 0: none
	}{
		{"4 mm wide, 7 mm deep", comb(-7, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}), 4, 7},
		{"1.6 mm wide", comb(-7, [3]float64{-4, -0.8, 0}, [3]float64{0.8, 4, 0}), 1.6, 7},
		{"1.4 mm wide", comb(-7, [3]float64{-4, -0.7, 0}, [3]float64{0.7, 4, 0}), 0, 0},
		{"3 mm deep", comb(-3, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}), 4, 3},
		{"2.4 mm deep", comb(-2.4, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0}), 0, 0},
		{"a rim 4.5 mm lower", comb(-9, [3]float64{-4, -2, 0}, [3]float64{2, 4, -4.5}), 4, 4.5},
		{"a rim 5.5 mm lower", comb(-9, [3]float64{-4, -2, 0}, [3]float64{2, 4, -5.5}), 0, 0},
		{"a rim of 7.5 mm", comb(-7, [3]float64{-9.5, -2, 0}, [3]float64{2, 4, 0}), 4, 7},
		{"a rim of 8.5 mm", comb(-7, [3]float64{-10.5, -2, 0}, [3]float64{2, 4, 0}), 0, 0},
		{"3.5 mm beside the axis", comb(-7, [3]float64{0, 3.5, 0}, [3]float64{7.5, 10, 0}), 4, 7},
		{"4.5 mm beside the axis", comb(-7, [3]float64{1, 4.5, 0}, [3]float64{8.5, 11, 0}), 0, 0},
		{"the wider of two", comb(-7, [3]float64{-6, -3.8, 0}, [3]float64{-1.8, 1, 0}, [3]float64{3.6, 6, 0}), 2.6, 7},
	} {
		width, depth, ok := c.o.Socket(a)
		require.Equal(t, c.width > 0, ok, c.name)
		if ok {
			require.InDelta(t, c.width, width, 1e-9, c.name)
			require.InDelta(t, c.depth, depth, 0.51, c.name)
			err := c.o.noAxis(ErrNoRidge)
			require.ErrorContains(t, err, "is open at the crest", c.name)
			require.ErrorIs(t, err, ErrNoRidge)
		} else {
			require.Equal(t, ErrNoRidge, c.o.noAxis(ErrNoRidge), c.name)
		}
	}
	cut := comb(-7, [3]float64{-4, -2, 0}, [3]float64{2, 4, 0})
	for i, p := range cut.Points {
		cut.Cut[i] = p.U == 4
	}
	_, _, ok := cut.Socket(a)
	require.False(t, ok, "a rim that is the field's end is none")
}

// A crest is the top of a body that reaches up to within 1 mm of it, no farther beside than its half width and 1 mm, and what an axis that leans gains
// on the way.
func TestBodyThatHoldsTheCrest(t *testing.T) {
	b := Body{Middle: reformat.UV{U: 2, V: -3}, Low: -6, Top: 0, Area: 24} // 4 mm wide
	for _, c := range []struct {
		crest reformat.UV
		dir   reformat.UV
		holds bool
	}{
		{reformat.UV{U: 2, V: 0.9}, down, true}, {reformat.UV{U: 2, V: 1.1}, down, false}, {reformat.UV{U: 2, V: -5.9}, down, true}, {reformat.UV{U: 2, V: -6.1}, down, false},
		{reformat.UV{U: 4.9, V: 0}, down, true}, {reformat.UV{U: 5.1, V: 0}, down, false}, {reformat.UV{U: -0.9, V: 0}, down, true}, {reformat.UV{U: -1.1, V: 0}, down, false},
		{reformat.UV{U: 6.7, V: 0}, reformat.UV{U: -0.6, V: -0.8}, true}, {reformat.UV{U: 6.9, V: 0}, reformat.UV{U: -0.6, V: -0.8}, false}, // 3 mm · 0.6 more
	} {
		require.Equal(t, c.holds, b.holds(Axis{Crest: c.crest, Dir: c.dir}), "%+v", c)
	}
	o := (&Outline{}).Fit()
	o.dense = func() []Body {
		return []Body{b, {Middle: reformat.UV{U: 9.9}, Area: 4, Low: -20, Top: -19}, {Middle: reformat.UV{U: 10.1}, Area: 4, Low: -20, Top: -19}}
	}
	require.Len(t, o.bodies(Axis{Crest: reformat.UV{U: 2}, Dir: down}), 2, "what is 8 mm beside the axis is another bone's")
	require.ErrorIs(t, o.crestIsBone(Axis{Crest: reformat.UV{U: 2}, Dir: down}), ErrBody)
	require.NoError(t, o.crestIsBone(Axis{Crest: reformat.UV{U: 9}, Dir: down}))
}

// A body's middle, extent and area are those of its pixels; it counts from 3 mm² and from 0.15 of the step above cortex, within 1.5 mm of the bone.
func TestBodiesOfARaster(t *testing.T) {
	const step = 0.25
	s := reformat.Section{Width: 80, Height: 80, Step: step, Corner: reformat.UV{U: -10, V: 10}, Grey: make([]float32, 6400)}
	m := ImageModel{Edges: 9, Soft: 0, Cortex: 1000}
	fill := func(x0, y0, x1, y1 int, grey float32) {
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				s.Grey[y*80+x] = grey
			}
		}
	}
	fill(20, 20, 32, 40, 1151) // 3 × 5 mm
	fill(50, 20, 62, 40, 1149) // not bright enough
	fill(10, 60, 17, 67, 2000) // 49 pixels less its corners: 2.3 mm²
	fill(60, 60, 68, 68, 2000) // 64 less its corners: 3.25 mm²
	parts := denseParts(s, m)
	require.Len(t, parts, 2)
	b := parts[0].Body
	at := func(x, y float64) reformat.UV { return s.Place(x, y) }
	require.InDelta(t, 0, norm(sub(at(25.5, 29.5), b.Middle)), 1e-9)
	require.InDelta(t, 15, b.Area, 0.8, "opened by a disc, which takes the corners")
	require.InDelta(t, at(0, 39).V, b.Low, 1e-9)
	require.InDelta(t, at(0, 20).V, b.Top, 1e-9)
	require.Empty(t, denseParts(s, ImageModel{Edges: 2, Cortex: 1000}), "nothing is known")
	near := func(middle reformat.UV) int {
		o := polygon(middle, 1, 60)
		o.seen = s
		return len(o.holding(parts))
	}
	right := at(31, 29.5)
	require.Equal(t, 1, near(add(right, reformat.UV{U: 2.4})))
	require.Equal(t, 0, near(add(right, reformat.UV{U: 2.6})), "1.6 mm away")
	require.Equal(t, 1, near(b.Middle), "around it")
}

// Points within two pixels of the end of the field are marked, whether the raster ends there or its values do.
func TestPointsAtTheFieldsEnd(t *testing.T) {
	s := reformat.Section{Width: 40, Height: 40, Step: 0.25, Corner: reformat.UV{U: -5, V: 5}, Grey: make([]float32, 1600)}
	s.Grey[20*40+20] = float32(math.NaN())
	o := &Outline{}
	want := []bool{}
	for _, p := range []struct {
		x, y float64
		cut  bool
	}{{1.4, 10, true}, {1.6, 10, false}, {10, 1.4, true}, {10, 1.6, false}, {37.6, 10, true}, {37.4, 10, false}, {10, 37.6, true}, {10, 37.4, false}, {22.4, 17.6, true}, {22.6, 20, false}, {20, 17.4, false}, {17.6, 22.4, true}} {
		o.Points, want = append(o.Points, s.Place(p.x, p.y)), append(want, p.cut)
	}
	x, y := s.Pixel(o.Points[0])
	require.InDelta(t, 1.4, x, 1e-9)
	require.InDelta(t, 10, y, 1e-9)
	o.markCut(s)
	require.Equal(t, want, o.Cut)
}
