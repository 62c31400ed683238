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
	steepest = 2                 // cells a tube may move across from slab to slab: 0.8 mm in 2 mm
	border   = 8                 // cells each way that a score looks beyond its place
	half     = reach + border    // cells each way of a combined sheet
	drawn    = half + 2*steepest // cells each way of a slab: the outer ones move by two steps
	mapSide  = 2*reach + 1       // cells
	halfSide = 2*half + 1        // cells
	slabSide = 2*drawn + 1       // cells
)

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
// it, softened by half a voxel.
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

// blank reports whether a place within border cells of the path has no grey value.
func (s sheet) blank() bool {
	for j := -border; j <= border; j++ {
		for i := -border; i <= border; i++ {
			if g := s[inHalf(i, j)]; i*i+j*j <= border*border && g != g {
				return true
			}
		}
	}
	return false
}

// softened is the sheet under the weights ¼ ½ ¼ along a direction: sigma 0.28 mm.
func (s sheet) softened(stride int) sheet {
	o := slices.Clone(s)
	for i := stride; i < len(s)-stride; i++ {
		o[i] = (s[i-stride] + 2*s[i] + s[i+stride]) / 4
	}
	return o
}

const directions = 16 // ways out of a lumen

var lumenRadii = [...]float64{0.6, 1.0, 1.4, 1.9} // mm; what lies between is found by its neighbours

// stencil is where the score of one lumen radius looks, in steps of a combined sheet.
type stencil struct {
	lumen []int
	rays  [directions][]int
}

var stencils = sync.OnceValue(func() (s [len(lumenRadii)]stencil) {
	const from, to = 0.2, 1.05 // mm beyond the lumen's edge: the wall, or the marrow without one
	for k, r := range lumenRadii {
		n := int(r / cell)
		for y := -n; y <= n; y++ {
			for x := -n; x <= n; x++ {
				if cell*math.Hypot(float64(x), float64(y)) <= 0.75*r { // blur spoils the lumen's rim
					s[k].lumen = append(s[k].lumen, y*halfSide+x)
				}
			}
		}
		for d := range directions {
			sin, cos := math.Sincos(2 * math.Pi * float64(d) / directions)
			for rho := r + from; rho <= r+to; rho += cell {
				s[k].rays[d] = append(s[k].rays[d], int(math.Round(rho*sin/cell))*halfSide+int(math.Round(rho*cos/cell)))
			}
		}
	}
	return s
})

// score returns by how many grey values the ways out of a lumen at place `at` are brighter than it: the
// mean of the two least of them, nothing counting for more than limit.
func (t *stencil) score(s sheet, at int, limit float32) float64 {
	var lumen float32
	for _, d := range t.lumen {
		lumen += min(s[at+d], limit)
	}
	least, second := limit, limit
	for d := range t.rays {
		top := s[at+t.rays[d][0]]
		for _, e := range t.rays[d][1:] {
			top = max(top, s[at+e])
		}
		switch {
		case top != top:
			return math.NaN() // the field ends here
		case top < least:
			least, second = top, least
		case top < second:
			second = top
		}
	}
	return float64((least+second)/2 - lumen/float32(len(t.lumen)))
}

// tubeMap holds the best score of every place across a piece, over all radii and drifts.
type tubeMap struct {
	score  [mapSide * mapSide]float64 // −Inf where there is none
	radius [mapSide * mapSide]int
	drift  [mapSide * mapSide][2]int
}

// inMap and inHalf return where the place (i, j) cells from the path lies in a map and in a combined sheet.
func inMap(i, j int) int  { return (j+reach)*mapSide + i + reach }
func inHalf(i, j int) int { return (j+half)*halfSide + i + half }

// newTubeMap scores the places that lie deep enough.
func newTubeMap(s []sheet, limit float32, depth []float64) *tubeMap {
	m := &tubeMap{}
	for i := range m.score {
		m.score[i] = math.Inf(-1)
	}
	for a := -steepest; a <= steepest; a++ {
		for b := -steepest; b <= steepest; b++ {
			if a*a+b*b <= steepest*steepest+1 {
				m.take(combined(s, 0, slabs, a, b), limit, depth, [2]int{a, b})
			}
		}
	}
	return m
}

// take keeps the scores of one drift where they are the best.
func (m *tubeMap) take(s sheet, limit float32, depth []float64, drift [2]int) {
	t := stencils()
	for at, d := range depth {
		if !(d >= leastDepth) {
			continue
		}
		place := inHalf(at%mapSide-reach, at/mapSide-reach)
		for k := range t {
			if x := t[k].score(s, place, limit); x > m.score[at] {
				m.score[at], m.radius[at], m.drift[at] = x, k, drift
			}
		}
	}
}

// peak is a place that no neighbour beats.
type peak struct {
	x, y   float64 // mm
	score  float64 // grey values; later their share of the step from marrow to cortex
	i, j   int     // cells
	radius int     // of lumenRadii
	drift  [2]int  // cells a slab
}

// peaks returns the peaks above zero, the best first.
func (m *tubeMap) peaks() []peak {
	var out []peak
	for j := 1 - reach; j < reach; j++ {
		for i := 1 - reach; i < reach; i++ {
			if at := inMap(i, j); m.score[at] > 0 && m.top(i, j) {
				out = append(out, peak{m.refined(i, j, 1, 0), m.refined(i, j, 0, 1), m.score[at], i, j, m.radius[at], m.drift[at]})
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
	off := 0.0
	if d := a - 2*b + c; d < 0 && !math.IsInf(d, 0) {
		off = (a - c) / (2 * d)
	}
	return cell * (float64(i*di+j*dj) + off)
}

// steady reports whether the tube shows in both halves of the piece: a socket or a root does not.
func (p peak) steady(s []sheet, limit float32) bool {
	const share = 0.4
	all := stencils()
	t := &all[p.radius]
	for _, part := range [2][2]int{{0, slabs / 2}, {slabs - slabs/2, slabs}} {
		c := combined(s, part[0], part[1], p.drift[0], p.drift[1])
		best := math.Inf(-1)
		for b := -1; b <= 1; b++ {
			for a := -1; a <= 1; a++ {
				best = max(best, t.score(c, inHalf(p.i+a, p.j+b), limit))
			}
		}
		if !(best >= share*p.score) {
			return false
		}
	}
	return true
}
