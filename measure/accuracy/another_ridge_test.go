package accuracy_test

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/stat"
)

// A section is what the truth is read off: the curves of the jaw at the site, mm.
type section struct {
	bone   loop  // outer edge
	marrow loop  // endosteal edge
	cavity loop  // the cavity's bony wall; nil: none
	shell  loop  // the cavity's endosteal edge
	canal  *tube // nil: none
}

// A tube is a canal as marked. lean is the part of its direction, a unit vector, that lies in the
// section.
type tube struct {
	centre r2.Vec
	radius float64 // mm
	lean   r2.Vec  // no unit
}

// reach returns how far the tube's cut reaches from its centre toward unit vector a, mm:
//
//	max a·x  where  x² − (x·lean)² = r²   =   r·√(1 + (a·lean)² / (1 − lean²))
func (t *tube) reach(a r2.Vec) float64 {
	al := r2.Dot(a, t.lean)
	return t.radius * math.Sqrt(1+al*al/(1-r2.Norm2(t.lean)))
}

// A ridge is a section with its axis, down from the crest; across points buccally.
type ridge struct {
	section
	crest, axis, across r2.Vec
}

// findRidge finds the axis by its definition: the least-squares line through the mid-points of the
// widths at 1…8 mm, repeated until it stands. A width past a sinus floor counts, for the outline is the
// outer edge of the bone. inside is a point of the bone near the axis.
func findRidge(s section, inside r2.Vec) ridge {
	r := ridge{section: s}
	r.lay(inside, r2.Vec{Y: -1})
	for range 200 {
		var depth, middle []float64
		for h := 1.0; h <= 8; h++ {
			if lo, hi, ok := r.chord(h); ok {
				depth, middle = append(depth, h), append(middle, (lo+hi)/2)
			}
		}
		off, slope := stat.LinearRegression(depth, middle, nil, false)
		r.lay(r2.Add(r.at(2), r2.Scale(off+2*slope, r.across)), r2.Unit(r2.Add(r.axis, r2.Scale(slope, r.across))))
		if math.Abs(slope)+math.Abs(off) < 1e-10 {
			break
		}
	}
	return r
}

// lay puts the axis through a point inside the bone; the crest is where it leaves the bone coronally.
func (r *ridge) lay(inside, axis r2.Vec) {
	r.axis, r.across = axis, r2.Vec{X: -axis.Y, Y: axis.X}
	top, _, _ := around(r.bone.crossings(inside, axis))
	r.crest = r2.Add(inside, r2.Scale(top, axis))
}

// at returns the axis point h mm below the crest.
func (r *ridge) at(h float64) r2.Vec { return r2.Add(r.crest, r2.Scale(h, r.axis)) }

// chord returns the ends of the width h mm below the crest, in mm across the axis, lingual first; false
// where the axis is outside the bone.
func (r *ridge) chord(h float64) (lo, hi float64, ok bool) {
	return around(r.bone.crossings(r.at(h), r.across))
}

// around returns the crossings next to 0 on either side.
func around(crossings []float64) (lo, hi float64, ok bool) {
	lo, hi = math.Inf(-1), math.Inf(1)
	for _, x := range crossings {
		if x <= 0 {
			lo = max(lo, x)
		} else {
			hi = min(hi, x)
		}
	}
	return lo, hi, !math.IsInf(hi-lo, 0)
}

// clear reports whether the width at depth h keeps out of the cavity.
func (r *ridge) clear(h float64) bool { return r.within(r.cavity, h) == nil }

// within returns where the width at depth h crosses a loop, sorted.
func (r *ridge) within(l loop, h float64) []float64 {
	lo, hi, _ := r.chord(h)
	var in []float64
	for _, x := range l.crossings(r.at(h), r.across) {
		if x > lo && x < hi {
			in = append(in, x)
		}
	}
	slices.Sort(in)
	return in
}

// plates returns the thickness of the plates at depth h, mm; false where there is less than 1 mm of
// marrow between them (our choice: two plates, not one) or the cavity's cortex.
func (r *ridge) plates(h float64) (lingual, buccal float64, ok bool) {
	lo, hi, ok := r.chord(h)
	x := r.within(r.marrow, h)
	if !ok || len(x) != 2 || x[1]-x[0] < 1 || r.within(r.shell, h) != nil {
		return 0, 0, false
	}
	return x[0] - lo, hi - x[1], true
}

// height returns the ridge height, mm, and what it ends at.
func (r *ridge) height() (h float64, to string) {
	h, to = r.leaves(r.bone), "border"
	if c := r.leaves(r.cavity); c < h {
		h, to = c, "cavity"
	}
	if r.canal == nil {
		return h, to
	}
	if c := r2.Dot(r2.Sub(r.canal.centre, r.crest), r.axis) - r.canal.reach(r.axis); c < h {
		h, to = c, "canal"
	}
	return h, to
}

// leaves returns the least depth at which the axis crosses a loop below the crest itself, mm, or +Inf.
func (r *ridge) leaves(l loop) float64 {
	_, h, _ := around(l.crossings(r.at(0.5), r.axis))
	return 0.5 + h
}

// tilt returns the angle between straight down and the axis, degrees, positive when the base lies
// buccal.
func (r *ridge) tilt() float64 { return math.Atan2(r.axis.X, -r.axis.Y) * 180 / math.Pi }

// undercut returns the largest distance between one side's wall (+1: buccal, −1: lingual) and the line
// that touches it above and below, mm. Only the wall down to depth end counts.
//
// The lines are the edges of the wall's convex hull: each runs from a point of the wall to the one that
// lies most outward as seen from there.
func (r *ridge) undercut(side, end float64) (deep float64) {
	p := r.wall(side, end)
	for i := 0; i < len(p)-1; {
		best := i + 1
		for j := i + 2; j < len(p); j++ {
			if r2.Cross(r2.Sub(p[best], p[i]), r2.Sub(p[j], p[i])) > 0 {
				best = j
			}
		}
		line := r2.Unit(r2.Sub(p[best], p[i]))
		for j := i; j < best; j++ {
			deep = max(deep, -r2.Cross(line, r2.Sub(p[j], p[i])))
		}
		i = best
	}
	return deep
}

// wall returns the outline of one side from the crest to depth end or the base: X is the depth, Y the
// distance outward from the axis, mm.
func (r *ridge) wall(side, end float64) []r2.Vec {
	n, first := len(r.bone), 0
	for i, p := range r.bone {
		if r2.Norm(r2.Sub(p, r.crest)) < r2.Norm(r2.Sub(r.bone[first], r.crest)) {
			first = i
		}
	}
	var out []r2.Vec
	for k := range n { // counter-clockwise is the lingual way down
		d := r2.Sub(r.bone[((first-int(side)*k)%n+n)%n], r.crest)
		p := r2.Vec{X: r2.Dot(d, r.axis), Y: side * r2.Dot(d, r.across)}
		if k > 20 && (p.Y < 0 || p.X > end) { // the first points may lie beyond the axis
			break
		}
		out = append(out, p)
	}
	return out
}
