package ridge

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure/reformat"
)

// rasters are masks of widths on both sides of a word's 64 bits, with some of their pixels, scattered and in discs.
func rasters(t *testing.T) (all []mask) {
	t.Helper()
	r := rand.New(rand.NewPCG(3, 1))
	for _, w := range []int{1, 5, 63, 64, 65, 130} {
		for _, share := range []float64{0, 0.02, 0.5, 0.9, 1} {
			m, h := newMask(w, 23), 23
			discs := [2][3]float64{{float64(w) * r.Float64(), 23 * r.Float64(), 6}, {float64(w) * r.Float64(), 23 * r.Float64(), 3}}
			for i := range w * h {
				x, y := float64(i%w), float64(i/w)
				in := slices.ContainsFunc(discs[:], func(d [3]float64) bool { return math.Hypot(x-d[0], y-d[1]) < d[2] })
				if r.Float64() < share || share == 0.5 && in {
					m.put(i)
				}
			}
			all = append(all, m)
		}
	}
	return all
}

// sameAs holds a mask against what each pixel must be.
func sameAs(t *testing.T, m mask, want func(i int) bool, what string, args ...any) {
	t.Helper()
	n := 0
	for i := range m.w * m.h {
		if want(i) {
			n++
		}
		if m.has(i) != want(i) {
			t.Fatalf("%d × %d, pixel %d: %v; "+what, append([]any{m.w, m.h, i, m.has(i)}, args...)...)
		}
	}
	require.Equal(t, n, m.count(), "no bit stands past the raster")
}

// Sets of pixels are what their definitions say, pixel by pixel, whatever their width in words.
func TestMasksAreSets(t *testing.T) {
	for _, m := range rasters(t) {
		var all []int
		for i := range m.w * m.h {
			if m.has(i) {
				all = append(all, i)
			}
		}
		require.Equal(t, all, slices.Collect(m.all()))
		sameAs(t, m.others(), func(i int) bool { return !m.has(i) }, "others")
		odd := newMask(m.w, m.h)
		for i := 0; i < m.w*m.h; i += 3 {
			odd.put(i)
		}
		sameAs(t, m.without(odd), func(i int) bool { return m.has(i) && i%3 != 0 }, "without")
		x0, y0, x1, y1 := m.box()
		if len(all) == 0 {
			require.Equal(t, [4]int{}, [4]int{x0, y0, x1, y1})
			at, far := m.nearest(1, 1)
			require.Equal(t, -1, at)
			require.True(t, math.IsInf(far, 1))
			continue
		}
		column := func(i int) int { return i % m.w }
		require.Equal(t, [4]int{column(slices.MinFunc(all, func(a, b int) int { return column(a) - column(b) })), all[0] / m.w,
			column(slices.MaxFunc(all, func(a, b int) int { return column(a) - column(b) })) + 1, all[len(all)-1]/m.w + 1}, [4]int{x0, y0, x1, y1})
		for _, p := range [][2]float64{{0, 0}, {float64(m.w) - 1.3, 11.6}, {float64(m.w) / 2, -4}} {
			at, far := m.nearest(p[0], p[1])
			best := math.Inf(1)
			for _, i := range all {
				best = math.Min(best, math.Hypot(float64(i%m.w)-p[0], float64(i/m.w)-p[1]))
			}
			require.InDelta(t, best, far, 1e-12)
			require.True(t, m.has(at))
			require.InDelta(t, best, math.Hypot(float64(at%m.w)-p[0], float64(at/m.w)-p[1]), 1e-12)
		}
	}
}

// A dilation by r holds every pixel whose middle lies within r of one of the set; closing and opening are made of it and of
// its complement, and do nothing under a pixel.
func TestDilationIsTheDisc(t *testing.T) {
	for _, m := range rasters(t) {
		if m.w < 63 || m.w > 65 {
			continue
		}
		within := func(of mask, i int, r float64) bool {
			for dy := -6; dy <= 6; dy++ {
				for dx := -6; dx <= 6; dx++ {
					x, y := i%m.w+dx, i/m.w+dy
					if math.Hypot(float64(dx), float64(dy)) <= r+1e-9 && x >= 0 && y >= 0 && x < m.w && y < m.h && of.has(y*m.w+x) {
						return true
					}
				}
			}
			return false
		}
		for _, r := range []float64{0, 1, 1.5, 2.3, 5} { // 5² = 3² + 4² lies just on the disc
			sameAs(t, m.spread(r), func(i int) bool { return within(m, i, r) }, "spread by %g", r)
		}
		for _, r := range []float64{0.6, 1, 2.3} {
			wide, out := m.spread(r), m.others()
			gone, back := wide.others(), out.spread(r).others()
			closed := func(i int) bool { return !within(gone, i, r) }
			opened := func(i int) bool { return within(back, i, r) }
			if r < 1 {
				closed, opened = m.has, m.has
			}
			sameAs(t, m.closed(r), closed, "closed by %g", r)
			sameAs(t, m.opened(r), opened, "opened by %g", r)
		}
	}
}

// A flood reaches what is joined to its seeds by edges of pixels, and no more.
func TestFloodIsWhatIsJoined(t *testing.T) {
	for _, m := range rasters(t) {
		seeds := []int{0, m.w * m.h / 2, m.w*m.h - 1}
		reached := make([]bool, m.w*m.h)
		todo := slices.DeleteFunc(slices.Clone(seeds), func(i int) bool { return !m.has(i) })
		for len(todo) > 0 {
			i := todo[0]
			todo = todo[1:]
			if reached[i] {
				continue
			}
			reached[i] = true
			for _, step := range [][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
				x, y := i%m.w+step[0], i/m.w+step[1]
				if x >= 0 && y >= 0 && x < m.w && y < m.h && m.has(y*m.w+x) {
					todo = append(todo, y*m.w+x)
				}
			}
		}
		sameAs(t, m.flood(seeds), func(i int) bool { return reached[i] }, "flood")
	}
}

// The rim of a raster that is all field is its border, each pixel beside the one before; of a field that ends within it, the field's own border.
func TestRimOfAField(t *testing.T) {
	nan := float32(math.NaN())
	for _, left := range []int{0, 2} {
		s := reformat.Section{Width: 12, Height: 9, Step: 1, Grey: make([]float32, 12*9)}
		for i := range s.Grey {
			if i%12 < left {
				s.Grey[i] = nan
			}
		}
		seen := map[int]bool{}
		path := rimPath(s)
		for n, i := range path {
			x, y := i%12, i/12
			require.True(t, x == left || x == 11 || y == 0 || y == 8, "(%d, %d)", x, y)
			seen[i] = true
			next := path[(n+1)%len(path)]
			require.LessOrEqual(t, max(abs(x-next%12), abs(y-next/12)), 1)
		}
		require.Len(t, seen, 2*(12-left+9)-4)
	}
	require.Empty(t, rimPath(reformat.Section{Width: 2, Height: 1, Grey: []float32{nan, nan}}))
	require.InDelta(t, 7, leaves(3, 1, 10), 1e-12)
	require.InDelta(t, 14, leaves(3, 0.5, 10), 1e-12)
	require.InDelta(t, 4, leaves(3, -1, 10), 1e-12)
	require.True(t, math.IsInf(leaves(3, 0, 10), 1))
}

// Three kinds of grey value are told apart by bounds between them, whatever else a hundredth of the pixels shows; NaN is none.
func TestClassesLieBetweenTheKinds(t *testing.T) {
	s := reformat.Section{Width: 100, Height: 100, Grey: make([]float32, 10000)}
	for i := range s.Grey {
		s.Grey[i] = [3]float32{-1000, 50, 1600}[i%3] + float32(i%7)
	}
	for i := range 50 {
		s.Grey[97*i] = 30000 // metal
		s.Grey[89*i+1] = float32(math.NaN())
	}
	low, top := classes(s)
	require.True(t, low > -994 && low < 50, low)
	require.True(t, top > 56 && top < 1600, top)
	a, b := extent(s)
	require.Equal(t, [2]float32{-1000, 30000}, [2]float32{a, b})
	flat := reformat.Section{Width: 2, Height: 1, Grey: []float32{7, 7}}
	low, top = classes(flat)
	require.Equal(t, [2]float64{7, 7}, [2]float64{low, top})
	low, top = classes(reformat.Section{Width: 1, Height: 1, Grey: []float32{float32(math.NaN())}})
	require.Equal(t, [2]float64{}, [2]float64{low, top})
	a, b = extent(reformat.Section{Width: 1, Height: 1, Grey: []float32{float32(math.NaN())}})
	require.True(t, a != a && b != b)
}

// The inside of a jaw whose base the field cuts off stays inside, wherever the field's rim is begun to be followed: between two walls less than 25 mm
// apart, below the site. Walls that end above it, farther apart, or far from a straight opening bound nothing.
func TestCutBaseIsInside(t *testing.T) {
	filled := func(w int, step float64, arm bool, up bool) bool {
		h := 60
		s := reformat.Section{Width: w, Height: h, Step: step, Corner: reformat.UV{U: -step * float64(w) / 2, V: step * 30}, Grey: make([]float32, w*h)}
		m := newMask(w, h)
		put := func(x0, y0, x1, y1 int) {
			for y := y0; y < y1; y++ {
				for x := x0; x < x1; x++ {
					if up {
						m.put((h-1-y)*w + x)
					} else {
						m.put(y*w + x)
					}
				}
			}
		}
		put(10, 20, 14, h)     // a wall down to the field's end
		put(w-14, 20, w-10, h) // another
		put(10, 20, w-10, 24)  // the crest between them
		if arm {
			put(w-14, 28, w, 33) // where the rim begins
		}
		inside := (h - 10) * w
		if up {
			inside = 9 * w
		}
		return newCoarse(s).fill(m).has(inside + w/2)
	}
	require.True(t, filled(60, 0.25, false, false), "an opening of 8 mm")
	require.True(t, filled(60, 0.25, true, false), "bone where the rim begins")
	require.False(t, filled(60, 0.25, false, true), "above the site")
	require.True(t, filled(124, 0.25, false, false), "24 mm")
	require.False(t, filled(132, 0.25, false, false), "26 mm")
}
