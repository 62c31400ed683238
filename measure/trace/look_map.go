package trace

import (
	"math"
	"slices"
	"sort"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// What [Look] samples across a piece of path. A cell is a pixel of the maps.
const (
	cell     = 0.4               // mm; an eighth of a usual canal with its wall
	reach    = 21                // cells each way that get a score: 8.4 mm
	slabs    = 5                 // equal parts of a piece, each averaged along the path
	steepest = 1                 // cells a tube may move across from slab to slab: 0.4 mm in 2 mm, 11°
	border   = 9                 // cells each way that a score looks beyond its place: 3.6 mm
	half     = reach + border    // cells each way of a combined sheet
	drawn    = half + 2*steepest // cells each way of a slab: the outer ones move by two steps
	mapSide  = 2*reach + 1       // cells
	halfSide = 2*half + 1        // cells
	slabSide = 2*drawn + 1       // cells
)

// inMap and inHalf return where the place (i, j) cells from the path lies in a map and in a combined sheet.
func inMap(i, j int) int  { return (j+reach)*mapSide + i + reach }
func inHalf(i, j int) int { return (j+half)*halfSide + i + half }

// ofMap is the inverse of inMap.
func ofMap(at int) (i, j int) { return at%mapSide - reach, at/mapSide - reach }

// sheet is the picture across a path, a mean along a part of a piece: rows of grey values.
type sheet []float32

// slab returns the mean of the planes spanned by u and w through the points.
func slab(v *volume.Volume, points []r3.Vec, u, w r3.Vec) sheet {
	s := make(sheet, slabSide*slabSide)
	p := volume.Plane{StepX: r3.Scale(cell, u), StepY: r3.Scale(cell, w), Width: slabSide, Height: slabSide}
	var plane []float32
	for _, q := range points {
		p.Origin = r3.Sub(q, r3.Scale(drawn*cell, r3.Add(u, w)))
		plane = v.Sample(plane, p)
		for i, g := range plane {
			s[i] += g / float32(len(points))
		}
	}
	return s
}

// combined returns the mean of slabs from ≤ k < to, each moved by (a, b) cells against the one before
// it, softened by less than a voxel.
func combined(s []sheet, from, to, a, b int) sheet {
	sum := make(sheet, halfSide*halfSide)
	for k := from; k < to; k++ {
		dx, dy := drawn-half+a*(k-slabs/2), drawn-half+b*(k-slabs/2)
		for y := range halfSide {
			for x, g := range s[k][(y+dy)*slabSide+dx:][:halfSide] {
				sum[y*halfSide+x] += g / float32(to-from)
			}
		}
	}
	return sum.softened(1).softened(halfSide)
}

// softened is the sheet under the weights ¼ ½ ¼ along a direction: sigma 0.28 mm.
func (s sheet) softened(stride int) sheet {
	o := slices.Clone(s)
	for i := stride; i < len(s)-stride; i++ {
		o[i] = (s[i-stride] + 2*s[i] + s[i+stride]) / 4
	}
	return o
}

// blank reports whether a place within mm of the path has no grey value.
func (s sheet) blank(mm float64) bool {
	n := int(mm / cell)
	for j := -n; j <= n; j++ {
		for i := -n; i <= n; i++ {
			if g := s[inHalf(i, j)]; i*i+j*j <= n*n && g != g {
				return true
			}
		}
	}
	return false
}

const (
	directions = 16 // ways out of a lumen
	turn       = 5  // from one to the next; no divisor in common: what is open to one side is soon found to be
)

var (
	// lumenRadii are those looked for, mm: a canal's lumen, by what is left of it after blur. A wider one
	// answers to the widest: its way out is 2.3 mm long.
	lumenRadii = [...]float64{0.6, 0.9, 1.3}

	// wallShares is what a way out counts at most above marrow, as a share of the step to cortex: a
	// wall counts, but not where it is so far out that it may be the plates around marrow.
	wallShares = [len(lumenRadii)]float64{0.25, 0.25, 0.03}
)

const (
	plateShare = 0.05 // the same where what is met goes on, as plates do and canal walls do not
	pastShare  = 0.2  // below this it does not go on
)

// bounds are the grey values that ways out are held to.
type bounds struct {
	wall        [len(lumenRadii)]float32 // most that one counts
	plate, past float32                  // most where it does not fall below past again
}

func (g levels) bounds() bounds {
	at := func(share float64) float32 { return float32(g.marrow + share*g.step()) }
	b := bounds{plate: at(plateShare), past: at(pastShare)}
	for k, share := range wallShares {
		b.wall[k] = at(share)
	}
	return b
}

// stencil is where the score of one lumen radius looks, in steps of a combined sheet.
type stencil struct {
	lumen     []int
	out, past [directions][]int // each way out: where a wall is looked for, and behind it
}

var stencils = sync.OnceValue(func() (s [len(lumenRadii)]stencil) {
	for k, r := range lumenRadii {
		s[k] = newStencil(r, r+1.05)
		for d := range directions {
			s[k].past[d] = wayFrom(r+1.4, r+2.3, d)
		}
	}
	return s
})

// newStencil looks for a wall from 0.2 mm outside a lumen's radius on, mm.
func newStencil(r, to float64) (s stencil) {
	for y := -3; y <= 3; y++ {
		for x := -3; x <= 3; x++ {
			if cell*math.Hypot(float64(x), float64(y)) <= 0.6*r { // blur spoils the rim
				s.lumen = append(s.lumen, y*halfSide+x)
			}
		}
	}
	for d := range directions {
		s.out[d] = wayFrom(r+0.2, to, d)
	}
	return s
}

// wayFrom returns the steps of way d out of a lumen between two distances from its middle, mm.
func wayFrom(from, to float64, d int) (steps []int) {
	sin, cos := math.Sincos(2 * math.Pi * float64(turnOf(d)) / directions)
	for rho := from; rho <= to; rho += cell {
		steps = append(steps, int(math.Round(rho*sin/cell))*halfSide+int(math.Round(rho*cos/cell)))
	}
	return steps
}

// score returns by how many grey values the ways out of a lumen at place at are brighter than it: the
// mean of the two least of them. Where that is no more than worth, it returns worth. What goes on behind a wall is a
// plate: a canal may lie against one, but between two there is marrow everywhere, and plates then count little.
func (t *stencil) score(s sheet, at int, b bounds, wall, worth float32) float32 {
	var lumen float32
	for _, d := range t.lumen {
		lumen += s[at+d] / float32(len(t.lumen))
	}
	least, second := wall, wall
	plates := uint(0)
	take := func(top float32) { least, second = min(least, top), min(second, max(least, top)) }
	for d := range t.out {
		top, plate := t.wayOut(s, at, d, b)
		if top != top {
			return worth // the field ends here
		}
		if plate {
			plates |= 1 << turnOf(d)
		}
		if take(top); !((least+second)/2-lumen > worth) {
			return worth
		}
	}
	if opposite(plates) { // at least two
		take(b.plate)
		take(b.plate)
	}
	return max(worth, (least+second)/2-lumen)
}

// turnOf returns which of the ways out d is, counted around.
func turnOf(d int) int { return turn * d % directions }

// opposite reports whether plates stand on opposite sides: no half of all ways around is free of them.
func opposite(plates uint) bool {
	const free = 1<<(directions/2) - 1
	around := plates | plates<<directions
	for d := range directions {
		if around>>d&free == 0 {
			return false
		}
	}
	return true
}

// wayOut returns the brightest grey value on way d out of a lumen, and whether it goes on, as plates do and
// canal walls do not.
func (t *stencil) wayOut(s sheet, at, d int, b bounds) (top float32, plate bool) {
	top = s[at+t.out[d][0]]
	for _, e := range t.out[d][1:] {
		top = max(top, s[at+e])
	}
	if !(top > b.plate) {
		return top, false
	}
	for _, e := range t.past[d] {
		if !(s[at+e] > b.past) {
			return top, false
		}
	}
	return top, true
}

// tubeMap holds the best score of every place across a piece, over all radii and drifts.
type tubeMap struct {
	score  [mapSide * mapSide]float32 // grey values; 0 where nothing is like a canal
	radius [mapSide * mapSide]int     // of lumenRadii
	drift  [mapSide * mapSide][2]int  // cells from slab to slab
}

// newTubeMap scores the places that lie deep enough.
func newTubeMap(s []sheet, g levels, depth []float64) *tubeMap {
	m := &tubeMap{}
	for a := -steepest; a <= steepest; a++ {
		for b := -steepest; b <= steepest; b++ {
			m.take(combined(s, 0, slabs, a, b), g.bounds(), depth, [2]int{a, b})
		}
	}
	return m
}

// take keeps the scores of one drift where they are the best.
func (m *tubeMap) take(s sheet, b bounds, depth []float64, drift [2]int) {
	t := stencils()
	for at, d := range depth {
		if !(d >= leastDepth) {
			continue
		}
		for k := range t {
			if x := t[k].score(s, inHalf(ofMap(at)), b, b.wall[k], m.score[at]); x > m.score[at] {
				m.score[at], m.radius[at], m.drift[at] = x, k, drift
			}
		}
	}
}

// peak is a place that no neighbour beats.
type peak struct {
	x, y   float64 // mm
	score  float64 // as a share of the step from marrow to cortex
	i, j   int     // cells
	radius int     // of lumenRadii
	drift  [2]int  // cells from slab to slab
}

// peaks returns the peaks, the best first.
func (m *tubeMap) peaks(g levels) []peak {
	var out []peak
	for j := 1 - reach; j < reach; j++ {
		for i := 1 - reach; i < reach; i++ {
			if at := inMap(i, j); m.score[at] > 0 && m.top(i, j) {
				score := float64(m.score[at]) / g.step()
				out = append(out, peak{m.refined(i, j, 1, 0), m.refined(i, j, 0, 1), score, i, j, m.radius[at], m.drift[at]})
			}
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].score > out[b].score })
	return out
}

func (m *tubeMap) top(i, j int) bool {
	for b := -1; b <= 1; b++ {
		for a := -1; a <= 1; a++ {
			if m.score[inMap(i+a, j+b)] > m.score[inMap(i, j)] {
				return false
			}
		}
	}
	return true
}

// refined returns where the parabola through a peak and its neighbours in direction (di, dj) is highest, mm.
func (m *tubeMap) refined(i, j, di, dj int) float64 {
	a, b, c := m.score[inMap(i-di, j-dj)], m.score[inMap(i, j)], m.score[inMap(i+di, j+dj)]
	off := float32(0)
	if d := a - 2*b + c; d < 0 {
		off = (a - c) / (2 * d)
	}
	return cell * (float64(i*di+j*dj) + float64(off))
}

// steady reports whether the tube shows in both halves of the piece: a socket or a root does not.
func (p peak) steady(s []sheet, g levels) bool {
	const share = 0.15 // of the whole's score; a root beside a canal may take most of one half's
	b, all := g.bounds(), stencils()
	for _, part := range [2][2]int{{0, slabs / 2}, {slabs - slabs/2, slabs}} {
		c, best := combined(s, part[0], part[1], p.drift[0], p.drift[1]), float32(0)
		for dj := -1; dj <= 1; dj++ {
			for di := -1; di <= 1; di++ {
				best = all[p.radius].score(c, inHalf(p.i+di, p.j+dj), b, b.wall[p.radius], best)
			}
		}
		if float64(best) < share*p.score*g.step() {
			return false
		}
	}
	return true
}
