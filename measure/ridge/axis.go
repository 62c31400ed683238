package ridge

import (
	"fmt"
	"math"

	"ridgerule/measure/reformat"
)

// Axis is the ridge's axis: a line from its crest point to the base of the jaw.
type Axis struct {
	Crest    reformat.UV // where the axis line leaves the outline coronally, section mm
	Dir      reformat.UV // unit vector from crest to base
	CrestSD  float64     // standard uncertainty of the crest along the axis, from its fit, mm
	DirSD    float64     // standard uncertainty of the direction, from the mid-points' scatter, radians
	DirAlong float64     // how far the direction turns per mm along the arch, radians per mm
	DirTurn  float64     // how far it turns per radian of turn of the section about the occlusal direction
	Points   int         // mid-points it was found from; 0 when it was given

	crestWall *Wall
}

// depths at which the axis looks at the ridge, mm below the crest. Source: the method's own
// definition, mid-points at 1…8 mm.
const (
	axisFirst = 1.0
	axisLast  = 8.0
	axisSpare = 1.0 // above the base, where the outline turns under the ridge; our choice
)

// down is the direction from the biting surface to the base of the jaw.
var down = reformat.UV{V: -1}

// Side returns the unit vector across the axis toward buccal.
func (a Axis) Side() reformat.UV {
	side := left(a.Dir)
	if side.U < 0 {
		side = scale(-1, side)
	}
	return side
}

// At returns the axis point depth mm below the crest.
func (a Axis) At(depth float64) reformat.UV { return add(a.Crest, scale(depth, a.Dir)) }

// Tilt returns the angle between the section's downward direction and the axis, in degrees,
// positive when the base lies buccal of the crest.
func (a Axis) Tilt() float64 { return math.Atan2(a.Dir.U, -a.Dir.V) * 180 / math.Pi }

// FindAxis finds the ridge's axis: the least-squares line through the mid-points of the widths at
// 1…8 mm below the crest, or as many as the ridge has, iterated until the widths are perpendicular
// to the axis they define. fixed, when not nil, is the direction to keep (unit vector crest to
// base); the line then runs through the mean of the mid-points.
//
// It returns [ErrDisturbed] (wrapped) where the image supports no number, and [ErrBody] where the
// crest is the top of a tooth, an implant or metal.
func (o *Outline) FindAxis(fixed *reformat.UV) (Axis, error) {
	if err := o.Trusted(); err != nil {
		return Axis{}, err
	}
	a, err := o.findAxis(fixed)
	if err != nil {
		return a, o.noAxis(err)
	}
	return a, o.crestIsBone(a)
}

// findAxis is FindAxis whatever the crest is made of.
func (o *Outline) findAxis(fixed *reformat.UV) (Axis, error) {
	dir := down
	if fixed != nil {
		dir = unit(*fixed)
	}
	a, err := o.coarseAxis(dir, fixed != nil)
	if err != nil {
		return a, err
	}
	return o.fineAxis(a, fixed != nil)
}

// FixAxis returns the axis with the operator's crest point and, when dir is nil, the direction
// that the ridge's mid-points give.
func (o *Outline) FixAxis(crest reformat.UV, dir *reformat.UV) (Axis, error) {
	if err := o.Trusted(); err != nil {
		return Axis{}, err
	}
	a, err := o.findAxis(dir)
	if err != nil && dir == nil {
		return a, err
	}
	if dir != nil {
		a.Dir = unit(*dir)
	}
	a.Crest, a.CrestSD, a.crestWall = crest, 0, nil
	return a, nil
}

// top returns the coronal end of the bone on the line through q along dir.
func (o *Outline) top(q, dir reformat.UV) (hit, bool) {
	a, _, ok := o.span(q, dir)
	return a, ok
}

// coarseAxis iterates on the outline alone.
func (o *Outline) coarseAxis(dir reformat.UV, keep bool) (Axis, error) {
	q, ok := o.entry(dir)
	if !ok {
		return Axis{}, fmt.Errorf("%w: no bone below the site", ErrNoRidge)
	}
	a := Axis{Dir: dir}
	for range 25 {
		h, ok := o.top(q, a.Dir)
		if !ok {
			return a, fmt.Errorf("%w: the axis leaves the bone", ErrNoRidge)
		}
		a.Crest = add(q, scale(h.s, a.Dir))
		mids := o.coarseMids(a)
		if len(mids) == 0 {
			return a, fmt.Errorf("%w: no width within %.0f mm of the crest", ErrNoRidge, axisLast)
		}
		next, at := lineThrough(mids, a.Dir, keep)
		turn := math.Abs(cross(next, a.Dir))
		a.Dir, q, a.Points = next, at, len(mids)
		if turn < 1e-6 {
			break
		}
	}
	h, ok := o.top(q, a.Dir)
	if !ok {
		return a, fmt.Errorf("%w: the axis leaves the bone", ErrNoRidge)
	}
	a.Crest = add(q, scale(h.s, a.Dir))
	return a, nil
}

// entry returns a point of the bone to begin from: at the site if it lies inside, else where the
// bone is nearest, a little inward.
func (o *Outline) entry(dir reformat.UV) (reformat.UV, bool) {
	if o.Inside(reformat.UV{}) {
		return reformat.UV{}, true
	}
	best, at := math.Inf(1), 0
	for i, p := range o.Points {
		if d := norm(p); d < best {
			best, at = d, i
		}
	}
	for depth := 0.3; depth < 4; depth += 0.3 {
		q := sub(o.Points[at], scale(depth, o.outward(at)))
		if o.Inside(q) {
			return q, true
		}
	}
	return reformat.UV{}, false
}

// coarseMids returns the mid-points of the outline's chords at 1…8 mm.
func (o *Outline) coarseMids(a Axis) []reformat.UV {
	var mids []reformat.UV
	for d, low := axisFirst, o.base(a)-axisSpare; d <= axisLast && d < low; d++ {
		x, y, ok := o.span(a.At(d), a.Side())
		if !ok || x.s > 0 || y.s < 0 {
			break
		}
		mids = append(mids, add(a.At(d), scale((x.s+y.s)/2, a.Side())))
	}
	return mids
}

// base returns where the axis leaves the outline at the base of the jaw, mm below the crest; 0
// where it meets no bone.
func (o *Outline) base(a Axis) float64 {
	_, b, ok := o.span(a.At(0.5), a.Dir)
	if !ok {
		return 0
	}
	return b.s + 0.5
}

// reach returns how far the bone goes along the axis from the crest, in mm: to the base, or to
// the floor of an air-filled cavity before it.
func (o *Outline) reach(a Axis) float64 {
	far := o.base(a)
	if air, ok := o.lumen(a, far); ok {
		if floor, ok := o.floorAbove(a, air); ok {
			return floor
		}
		return air
	}
	return far
}

// lineThrough returns the direction and a point of the least-squares line through mids, measured
// across dir, or through their mean along dir when keep is set or there is only one.
func lineThrough(mids []reformat.UV, dir reformat.UV, keep bool) (reformat.UV, reformat.UV) {
	var mean reformat.UV
	for _, m := range mids {
		mean = add(mean, scale(1/float64(len(mids)), m))
	}
	if keep || len(mids) < 2 {
		return dir, mean
	}
	side := left(dir)
	var sxx, sxy float64
	for _, m := range mids {
		x, y := dot(sub(m, mean), dir), dot(sub(m, mean), side)
		sxx += x * x
		sxy += x * y
	}
	return unit(add(dir, scale(sxy/sxx, side))), mean
}

// fineAxis repeats the last steps on fitted walls.
func (o *Outline) fineAxis(a Axis, keep bool) (Axis, error) {
	if err := o.fineCrest(&a, a.Crest); err != nil {
		return a, err
	}
	for range 6 {
		mids, shift, moves := o.fineMids(a)
		if len(mids) == 0 && a.crestWall == nil {
			return a, fmt.Errorf("%w: nothing there has an edge that stands out of the noise", ErrNoRidge)
		}
		if len(mids) < 2 && !keep || len(mids) == 0 {
			return a, nil // a ridge too small for fitted walls keeps its coarse axis
		}
		dir, at := lineThrough(mids, a.Dir, keep)
		turn := math.Abs(cross(dir, a.Dir))
		before := a.Crest
		a.Dir, a.Points = dir, len(mids)
		a.DirSD = scatter(mids, dir, at, math.Hypot(modelError*o.tissue.Blur, shift))
		a.DirAlong, a.DirTurn = swings(mids, moves, dir, at)
		if keep {
			a.DirSD, a.DirAlong, a.DirTurn = 0, 0, 0
		}
		if err := o.fineCrest(&a, at); err != nil {
			return a, err
		}
		if turn < 1e-7 && norm(sub(before, a.Crest)) < 1e-7 {
			break
		}
	}
	return a, nil
}

// fineCrest puts the crest where the line through q along the axis leaves the fitted surface, or,
// where the crest is too sharp or too dim to be fitted, where it leaves the outline.
func (o *Outline) fineCrest(a *Axis, q reformat.UV) error {
	h, ok := o.top(q, a.Dir)
	if !ok {
		return fmt.Errorf("%w: the axis leaves the bone", ErrNoRidge)
	}
	c, w, err := o.edge(q, a.Dir, h)
	if err != nil {
		_, most := o.field.Voxel()
		a.Crest, a.CrestSD, a.crestWall = add(q, scale(h.s, a.Dir)), unfitted*most, nil
		return nil
	}
	a.Crest, a.CrestSD, a.crestWall = c.at, c.sd, w
	return nil
}

// unfitted is the standard uncertainty of a place on the outline where no surface could be fitted,
// in voxels of the coarsest direction. Our choice: a sharp crest fades over about a voxel.
const unfitted = 0.5

// fineMids returns the mid-points of fitted chords at 1…8 mm, and by how much disturbances of the
// image may have shifted the edges they lie between, root mean square, mm.
func (o *Outline) fineMids(a Axis) (mids []reformat.UV, shift float64, moves []move) {
	for d, low := axisFirst, o.base(a)-axisSpare; d <= axisLast && d < low; d++ {
		if x, y, ok := o.span(a.At(d), a.Side()); !ok || x.s > 0 || y.s < 0 {
			break
		}
		c, err := o.chord(a.At(d), a.Side())
		if err == nil {
			mids = append(mids, scale(0.5, add(c.low.at, c.high.at)))
			lo, hi := o.shift(c.lowWall), o.shift(c.highWall)
			shift += (lo*lo + hi*hi) / 2
			lo, hi = c.lowWall.p[pST], c.highWall.p[pST]
			moves = append(moves, move{(lo - hi) / 2, (lo*c.low.at.U - hi*c.high.at.U) / 2})
		}
	}
	return mids, math.Sqrt(shift / math.Max(1, float64(len(mids)))), moves
}

// move is how far a mid-point moves toward buccal per mm along the arch (no unit), and per radian of
// turn of the section (mm).
type move struct{ along, turn float64 }

// swings returns how the line through the mid-points turns when they move: least squares of their
// moves over their depths.
func swings(mids []reformat.UV, moves []move, dir, mean reformat.UV) (along, turn float64) {
	var sxx, sa, st float64
	for i, m := range mids {
		x := dot(sub(m, mean), dir)
		sxx += x * x
		sa += x * moves[i].along
		st += x * moves[i].turn
	}
	if sxx == 0 {
		return 0, 0
	}
	return sa / sxx, st / sxx
}

// scatter returns the standard uncertainty of the direction of a line fitted through mids, in
// radians: from their scatter about it, and from what a mid-point may be off by without scattering
// (rule, mm), taken as fully correlated over neighbours: errors of shape do not average out.
func scatter(mids []reformat.UV, dir, mean reformat.UV, rule float64) float64 {
	n := len(mids)
	if n < 3 {
		return 0.05 // two points show no scatter: about 3°, our choice
	}
	var sxx, syy float64
	for _, m := range mids {
		x, y := dot(sub(m, mean), dir), cross(dir, sub(m, mean))
		sxx += x * x
		syy += y * y
	}
	return math.Sqrt((syy/float64(n-2) + 2*rule*rule) / sxx)
}

// fineChord is a chord between two fitted walls.
type fineChord struct {
	low, high         crossing // along the side vector: lingual, buccal
	lowWall, highWall *Wall
}

// chord returns the fitted chord of the line through p along side.
func (o *Outline) chord(p, side reformat.UV) (fineChord, error) {
	a, b, ok := o.span(p, side)
	if !ok {
		return fineChord{}, ErrNoWidth
	}
	var c fineChord
	var err error
	if c.low, c.lowWall, err = o.edge(p, side, a); err != nil {
		return c, err
	}
	if c.high, c.highWall, err = o.edge(p, side, b); err != nil {
		return c, err
	}
	if dot(sub(c.high.at, c.low.at), side) <= 0 {
		return c, ErrNoWidth
	}
	return c, nil
}
