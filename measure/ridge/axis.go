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

	crestWall   *Wall
	crestSquare float64     // how squarely the axis meets crestWall, 0…1
	pivot       reformat.UV // the mean of the mid-points, about which the axis turns
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
func (o *Ridge) FindAxis(fixed *reformat.UV) (Axis, error) {
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
func (o *Ridge) findAxis(fixed *reformat.UV) (Axis, error) {
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
func (o *Ridge) FixAxis(crest reformat.UV, dir *reformat.UV) (Axis, error) {
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
	a.Crest, a.CrestSD, a.crestWall, a.pivot = crest, 0, nil, crest
	return a, nil
}

// top returns the coronal end of the bone on the line through q along dir; [ErrNoRidge] (wrapped) where
// the line meets none.
func (o *Outline) top(q, dir reformat.UV) (hit, error) {
	a, _, ok := o.span(q, dir)
	if !ok {
		return hit{}, fmt.Errorf("%w: the axis leaves the bone", ErrNoRidge)
	}
	return a, nil
}

// fineAxis repeats the last steps on fitted walls: Newton's method on the angle between the axis and
// the line through the middles of the widths across it.
func (o *Ridge) fineAxis(a Axis, keep bool) (Axis, error) {
	if err := o.fineCrest(&a, a.Crest); err != nil {
		return a, err
	}
	for range 8 {
		m := o.middles(a)
		if len(m.at) == 0 && a.crestWall == nil {
			return a, fmt.Errorf("%w: nothing there has an edge that stands out of the noise", ErrNoRidge)
		}
		if len(m.at) < 2 && !keep || len(m.at) == 0 {
			if !keep {
				a.DirSD = coarseDir
			}
			return a, nil // a ridge too small for fitted walls keeps its coarse axis
		}
		turn := 0.0
		a.pivot, a.Points = mean(m.at), len(m.at)
		if !keep {
			var pull float64
			turn, pull = o.settle(a, m)
			a.DirSD = m.spread(a) / pull
			a.DirAlong, a.DirTurn = turnOfLine(m.at, m.moves, a.Dir, a.pivot)
			a.DirAlong, a.DirTurn = a.DirAlong/pull, a.DirTurn/pull
		}
		before := a.Crest
		a.Dir = turnBy(a.Dir, turn)
		if err := o.fineCrest(&a, a.pivot); err != nil {
			return a, err
		}
		if math.Abs(turn) < 1e-7 && norm(sub(before, a.Crest)) < 1e-7 { // radians, mm: no number shows it
			break
		}
	}
	return a, nil
}

// coarseDir is the standard uncertainty of a direction that no two fitted widths give, radians: about as
// much as the tilts of ridges scatter. Our choice.
const coarseDir = 0.15

// turned returns the axis turned by angle radians, from u to v, about the mean of its mid-points, its
// crest running along the fitted surface; about its crest where that is given or no surface was
// fitted.
func (a Axis) turned(angle float64) Axis {
	t := a
	t.Dir = turnBy(a.Dir, angle)
	if a.crestWall == nil {
		return t
	}
	here, ok1 := a.crestWall.outer(a.pivot, a.Dir)
	there, ok2 := a.crestWall.outer(a.pivot, t.Dir)
	if ok1 && ok2 {
		t.Crest = add(there.at, scale(dot(sub(a.Crest, here.at), a.Dir), t.Dir))
	}
	return t
}

// PerTurn returns how much value, mm, changes per radian of turn of the axis, the crest running along
// the ridge's surface with it.
func (a Axis) PerTurn(value func(Axis) float64) float64 {
	const h = 0.01
	return finite((value(a.turned(h)) - value(a.turned(-h))) / (2 * h))
}

// fineCrest puts the crest where the line through q along the axis leaves the fitted surface, or,
// where the crest is too sharp or too dim to be fitted, where it leaves the outline.
func (o *Ridge) fineCrest(a *Axis, q reformat.UV) error {
	h, err := o.top(q, a.Dir)
	if err != nil {
		return err
	}
	c, w, err := o.edge(q, a.Dir, h)
	if err != nil {
		_, most := o.field.Voxel()
		a.Crest, a.CrestSD, a.crestWall = add(q, scale(h.s, a.Dir)), unfitted*most, nil
		return nil
	}
	a.Crest, a.CrestSD, a.crestWall, a.crestSquare = c.at, c.sd, w, c.square
	return nil
}

// unfitted is the standard uncertainty of a place on the outline where no surface could be fitted,
// in voxels of the coarsest direction. Our choice: a sharp crest fades over about a voxel.
const unfitted = 0.5

// fineChord is a chord between two fitted walls.
type fineChord struct {
	low, high         crossing // along the side vector: lingual, buccal
	lowWall, highWall *Wall
}

// chord returns the fitted chord of the line through p along side.
func (o *Ridge) chord(p, side reformat.UV) (fineChord, error) {
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
