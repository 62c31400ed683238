package ridge

import (
	"math"
	"slices"

	"ridgerule/measure/fit"
	"ridgerule/measure/reformat"
)

// The stretch of section that is searched, mm about the site: a jaw fits into it wherever on the
// ridge the arch was drawn.
var (
	searchMin = reformat.UV{U: -17, V: -46}
	searchMax = reformat.UV{U: 17, V: 20}
)

// How a bone is told from its surroundings in the coarse pass. None of these numbers moves an
// edge that is measured; they decide which pixels are looked at.
const (
	solid      = 0.86 // share of its own closed shape that a whole bone fills; a broken ring fills less
	leastSolid = 0.35 // of a bone at all
	bridge     = 3.0  // mm; the closing that makes the closed shape
	leastBone  = 12.0 // mm²
	farthest   = 9.0  // mm from the site to the bone that is meant
)

// boneOver is how far the grey value that bounds bone lies over soft tissue at least, as a share of the step from soft tissue
// to cortex: over its noise, and under half of what a plate of the blur's width reaches. Our choice. Where a sinus opens a bone,
// what bounds the mucosa bounds more of a whole shape than what bounds the bone.
const boneOver = 0.15

// leastBone is the least grey value that may bound bone; -Inf where nothing is known of the series.
func (t ImageModel) leastBone() float64 {
	if !(t.Cortex > t.Soft) {
		return math.Inf(-1)
	}
	return t.Soft + boneOver*(t.Cortex-t.Soft)
}

// gaps are the half-widths of the gaps in a bone that are closed, mm, tried in this order.
var gaps = [...]float64{0, 0.5, 1}

// bone finds the bone that contains the site, or lies nearest to it, as a filled set of pixels,
// and the grey value that bounds it, which is at least the one given.
func bone(c coarse, least float64) (filled mask, level float64, ok bool) {
	low, top := classes(c.Section)
	best, tried := -1.0, math.Inf(1)
	for _, f := range []float64{0, 0.15, 0.3, 0.45, 0.6, 0.75} { // of the way down to the lower bound, until a whole bone shows
		t := max(top-f*(top-low), least)
		if t == tried {
			break
		}
		tried = t
		for _, r := range gaps {
			m, share := c.boneAt(t, r/c.Step)
			if share > best {
				filled, level, best = m, t, share
			}
			if share >= solid {
				return m, t, true
			}
		}
	}
	return filled, level, best > leastSolid
}

// coarse is the raster of the coarse pass with what does not depend on a threshold.
type coarse struct {
	reformat.Section
	rim   []int // see [rimPath]
	known mask  // the pixels that have a grey value
}

func newCoarse(s reformat.Section) coarse {
	return coarse{s, rimPath(s), pixelsOf(s, func(g float32) bool { return g == g })}
}

// boneAt thresholds at level, closes gaps of radius r pixels, fills what is enclosed and keeps the
// part at the site. share says how whole that part is; negative: none.
func (c coarse) boneAt(level, r float64) (bone mask, share float64) {
	m := pixelsOf(c.Section, func(g float32) bool { return float64(g) > level })
	m = c.fill(m.closed(r)).opened(0.4 / c.Step) // without threads under 0.8 mm wide
	x, y := c.Pixel(reformat.UV{})
	at, far := m.nearest(x, y)
	if at < 0 || far*c.Step > farthest {
		return m, -1
	}
	part := m.flood([]int{at})
	area := float64(part.count()) * c.Step * c.Step
	if area < leastBone {
		return part, -1
	}
	whole := c.fill(part.closed(bridge / c.Step)).count()
	return part, float64(part.count()) / float64(whole)
}

// fill adds to m every pixel that the outside cannot reach. What lies beyond the field is a wall:
// marrow cut off by the field's edge stays inside when bone flanks the cut on both sides.
func (c coarse) fill(m mask) mask {
	return c.known.without(c.known.without(m).flood(slices.Concat(c.borderRuns(m)...)))
}

// cutBase is the widest opening, mm, between two walls of bone cut off by the field's edge that is
// taken for the inside of the jaw. Wider than any jaw section is thick; our choice.
const cutBase = 25.0

// borderRuns returns the stretches of background along the rim of the field, without those that
// bone flanks on both sides below the site and that run straight from one to the other: the inside
// of a jaw whose base was cut off.
func (c coarse) borderRuns(m mask) [][]int {
	if len(c.rim) == 0 {
		return nil
	}
	first := slices.IndexFunc(c.rim, m.has)
	if first < 0 {
		return [][]int{c.rim}
	}
	var runs [][]int
	var run []int
	flush := func() {
		if len(run) == 0 {
			return
		}
		a, b := run[0], run[len(run)-1]
		chord := math.Hypot(float64(a%m.w-b%m.w), float64(a/m.w-b/m.w)) * c.Step
		_, y := c.Pixel(reformat.UV{})
		below := float64(a/m.w) > y && float64(b/m.w) > y
		straight := float64(len(run))*c.Step < 1.6*chord+2 // a half circle is 1.57 of its chord; 2 mm for its pixels
		if !(below && chord < cutBase && straight) {
			runs = append(runs, run)
		}
		run = nil
	}
	for n := range c.rim {
		i := c.rim[(first+n)%len(c.rim)]
		if m.has(i) {
			flush()
			continue
		}
		run = append(run, i)
	}
	flush()
	return runs
}

// rimPath returns the pixels of the field along its rim, in order round it: for each direction
// from the field's middle the outermost pixel that has a value. A plane cuts a convex field from a
// volume, all of whose rim its middle sees.
func rimPath(s reformat.Section) []int {
	cx, cy, count := 0.0, 0.0, 0.0
	for i, g := range s.Grey {
		if g == g {
			cx, cy, count = cx+float64(i%s.Width), cy+float64(i/s.Width), count+1
		}
	}
	cx, cy = cx/math.Max(1, count), cy/math.Max(1, count)
	far := math.Hypot(math.Max(cx, float64(s.Width)-cx), math.Max(cy, float64(s.Height)-cy))
	n := 4 * (s.Width + s.Height)
	var path []int
	for a := range n {
		sin, cos := math.Sincos(2 * math.Pi * float64(a) / float64(n))
		within := math.Min(leaves(cx, cos, s.Width), leaves(cy, sin, s.Height))
		for r := far - 0.5*math.Floor(2*math.Max(0, far-within)); r >= 0; r -= 0.5 { // half a pixel: none is passed over
			x, y := int(math.Round(cx+r*cos)), int(math.Round(cy+r*sin))
			if x < 0 || y < 0 || x >= s.Width || y >= s.Height {
				continue
			}
			if i := y*s.Width + x; s.Grey[i] == s.Grey[i] {
				if len(path) == 0 || path[len(path)-1] != i {
					path = append(path, i)
				}
				break
			}
		}
	}
	return path
}

// leaves returns how far from x a ray of the given direction leaves a raster of n pixels, a pixel's width
// after it at most; +Inf: never.
func leaves(x, dir float64, n int) float64 {
	switch {
	case dir > 0:
		return (float64(n) - x) / dir
	case dir < 0:
		return (x + 1) / -dir
	}
	return math.Inf(1)
}

// classes splits the section's grey values into three by Otsu's criterion and returns the two
// bounds. Values above the 99th percentile, enamel and metal, are held to it (our choice): they are not a class
// that concerns bone.
//
// Source: Otsu N. IEEE Trans Syst Man Cybern 1979;9:62–66.
func classes(s reformat.Section) (low, top float64) {
	values := make([]float64, 0, len(s.Grey))
	for _, g := range s.Grey {
		if g == g {
			values = append(values, float64(g))
		}
	}
	if len(values) == 0 {
		return 0, 0
	}
	from, to := slices.Min(values), fit.Nth(values, int(0.99*float64(len(values)-1)))
	if !(to > from) {
		return from, from
	}
	const n = 128
	width := (to - from) / n
	var hist [n]float64
	for _, v := range values {
		hist[max(0, min(n-1, int((v-from)/width)))]++
	}
	a, b := otsu3(hist[:])
	return from + float64(a)*width, from + float64(b)*width
}

// extent returns the least and the greatest grey value of a section; NaN where it has none.
func extent(s reformat.Section) (low, high float32) {
	low, high = float32(math.NaN()), float32(math.NaN())
	for _, g := range s.Grey {
		if !(g >= low) && g == g {
			low = g
		}
		if !(g <= high) && g == g {
			high = g
		}
	}
	return low, high
}

// otsu3 returns the bins at which the second and third class begin, for the largest variance
// between three classes.
func otsu3(hist []float64) (a, b int) {
	n := len(hist)
	count, sum := make([]float64, n+1), make([]float64, n+1)
	for i, h := range hist {
		count[i+1], sum[i+1] = count[i]+h, sum[i]+h*float64(i)
	}
	between := func(i, j int) float64 { // Σ²/count of bins i…j−1; the total mean is common to all
		if count[j] == count[i] {
			return 0
		}
		d := sum[j] - sum[i]
		return d * d / (count[j] - count[i])
	}
	var last []float64 // of the third class, by where it begins
	for j := range n {
		last = append(last, between(j, n))
	}
	best := -1.0
	for i := 1; i < n-1; i++ {
		first := between(0, i)
		for j := i + 1; j < n; j++ {
			if v := first + between(i, j) + last[j]; v > best {
				a, b, best = i, j, v
			}
		}
	}
	return a, b
}
