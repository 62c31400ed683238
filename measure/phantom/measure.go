package phantom

import (
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"
)

// How far truth looks from a point in the ridge, mm.
const (
	across = 14.0 // to either side
	along  = 45.0 // down to the base
	hollow = 18.5 // down the wall of a maxilla, whose base is no edge of the ridge
)

// line is an axis in a section: crest point, unit vector to the base, unit vector to buccal
// across it in the section.
type line struct{ crest, axis, side r3.Vec }

// TruthIn returns what a perfect measurement in the given section finds: for the axis that
// the ridge itself defines there (axis nil), or along a given one from crest to base.
// near is a point in the ridge, where the search for it starts (mm, patient).
// It returns an error wrapping [ErrNoChord] where the section misses the ridge.
func (j *Jaw) TruthIn(sec Section, near r3.Vec, axis *r3.Vec) (AxisTruth, error) {
	near = inPlane(sec, near)
	var l line
	var err error
	if axis != nil {
		l, err = j.lineAlong(sec, near, *axis)
	} else {
		l, err = j.ridgeLine(sec, near)
	}
	if err != nil {
		return AxisTruth{}, err
	}
	t := AxisTruth{Axis: l.axis, Crest: l.crest, Heights: j.heights(sec, l), Beside: j.besideSeptum(l), Socket: j.socketTruth(l)}
	t.Tilt = math.Atan2(r3.Dot(l.axis, sec.Buccal), -r3.Dot(l.axis, sec.Up)) * 180 / math.Pi
	for h := 1.0; h <= 10; h++ {
		if w, ok := j.width(l, h); ok {
			t.Widths = append(t.Widths, w)
		}
	}
	t.Buccal = j.hollow(l, 1, t.Heights)
	t.Lingual = j.hollow(l, -1, t.Heights)
	return t, nil
}

// inPlane drops the part of p that stands out of the section.
func inPlane(sec Section, p r3.Vec) r3.Vec {
	n := r3.Cross(sec.Buccal, sec.Up)
	return r3.Sub(p, r3.Scale(r3.Dot(r3.Sub(p, sec.Origin), n), n))
}

// lineAlong is the line through near along axis, laid into the section.
func (j *Jaw) lineAlong(sec Section, near, axis r3.Vec) (line, error) {
	axis = r3.Unit(r3.Add(r3.Scale(r3.Dot(axis, sec.Buccal), sec.Buccal), r3.Scale(r3.Dot(axis, sec.Up), sec.Up)))
	l := line{axis: axis}
	l.side = r3.Add(r3.Scale(-r3.Dot(axis, sec.Up), sec.Buccal), r3.Scale(r3.Dot(axis, sec.Buccal), sec.Up))
	x := j.crossings(outerSurface, near, axis, -20, 3)
	if len(x) == 0 {
		return line{}, fmt.Errorf("%w: no crest above %.2f", ErrNoChord, near)
	}
	l.crest = r3.Add(near, r3.Scale(x[0], axis))
	return l, nil
}

// ridgeLine finds the ridge's own axis: the least-squares line through the middles of the
// widths at 1…8 mm, the widths taken across that same line. At the solution the middles'
// offsets are uncorrelated with their depths and of mean zero.
func (j *Jaw) ridgeLine(sec Section, near r3.Vec) (line, error) {
	l, err := j.lineAlong(sec, near, j.drawnAxis(sec))
	for i := 0; err == nil && i < 300; i++ {
		slope, shift, n := j.midline(l)
		if n < 3 {
			return line{}, fmt.Errorf("%w: %d widths below %.2f, no axis", ErrNoChord, n, l.crest)
		}
		if math.Abs(slope) < 1e-10 && math.Abs(shift) < 1e-9 {
			break
		}
		through := r3.Add(r3.Add(l.crest, r3.Scale(4.5, l.axis)), r3.Scale(shift, l.side))
		l, err = j.lineAlong(sec, through, r3.Add(l.axis, r3.Scale(slope, l.side)))
	}
	return l, err
}

// midline fits the middles' offsets from l: their slope over depth and their value at 4.5 mm.
func (j *Jaw) midline(l line) (slope, shift float64, n int) {
	var sx, sy, sxx, sxy float64
	for h := 1.0; h <= 8; h++ {
		a, b, err := j.Chord(r3.Add(l.crest, r3.Scale(h, l.axis)), l.side, across)
		if err != nil {
			continue
		}
		x, y := h-4.5, (a+b)/2
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	if n < 3 {
		return 0, 0, n
	}
	m := float64(n)
	slope = (sxy - sx*sy/m) / (sxx - sx*sx/m)
	return slope, (sy - slope*sx) / m, n
}

// drawnAxis is the axis with which the shape was drawn at the section's place.
func (j *Jaw) drawnAxis(sec Section) r3.Vec {
	var pl place
	j.shape.put(j.toJaw(sec.Origin), &pl)
	return r3.Sub(r3.Scale(pl.sin, sec.Buccal), r3.Scale(pl.cos, sec.Up))
}

// width is the chord at depth h with its plates; no plates below the floor of a cavity.
func (j *Jaw) width(l line, h float64) (WidthTrue, bool) {
	p := r3.Add(l.crest, r3.Scale(h, l.axis))
	a, b, err := j.Chord(p, l.side, across)
	if err != nil {
		return WidthTrue{}, false
	}
	w := WidthTrue{At: h, Width: b - a}
	if len(j.crossings(antrumSurface, p, l.side, a, b)) == 0 {
		if lingual, buccal := j.plates(p, l.side, a, b); !math.IsNaN(lingual) {
			w.Buccal, w.Lingual = &buccal, &lingual
		}
	}
	return w, true
}

// heights lists the limits below the crest, the nearest first.
func (j *Jaw) heights(sec Section, l line) []HeightTrue {
	var out []HeightTrue
	if j.opt.Jaw == Mandible {
		for _, c := range j.shape.canal {
			if h, ok := j.roof(sec, l, c); ok {
				out = append(out, HeightTrue{"canal", h})
			}
		}
		if x := j.crossings(outerSurface, l.crest, l.axis, 0.5, along); len(x) > 0 {
			out = append(out, HeightTrue{"border", x[len(x)-1]})
		}
	} else {
		for _, c := range []struct {
			to      string
			surface int
		}{{"sinus", sinusSurface}, {"nasal_floor", nasalSurface}} {
			if h, ok := j.floor(l, c.surface); ok {
				out = append(out, HeightTrue{c.to, h})
			}
		}
	}
	sort.Slice(out, func(a, b int) bool { return out[a].Height < out[b].Height })
	return out
}

// floor is where the axis leaves bone into a cavity, before it leaves the bone otherwise.
func (j *Jaw) floor(l line, surface int) (float64, bool) {
	x := j.crossings(surface, l.crest, l.axis, 0.5, along)
	out := j.crossings(outerSurface, l.crest, l.axis, 0.5, along)
	if len(x) == 0 || (len(out) > 0 && out[0] < x[0]) {
		return 0, false
	}
	return x[0], true
}

// roof is the level of the most coronal point of a canal's tube in the section: the least
//
//	(c(t) − crest)·axis − √(r(t)² − h(t)²),  h the distance of the tube's axis from the plane
//
// over the tube's axis c(t): convex along each segment.
func (j *Jaw) roof(sec Section, l line, c tube) (float64, bool) {
	n := r3.Cross(sec.Buccal, sec.Up)
	best := math.Inf(1)
	for i := 1; i < len(c.path); i++ {
		level := func(t float64) float64 {
			q := r3.Sub(j.toPatient(lerp(c.path[i-1], c.path[i], t)), l.crest)
			r := c.radius[i-1] + t*(c.radius[i]-c.radius[i-1])
			h := r3.Dot(q, n)
			if r*r < h*h {
				return 1e3 + math.Abs(h) // convex beyond, too
			}
			side := r3.Dot(q, l.side)
			if math.Abs(side) > across {
				return 1e3 + math.Abs(h)
			}
			return r3.Dot(q, l.axis) - math.Sqrt(r*r-h*h)
		}
		best = min(best, level(least(level, 0, 1)))
	}
	return best, best < 1e3
}

func lerp(a, b r3.Vec, t float64) r3.Vec { return r3.Add(a, r3.Scale(t, r3.Sub(b, a))) }

// least finds the minimum of a function with one minimum in [a, b] by golden section.
func least(f func(float64) float64, a, b float64) float64 {
	g := (math.Sqrt(5) - 1) / 2
	x, y := b-g*(b-a), a+g*(b-a)
	fx, fy := f(x), f(y)
	for b-a > 1e-10 {
		if fx < fy {
			b, y, fy = y, x, fx
			x = b - g*(b-a)
			fx = f(x)
		} else {
			a, x, fx = x, y, fy
			y = a + g*(b-a)
			fy = f(y)
		}
	}
	return (a + b) / 2
}

// hollow is the undercut of one wall (side +1 buccal, −1 lingual): the greatest distance
// between the wall and the line that touches it above and below, which is an edge of the
// wall's convex hull. The wall is followed every 0.05 mm, from the crest to the border, in the
// maxilla for 18.5 mm: an edge that ends there touches nothing.
func (j *Jaw) hollow(l line, side float64, limits []HeightTrue) HollowTrue {
	to, open := hollow, 1
	for _, h := range limits {
		if h.To == "border" {
			to, open = h.Height-0.05, 0
		}
	}
	wall := j.follow(l, side, to)
	out := HollowTrue{To: to}
	hull := upperHull(wall)
	for i := 1; i < len(hull)-open; i++ {
		a, b := wall[hull[i-1]], wall[hull[i]]
		long := math.Hypot(b[0]-a[0], b[1]-a[1])
		for _, p := range wall[hull[i-1]:hull[i]] {
			d := ((b[1]-a[1])*(p[0]-a[0]) - (b[0]-a[0])*(p[1]-a[1])) / long
			if d > out.Depth {
				out.Depth, out.Level = d, p[0]
			}
		}
	}
	if out.Depth < 1e-4 { // no more than the root finding's and the polygon's own error
		return HollowTrue{To: to}
	}
	return out
}

// follow returns the wall's points (depth, offset outward), mm. Where the bone widens past
// the reach the wall ends.
func (j *Jaw) follow(l line, side, to float64) [][2]float64 {
	var w place
	var wall [][2]float64
	dir := r3.Scale(side, l.side)
	for h := 0.3; h < to; h += 0.05 {
		p := r3.Add(l.crest, r3.Scale(h, l.axis))
		f := func(t float64) float64 { return j.signed(outerSurface, r3.Add(p, r3.Scale(t, dir)), &w) }
		if n := len(wall); n > 0 {
			if t := wall[n-1][1]; f(t-0.3) < 0 && f(t+0.3) > 0 {
				wall = append(wall, [2]float64{h, root(f, t-0.3, t+0.3)})
				continue
			}
		}
		a, b, err := j.Chord(p, l.side, across)
		if err != nil {
			break
		}
		if side < 0 {
			b = -a
		}
		wall = append(wall, [2]float64{h, b})
	}
	return wall
}

// upperHull returns the indices of the upper convex hull of points sorted by their first
// coordinate (Andrew's monotone chain).
func upperHull(p [][2]float64) []int {
	var h []int
	for i := range p {
		for len(h) >= 2 {
			a, b := p[h[len(h)-2]], p[h[len(h)-1]]
			if (b[0]-a[0])*(p[i][1]-a[1])-(b[1]-a[1])*(p[i][0]-a[0]) < 0 {
				break
			}
			h = h[:len(h)-1]
		}
		h = append(h, i)
	}
	return h
}
