package trace

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// What [LookShort] looks for; shares are of the step from marrow to cortex. Our choice, tried on synthetic upper
// jaws: what moves them moves which marks are called wrong, and no number.
const (
	sheetStep  = 1.0  // mm along the path between two sheets across it
	shortWall  = 0.25 // what bone around counts at most above marrow
	airBelow   = 0.5  // darker than marrow by more is air: the mouth, the nose
	shortSeen  = 0.25 // mm · share: the least that is a canal: 1 mm of a dark lumen between cortex
	shortRival = 0.5  // mm · share: the least that speaks against a mark
)

// shortRadii are the lumina looked for, mm. A wider one answers to the widest: its way out is 3.5 mm long.
var shortRadii = [...]float64{1.0, 1.6, 2.3}

var shortStencils = sync.OnceValue(func() (s [len(shortRadii)]stencil) {
	for k, r := range shortRadii {
		s[k] = newStencil(r, r+1.2)
	}
	return s
})

// ErrLevels says that the greys of bone are none.
var ErrLevels = errors.New("trace: cortex is no brighter than marrow")

// LookShort returns what the image shows of a short, wide canal, such as the incisive canal: in one piece, and without a
// depth below the bone's surface, because such a canal pierces the bone and may lie open. A place across the path is as
// canal-like as its lumen is darker than the brightest grey on each of 16 ways out, of which the two least count,
// summed along the path (Here, There and Usual are mm · share). What is as dark as air is none. marrow and cortex are
// the grey values of this series. Of the options only SD is used.
//
// A path that is none comes back as an error wrapping [ErrPath], levels that are none as [ErrLevels].
func LookShort(v *volume.Volume, path []r3.Vec, marrow, cortex float64, o LookOptions) (Piece, error) {
	if err := checkVolume(v); err != nil {
		return Piece{}, err
	}
	if err := checkPath(path, o); err != nil {
		return Piece{}, err
	}
	if !(cortex > marrow) || math.IsInf(cortex-marrow, 0) {
		return Piece{}, fmt.Errorf("%w: %g and %g", ErrLevels, cortex, marrow)
	}
	points, step := evenly(path)
	c := newCrossing(points, 0)
	p := Piece{To: step * float64(len(points)-1), At: points[len(points)/2]}
	if p.Why = c.why; p.Why == "" {
		p.Why = untested(v, p.At, o)
	}
	if p.Why != "" {
		return p, nil
	}
	m := newShortMap(v, c, levels{marrow: marrow, cortex: cortex}, max(1, int(math.Round(sheetStep/step))))
	m.answer(c, tolerance(v, o), &p)
	return p, nil
}

// shortMap holds how canal-like every place across a path is, mm · share, summed along it.
type shortMap [mapSide * mapSide]float64

// newShortMap sums sheets of n points of the path each.
func newShortMap(v *volume.Volume, c *crossing, g levels, n int) *shortMap {
	m := &shortMap{}
	long := r3.Norm(r3.Sub(c.points[len(c.points)-1], c.points[0]))
	parts := max(1, len(c.points)/n)
	for k := range parts {
		part := c.points[k*len(c.points)/parts : (k+1)*len(c.points)/parts]
		s := combined([]sheet{slab(v, part, c.u, c.w)}, 0, 1, 0, 0)
		for at := range m {
			m[at] += long / float64(parts) * shortScore(s, inHalf(ofMap(at)), g)
		}
	}
	return m
}

// shortScore returns how canal-like a place of a sheet is, at the radius that suits it best, as a share of the step.
func shortScore(s sheet, at int, g levels) float64 {
	best := float32(0)
	for _, t := range shortStencils() {
		var lumen float32
		for _, d := range t.lumen {
			lumen += s[at+d] / float32(len(t.lumen))
		}
		if !(float64(lumen) > g.marrow-airBelow*g.step()) {
			continue
		}
		best = max(best, t.enclosed(s, at, float32(g.marrow+shortWall*g.step()))-lumen)
	}
	return float64(best) / g.step()
}

// enclosed returns the mean of the two least bright of the ways out, none brighter than wall; NaN where the field ends.
func (t *stencil) enclosed(s sheet, at int, wall float32) float32 {
	least, second := wall, wall
	for _, way := range t.out {
		top := s[at+way[0]]
		for _, e := range way[1:] {
			top = max(top, s[at+e])
		}
		if top != top {
			return top
		}
		least, second = min(least, top), min(second, max(least, top))
	}
	return (least + second) / 2
}

// answer says what the map means for the mark in its middle.
func (m *shortMap) answer(c *crossing, tolerance float64, p *Piece) {
	here, rival := 0, 0
	for at, x := range m {
		i, j := ofMap(at)
		switch d := cell * math.Hypot(float64(i), float64(j)); {
		case d <= tolerance:
			if x > p.Here {
				p.Here, here = x, at
			}
		case d <= farthestAway && x > p.There:
			p.There, p.Away, rival = x, d, at
		}
	}
	p.Usual, p.Answer = m.usual(rival), NotShown
	switch {
	case p.There >= max(shortRival, overUsual*p.Usual, rivalOverMark*p.Here):
		p.Answer = Elsewhere
	case p.Here >= shortSeen:
		p.Answer = Seen
		if x, y := m.middle(here); math.Hypot(x, y) > tolerance {
			p.Answer, p.Away, p.Rival = Elsewhere, math.Hypot(x, y), c.across(p.At, x, y)
			return
		}
	}
	if p.There > 0 {
		i, j := ofMap(rival)
		p.Rival = c.across(p.At, cell*float64(i), cell*float64(j))
	}
}

// across returns the point x and y mm across the path from one of its points.
func (c *crossing) across(p r3.Vec, x, y float64) r3.Vec {
	return r3.Add(p, r3.Add(r3.Scale(x, c.u), r3.Scale(y, c.w)))
}

// middle returns the middle of the lumen that a place lies in, mm from the path: of the places joined to it that are at
// least half as canal-like. A wide lumen is as dark at its side as in its middle.
func (m *shortMap) middle(from int) (x, y float64) {
	least, seen, next := m[from]/2, map[int]bool{from: true}, []int{from}
	for k := 0; k < len(next); k++ {
		i, j := ofMap(next[k])
		x, y = x+cell*float64(i), y+cell*float64(j)
		for _, d := range [][2]int{{1, 0}, {-1, 0}, {0, 1}, {0, -1}} {
			if i, j := i+d[0], j+d[1]; max(i, -i, j, -j) <= reach && m[inMap(i, j)] >= least && !seen[inMap(i, j)] {
				seen[inMap(i, j)], next = true, append(next, inMap(i, j))
			}
		}
	}
	return x / float64(len(next)), y / float64(len(next))
}

// usual returns how canal-like places are that are none: the 90th percentile of the peaks apart from the best.
func (m *shortMap) usual(best int) float64 {
	const apart = 2.5 // mm
	bi, bj := ofMap(best)
	var s []float64
	for j := 1 - reach; j < reach; j++ {
		for i := 1 - reach; i < reach; i++ {
			x := m[inMap(i, j)]
			if x <= 0 || cell*math.Hypot(float64(i-bi), float64(j-bj)) <= apart {
				continue
			}
			if x >= max(m[inMap(i-1, j)], m[inMap(i+1, j)], m[inMap(i, j-1)], m[inMap(i, j+1)]) {
				s = append(s, x)
			}
		}
	}
	if len(s) == 0 {
		return 0
	}
	slices.Sort(s)
	return s[len(s)*9/10]
}
