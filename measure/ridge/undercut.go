package ridge

import (
	"errors"
	"fmt"
	"math"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Undercut is the deepest hollow of one side of the ridge.
type Undercut struct {
	uncertainty.Length             // deepest distance between the outline and the tangent line, mm
	Depth              float64     // of the deepest point, below the crest along the axis, mm
	At                 reformat.UV // the deepest point, section mm
	Above, Below       reformat.UV // where the tangent line touches, section mm
	Seen               float64     // how far below the crest the field shows the wall, mm; +Inf: to its end
}

// Why there may be no depth of a hollow.
var (
	ErrCutWall = errors.New("ridge: the field ends before the wall does")
	ErrFlare   = errors.New("ridge: a hollow, or the flare of another bone")
)

// Undercut returns the deepest hollow on the buccal (buccal = true) or lingual side: the largest
// distance between the outline and the line that touches it above and below. The wall is followed to
// the base of the jaw, or for most mm below the crest ([UpperWall]; +Inf: to the base). A side without a
// hollow has the value 0: so has a wall that only flares, toward the palate or the cheekbone, for no
// line touches it below. It returns [ErrCutWall] (wrapped) where the field ends in a hollow deeper
// than any whole one, or shows none and less of the wall than would tell, and [ErrFlare] (wrapped)
// where a hollow ends a little past most.
func (o *Ridge) Undercut(a Axis, buccal bool, most float64, h Placement) (Undercut, error) {
	side := a.Side()
	if !buccal {
		side = scale(-1, side)
	}
	whole := o.sideWall(a, side)
	wall, far := whole.downTo(a, most), whole.downTo(a, most+doubt)
	u, open := wall.hollow(a, side)
	least := math.Max(u.Value, leastHollow)
	if wall.end == atCut && open > least {
		return Undercut{}, fmt.Errorf("%w: a hollow of at least %.1f mm runs out of it", ErrCutWall, open)
	}
	if len(far.points) > len(wall.points) {
		if past, _ := far.hollow(a, side); past.Value > least {
			return Undercut{}, fmt.Errorf("%w: one of %.1f mm ends only past %.0f mm below the crest", ErrFlare, past.Value, most)
		}
	}
	if u.Value > 0 {
		o.refine(&u, a, side, h)
	}
	u.Seen = wall.seen(a)
	if u.Seen < UpperWall && !(u.Value > u.U()) {
		return Undercut{}, fmt.Errorf("%w: no hollow as far as it shows it, %.0f mm below the crest", ErrCutWall, u.Seen)
	}
	if len(u.Budget) == 0 {
		u.Budget = uncertainty.Budget{{Name: "straight wall", Std: flatWall}}
	}
	if u.Value == 0 && wall.end == atCut {
		u.Budget = append(u.Budget, uncertainty.Term{Name: "wall past the field", Std: open})
	}
	return u, nil
}

// seen returns how far below the crest the field shows the wall, mm; +Inf: to its end.
func (w sideWall) seen(a Axis) float64 {
	switch n := len(w.points); {
	case w.end != atCut:
		return math.Inf(1)
	case n == 0:
		return 0
	default:
		return depthOf(a, w.points[n-1])
	}
}

// hollow returns the deepest hollow of a wall between two points that a line touches, and how deep the
// deepest is whose lower end is only the end of what was followed, mm.
func (w sideWall) hollow(a Axis, side reformat.UV) (u Undercut, open float64) {
	chain := w.points
	hull := hullOf(chain, side, a.Dir)
	for i := 0; i+1 < len(hull); i++ {
		up, down := chain[hull[i]], chain[hull[i+1]]
		if norm(sub(down, up)) < 1 {
			continue
		}
		out := outwardOf(up, down, side)
		touches := w.end == atBase || norm(sub(chain[len(chain)-1], down)) > pastTouch
		for _, p := range chain[hull[i] : hull[i+1]+1] {
			switch d := dot(sub(up, p), out); {
			case !touches:
				open = math.Max(open, d)
			case d > u.Value:
				u.Value, u.At, u.Above, u.Below = d, p, up, down
			}
		}
	}
	return u, open
}

// leastHollow is the depth, mm, under which a hollow that the field cuts is taken for a straight wall:
// the coarse outline of one is uneven by less.
const leastHollow = 0.15

// flatWall is the standard uncertainty of the depth of a hollow where none was found, mm: what a
// straight wall may hide. From the runs of docs/accuracy.md.
const flatWall = 0.03

// standsOut is by how many times its U the deepest of a wall's many small hollows must be deep to stand
// out of a straight wall beyond doubt. From the same runs.
const standsOut = 1.5

// pastTouch is how far a wall must be known below a point for a line to be said to touch it there and
// not to end there, mm. Our choice: a few points of the outline.
const pastTouch = 1.5

// outwardOf is the unit normal of the line from up to down on the given side.
func outwardOf(up, down, side reformat.UV) reformat.UV {
	n := left(unit(sub(down, up)))
	if dot(n, side) < 0 {
		n = scale(-1, n)
	}
	return n
}

// refine measures the hollow again on fitted walls at its three points.
func (o *Ridge) refine(u *Undercut, a Axis, side reformat.UV, h Placement) {
	var above, below, deepest extreme
	for range 3 {
		out := outwardOf(u.Above, u.Below, side)
		above, below, deepest = o.extreme(u.Above, out, +1), o.extreme(u.Below, out, +1), o.extreme(u.At, out, -1)
		if from, to := depthOf(a, above.at), depthOf(a, below.at); depthOf(a, deepest.at) <= from || depthOf(a, deepest.at) >= to {
			*u = Undercut{} // nothing: what the coarse outline took for a hollow has no bottom on the fitted walls
			return
		}
		moved := norm(sub(above.at, u.Above)) + norm(sub(below.at, u.Below))
		u.Above, u.Below, u.At = above.at, below.at, deepest.at
		if moved < 0.01 { // mm along the wall, where its distance from the line changes least
			break
		}
	}
	long := sub(u.Below, u.Above)
	f := math.Max(0, math.Min(1, dot(sub(u.At, u.Above), long)/dot(long, long)))
	u.Value = math.Max(0, dot(sub(u.Above, u.At), outwardOf(u.Above, u.Below, side)))
	u.Depth = depthOf(a, u.At)
	u.Budget = uncertainty.Budget{
		uncertainty.Moved("upper touch", above.sd, 1-f),
		uncertainty.Moved("lower touch", below.sd, f),
		uncertainty.Moved("deepest point", deepest.sd, -1),
		uncertainty.Moved("section place along the arch", h.Position, (1-f)*above.slope+f*below.slope-deepest.slope),
		uncertainty.Moved("section direction", h.Rotation, u.Value*0.5), // a hollow's depth runs half across the section; our choice
		scaleTerm(u.Value, h),
	}
	u.standOut()
}

// standOut holds the hollow against its own uncertainty: the largest of many small differences stands
// out of a straight wall by chance. What lies within U is no hollow, with a U that still covers it; what
// hardly exceeds U is one, with a U that reaches down to none.
func (u *Undercut) standOut() {
	v, most := u.Value, u.U()
	reach := v // what U is to be
	switch {
	case v < most:
		reach = v + most
		u.Value, u.Depth = 0, 0
	case v > standsOut*most:
		return
	}
	u.Budget = append(u.Budget, uncertainty.Term{Name: "largest of many small hollows", Std: math.Sqrt(reach*reach-most*most) / 2})
}

func depthOf(a Axis, p reformat.UV) float64 { return dot(sub(p, a.Crest), a.Dir) }

// extreme is the point of the outline farthest outward or inward near some place, the standard
// uncertainty of how far out it lies, mm, and how much farther in per mm along the arch.
type extreme struct {
	at        reformat.UV
	sd, slope float64
}

// extreme looks for the point near p that lies farthest along out (sign +1) or against it (−1), on
// the walls fitted there, from one to the next where the extreme lies past a wall's patch. Where
// none can be fitted p is kept.
func (o *Ridge) extreme(p, out reformat.UV, sign float64) extreme {
	const step, steps = 0.1, 4
	e := extreme{at: p, sd: 0.25 * o.tissue.Blur}
	for range 4 {
		w, err := o.wall(e.at, scale(-1, out))
		if err != nil {
			return e
		}
		var far [2*steps + 1]crossing
		best := -1
		for i := range far {
			c, ok := w.outer(add(e.at, scale(float64(i-steps)*step, left(out))), out)
			if !ok || norm(sub(c.at, e.at)) > 1 {
				continue
			}
			if far[i] = c; best < 0 || sign*dot(sub(c.at, far[best].at), out) > 0 {
				best = i
			}
		}
		if best < 0 {
			return e
		}
		c := far[best]
		e = extreme{c.at, math.Hypot(c.sd, o.modelTerm(w)), w.p[pST]}
		if best != 0 && best != 2*steps {
			break
		}
	}
	return e
}
