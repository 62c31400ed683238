package measure

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// How an implant stands in the bone: at each depth along its axis, in the section of the arch through that
// point of the axis, along the ray across the axis to the outer outline. The planned implant, its picture,
// the sizes tried and the levelled crest all ask here.

// standing answers for the implants of one site.
type standing struct {
	c   *run
	s   *site
	own slice
	fan map[int]*slice    // coarse sections beside the site's, by their distance along the arch in steps of fanStep
	cut map[float64]slice // exact sections, by their arc length
	ray map[spot]boneBeside
}

// spot is where the bone beside an implant is measured.
type spot struct {
	im          safety.Implant
	depth, side float64
}

// boneBeside is what was measured there, or why it could not be.
type boneBeside struct {
	uncertainty.Length
	err error
}

// slice is a section with the bone's outline in it.
type slice struct {
	frame   reformat.Frame
	outline *ridge.Outline
	ridge   *ridge.Ridge // with its edges fitted; nil: of a coarse section, that nobody measures on
	err     error
}

const (
	fanStep   = 1.0  // mm along the arch between coarse sections: a point is at most half of it from one
	sameSlice = 0.05 // mm from the site's section within which a point belongs to it
	alongArch = 0.2  // least share of an implant's axis in the section: leaning more, it has no bone beside it there
)

// errPastArch says that a point lies beyond the ends of the arch curve: it has no section.
var errPastArch = errors.New("past the end of the arch: no section there")

// errAlongArch says that an implant runs along the arch.
var errAlongArch = errors.New("the implant runs along the arch: nothing lies buccal or lingual of it")

// standing returns what answers for the implants of s, the same each time.
func (c *run) standing(s *site) *standing {
	if s.implants == nil {
		s.implants = &standing{c: c, s: s, own: slice{frame: s.frame}, fan: map[int]*slice{}, cut: map[float64]slice{}, ray: map[spot]boneBeside{}}
		if s.ridge != nil {
			s.implants.own = slice{s.frame, s.ridge.Outline, s.ridge, nil}
		}
	}
	return s.implants
}

// through returns the section of the arch through a point: exact, or the nearest of the coarse ones.
func (t *standing) through(q r3.Vec, exact bool) slice {
	if _, off := t.s.frame.Section(q); math.Abs(off) <= sameSlice {
		return t.own
	}
	if !exact {
		return t.nearest(q)
	}
	arc, off := t.c.arcOf(q, t.s.frame.Arc)
	if math.Abs(off) > sameSlice {
		return slice{err: errPastArch}
	}
	cut, known := t.cut[arc]
	if !known {
		if cut = t.c.slice(arc); cut.err == nil {
			cut.ridge = cut.outline.Weigh() // as the site's own
		}
		t.cut[arc] = cut
	}
	return cut
}

// about returns the frame off mm along the arch from the site's own; past an end the arch goes on straight.
func (t *standing) about(off float64) reformat.Frame {
	if off == 0 {
		return t.own.frame
	}
	arc := t.s.frame.Arc + off
	on := math.Max(0, math.Min(t.c.curve.Length(), arc))
	return t.c.curve.Frame(on).Along(arc - on)
}

// nearest returns the coarse section nearest to a point.
func (t *standing) nearest(q r3.Vec) slice {
	k := 0
	for range 8 {
		_, off := t.coarseAt(k).frame.Section(q)
		step := int(math.Round(off / fanStep))
		if step == 0 {
			break
		}
		k += step
		arc := t.s.frame.Arc + float64(k)*fanStep
		if arc < -fanStep/2 || arc > t.c.curve.Length()+fanStep/2 {
			return slice{err: errPastArch}
		}
	}
	return t.outlined(k)
}

// coarseAt returns the section k steps of fanStep along the arch from the site's own: its frame, and the outline if
// somebody asked for it.
func (t *standing) coarseAt(k int) *slice {
	if k == 0 {
		return &t.own
	}
	at := t.fan[k]
	if at == nil {
		at = &slice{frame: t.about(float64(k) * fanStep)}
		t.fan[k] = at
	}
	return at
}

// outlined returns the section k steps from the site's own with its outline.
func (t *standing) outlined(k int) slice {
	at := t.coarseAt(k)
	if at.outline == nil && at.err == nil {
		*at = t.c.outlined(at.frame)
	}
	return *at
}

// arcOf returns the arc length whose section holds q, near a first guess, and how far from it q lies, mm.
func (c *run) arcOf(q r3.Vec, guess float64) (arc, off float64) {
	arc = guess
	for range 12 {
		f := c.curve.Frame(arc)
		_, off = f.Section(q)
		next := math.Max(0, math.Min(c.curve.Length(), arc+off))
		if next == arc || math.Abs(off) < 1e-6 {
			break
		}
		arc = next
	}
	_, off = c.curve.Frame(arc).Section(q)
	return arc, off
}

// slice outlines the bone in the section at an arc length, mm.
func (c *run) slice(arc float64) slice { return c.outlined(c.curve.Frame(arc)) }

// outlined outlines the bone in a section.
func (c *run) outlined(f reformat.Frame) slice {
	cut := slice{frame: f}
	cut.outline, cut.err = ridge.Trace(reformat.NewField(c.v, cut.frame), c.tissue)
	return cut
}

// post is where an implant's axis is at a depth, in the section through that point.
type post struct {
	slice
	at     reformat.UV
	side   reformat.UV // unit, across the axis, buccal
	turn   float64     // how far both turn with the section, see [inPlane]
	point  r3.Vec      // of the axis, patient, mm
	radius float64
}

// ray is the way from a post to the bone's edge on one side.
type ray struct {
	post
	dir reformat.UV
}

// to returns the ray to one side: +1 buccal, −1 lingual.
func (p post) to(side float64) ray {
	return ray{p, reformat.UV{U: side * p.side.U, V: side * p.side.V}}
}

// post returns where the axis is at a depth, mm below the platform.
func (t *standing) post(im safety.Implant, depth float64, exact bool) (post, error) {
	q := r3.Add(im.Platform, r3.Scale(depth, im.Axis))
	cut := t.through(q, exact)
	if cut.err != nil {
		return post{}, cut.err
	}
	if cut.outline == nil {
		return post{}, errNoOutline
	}
	in, turn, err := inPlane(im.Axis, cut.frame)
	if err != nil {
		return post{}, err
	}
	p := post{slice: cut, side: ridge.Axis{Dir: in}.Side(), turn: turn, point: q, radius: radius(im, depth)}
	p.at, _ = cut.frame.Section(q)
	return p, nil
}

// inPlane returns the unit direction of an implant's axis as a section sees it, and how far that turns, from u to v,
// per radian that the section turns toward the arch's direction: an axis that leans along the arch does.
func inPlane(axis r3.Vec, f reformat.Frame) (dir reformat.UV, turn float64, err error) {
	in := reformat.UV{U: r3.Dot(axis, f.U), V: r3.Dot(axis, f.V)}
	n := math.Hypot(in.U, in.V)
	if n < alongArch {
		return reformat.UV{}, 0, errAlongArch
	}
	return reformat.UV{U: in.U / n, V: in.V / n}, -in.V * r3.Dot(axis, f.T) / (n * n), nil
}

// apex returns the section through the implant's apex, with the lines along its axis there, under its middle
// and its two sides; each line's crest point lies long mm coronal of the apex, as far as the implant is long there.
func (t *standing) apex(im safety.Implant, exact bool) (cut slice, lines [3]ridge.Axis, long float64, err error) {
	cut = t.through(im.Apex(), exact)
	if cut.err != nil {
		return cut, lines, 0, cut.err
	}
	if cut.outline == nil {
		return cut, lines, 0, errNoOutline
	}
	dir, turn, err := inPlane(im.Axis, cut.frame)
	if err != nil {
		return cut, lines, 0, err
	}
	long = im.Length * (r3.Dot(im.Axis, cut.frame.U)*dir.U + r3.Dot(im.Axis, cut.frame.V)*dir.V)
	at, _ := cut.frame.Section(im.Apex())
	side, half := ridge.Axis{Dir: dir}.Side(), math.Max(im.Diameter, im.ApexDiameter)/2
	for i, off := range []float64{-half, 0, half} {
		lines[i] = ridge.Axis{Dir: dir, DirTurn: turn, Crest: reformat.UV{U: at.U + off*side.U - long*dir.U, V: at.V + off*side.V - long*dir.V}}
	}
	return cut, lines, long, nil
}

var errNoOutline = errors.New("no outline of the bone")

// toBorder measures the bone below the apex, along the implant's axis in the section through it, mm: the
// least under its middle and its two sides.
func (t *standing) toBorder(im safety.Implant) (least uncertainty.Length, err error) {
	cut, lines, long, err := t.apex(im, true)
	if err != nil {
		return least, err
	}
	least.Value = math.Inf(1)
	var unfitted error
	open := math.Inf(1) // by the outline alone, on lines whose end cannot be fitted
	for _, a := range lines {
		end, err := cut.ridge.End(a, t.c.placementFor(t.s, cut.frame.Arc))
		if err != nil {
			_, left := cut.outline.Near(a.At(long), a.Dir)
			if unfitted = err; !(left >= open) {
				open = left
			}
			continue
		}
		if end.Value -= long; end.Value < least.Value {
			least = end.Length
		}
	}
	return least, unsure(least.Value, open, unfitted)
}

// unsure returns why the least of the fitted ends may not be that of all: an end that cannot be fitted, unless the
// outline alone shows it clearly farther, at open mm.
func unsure(least, open float64, unfitted error) error {
	if unfitted == nil || open > least+coarseOff {
		return nil
	}
	return unfitted
}

// below is toBorder off the outline alone, mm; NaN where nothing is known.
func (t *standing) below(im safety.Implant) float64 {
	cut, lines, long, err := t.apex(im, false)
	if err != nil {
		return math.NaN()
	}
	least := math.Inf(1)
	for _, a := range lines {
		_, left := cut.outline.Near(a.At(long), a.Dir)
		least = math.Min(least, left)
	}
	return least
}

// radius returns the implant's radius depth mm below its platform, in mm.
func radius(im safety.Implant, depth float64) float64 {
	apex := im.ApexDiameter
	if apex == 0 {
		apex = im.Diameter
	}
	f := depth / im.Length
	return ((1-f)*im.Diameter + f*apex) / 2
}

// outside returns how far the implant's axis lies outside the bone there, mm; 0 inside. NaN where the
// field ends before the bone does.
func (p post) outside() float64 {
	d := depthIn(p.outline, p.at)
	if d >= 0 {
		return 0
	}
	return -d
}

// coarse returns the bone beside the implant off the outline alone, good to a tenth of a millimetre or so;
// −Inf where the axis stands outside the bone and the ray meets none. NaN: not known.
func (t *standing) coarse(r ray) float64 {
	_, far := r.outline.Near(r.at, r.dir)
	switch {
	case !math.IsNaN(far):
	case r.outside() > 0:
		return math.Inf(-1)
	default:
		return math.NaN()
	}
	return math.Min(far, t.ahead(r)) - r.radius
}

// ahead is how far the bone that levelling leaves reaches along the ray, mm.
func (t *standing) ahead(r ray) float64 {
	k := t.s.cut
	if k == nil {
		return math.Inf(1)
	}
	at, normal := t.s.frame.Patient(k.at), t.s.frame.Direction(k.normal)
	if k.plane {
		normal = t.c.plan.LevelPlane.Normal
	}
	height, rise := r3.Dot(r3.Sub(r.point, at), normal), r3.Dot(r.frame.Direction(r.dir), normal)
	switch {
	case height > 0:
		return -height
	case rise > 1e-9:
		return -height / rise
	}
	return math.Inf(1)
}
