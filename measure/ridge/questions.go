package ridge

import (
	"fmt"
	"math"
	"slices"

	"ridgerule/measure/reformat"
	"ridgerule/measure/uncertainty"
)

// Placement is how exactly the section was placed by whoever drew the arch, and how true the scan's
// scale is.
type Placement struct {
	Position float64 // standard uncertainty of the section's place along the arch, mm
	Rotation float64 // standard uncertainty of its direction about the occlusal direction, radians
	Tilt     float64 // standard uncertainty of its direction about the arch (it adds to heights alone), radians
	Scale    float64 // relative half-width of the scan's scale error, rectangular, no unit
}

// direction is what the section's direction adds to a length. byTurn is by how much the length grows per radian that the
// section turns, mm, as the walls' fitted slopes along the arch have it; across is how far it goes from side to side, mm.
//
// A section askew by an unknown θ shows walls that follow the arch as sloping by θ: byTurn = d + across·θ, where d is of the
// bone alone, and what is measured is too great by d·θ + ½·across·θ². Its mean square, θ normal with SD σ, is
// d²σ² + ¾·across²·σ⁴; that of σ²·(byTurn² − ¼·across²·σ²) is the same. Walls that look square to the section may do so by
// chance: the second order stays. Derived here; TestDirectionIsAsUncertainAsItSays integrates it.
func (h Placement) direction(byTurn, across float64) uncertainty.Term {
	own := across * h.Rotation / 2
	return uncertainty.Moved("section direction", h.Rotation, math.Copysign(math.Sqrt(math.Max(byTurn*byTurn-own*own, own*own)), byTurn))
}

// Width is the ridge's width at one depth.
type Width struct {
	uncertainty.Length
	Depth           float64     // below the crest along the axis, mm
	Buccal, Lingual reformat.UV // outer edges, section mm
	Plates          [2]Plate    // buccal, lingual
}

// Width returns the buccolingual width of the ridge at depth mm below the crest, in mm: the chord
// of the outline through the axis point at that depth, perpendicular to the axis, in the section.
//
// It returns [ErrNoWidth] where the line does not cross the outline twice and [ErrNoEdge] where an
// end has no edge that can be fitted.
func (o *Ridge) Width(a Axis, depth float64, h Placement) (Width, error) {
	side := a.Side()
	c, err := o.chord(a.At(depth), side)
	if err != nil {
		return Width{}, fmt.Errorf("width at %g mm: %w", depth, err)
	}
	if at := a.At(depth); dot(sub(c.low.at, at), side) > outside || dot(sub(at, c.high.at), side) > outside {
		return Width{}, fmt.Errorf("width at %g mm: %w: the axis runs beside the bone there", depth, ErrNoWidth)
	}
	if o.cutNear(c.low.at) || o.cutNear(c.high.at) {
		return Width{}, fmt.Errorf("width at %g mm: %w: the field ends before the bone does", depth, ErrNoWidth)
	}
	w := Width{Depth: depth, Buccal: c.high.at, Lingual: c.low.at}
	w.Value = norm(sub(c.high.at, c.low.at))
	w.Budget = o.widthBudget(a, depth, c, w.Value, h)
	w.Plates = o.plates(c, a.At(depth), side, w.Length, h)
	return w, nil
}

// outside is how far beside its chord an axis point may lie and still be taken to be on it, mm: an
// outline's and an axis' own error.
const outside = 0.3

// cutNear reports whether the outline near p is the field's end.
func (o *Outline) cutNear(p reformat.UV) bool {
	best, cut := math.Inf(1), false
	for i, q := range o.Points {
		if d := norm(sub(p, q)); d < best {
			best, cut = d, o.Cut[i]
		}
	}
	return cut
}

// modelError is the standard uncertainty of a fitted edge that its own residuals do not show, as a
// share of the blur: layers that are not quite layers, a blur that is not quite Gaussian. From the
// calibration runs of docs/accuracy.md.
const modelError = 0.02

// bentError is the same for each 1/mm of the surface's curvature and of the plate's change of
// thickness, mm²: a paraboloid is not quite a crest.
const bentError = 0.01

// sparse is the standard uncertainty of an edge for every mm by which voxels are coarser than one
// and a half sigma of the blur: the image then no longer holds what lies between them.
const sparse = 0.1

// modelTerm returns the edge-rule and sampling term of one edge, in mm, with what disturbances of the
// image may do to it.
func (o *Ridge) modelTerm(w *SurfacePatch) float64 { return math.Hypot(o.layerTerm(w), o.shift(w)) }

// ruleTerm is modelTerm along a line that meets the wall's surface aslant: farther, the flatter it meets it.
func (o *Ridge) ruleTerm(w *SurfacePatch, c crossing) float64 { return o.modelTerm(w) / c.square }

// layerTerm is the edge-rule and sampling term of one edge in an undisturbed image, in mm.
func (o *Outline) layerTerm(w *SurfacePatch) float64 {
	_, most := o.field.Voxel()
	bent := bentError * math.Hypot(w.p[pCXX], w.p[pTauXX])
	return math.Hypot(modelError*w.Blur(), math.Hypot(bent, sparse*math.Max(0, most-1.5*w.Blur())))
}

// widthBudget lists what makes a width uncertain. Where the scale is s too large, a depth of the plan lies
// s·depth too near the crest of a width that is s·width too large.
func (o *Ridge) widthBudget(a Axis, depth float64, c fineChord, width float64, h Placement) uncertainty.Budget {
	along, turn := o.outOfPlane(c)
	slope := o.slope(a, depth, c)
	b := uncertainty.Budget{
		{Name: "edge noise, buccal", Std: c.high.sd},
		{Name: "edge noise, lingual", Std: c.low.sd},
		{Name: "edge rule, buccal", Std: o.ruleTerm(c.highWall, c.high)},
		{Name: "edge rule, lingual", Std: o.ruleTerm(c.lowWall, c.low)},
		o.crestTerm(a, -slope),
		uncertainty.Moved("axis direction", a.DirSD, o.widthPerTurn(a, depth, c)),
		uncertainty.Moved("section place along the arch", h.Position, along+slope*a.crestSlope()),
		h.direction(turn, width*a.Side().U),
	}
	return append(b, scaleTerm(width-slope*depth, h))
}

// crestTerm is what the crest's error along the axis, from its fit and from what the fit's model lacks,
// adds to a value that grows by this much per mm that the crest is found too far coronally. It is one error in
// all that is measured from that crest.
func (o *Ridge) crestTerm(a Axis, growth float64) uncertainty.Term {
	sd := a.CrestSD
	if a.crestWall != nil {
		sd = math.Hypot(sd, o.modelTerm(a.crestWall)/a.crestSquare)
	}
	t := uncertainty.Moved("crest", sd, growth)
	t.Group = "crest"
	return t
}

// crestSlope returns how far the crest goes down along the axis per mm along the arch (no unit): a depth
// below the crest goes down with it. 0 where the crest was given or has no fitted surface.
func (a Axis) crestSlope() float64 {
	if a.crestWall == nil {
		return 0
	}
	return a.crestWall.p[pST] / a.crestSquare
}

// scaleTerm is what the scale of the scan adds to a value whose derivative to the relative scale is growth,
// mm: its own length, for a distance between two places of the image.
func scaleTerm(growth float64, h Placement) uncertainty.Term {
	t := uncertainty.Moved("scale of the scan", uncertainty.Rectangular(h.Scale), growth)
	t.Group = "scale"
	return t
}

// outOfPlane returns how the width changes per mm along the arch and per radian of turn of the
// section about the vertical, from the fitted walls' slopes along the arch.
//
// A section turned by φ meets a wall at distance u from the curve φ·u further along the arch.
func (o *Outline) outOfPlane(c fineChord) (along, turn float64) {
	lo, hi := c.lowWall.p[pST]/c.low.square, c.highWall.p[pST]/c.high.square
	return -(lo + hi), -(lo*c.low.at.U + hi*c.high.at.U)
}

// slope returns the change of width per mm of depth (no unit).
func (o *Outline) slope(a Axis, depth float64, c fineChord) float64 {
	const h = 0.05
	at := func(d float64) float64 { return chordOn(c, a.At(d), a.Side()) }
	return orZero((at(depth+h) - at(depth-h)) / (2 * h))
}

// widthPerTurn returns the change of width per radian of turn of the axis, in mm.
func (o *Outline) widthPerTurn(a Axis, depth float64, c fineChord) float64 {
	return a.PerTurn(func(t Axis) float64 { return chordOn(c, t.At(depth), t.Side()) })
}

// orZero returns x, and 0 where it is not finite: a derivative across the end of a wall.
func orZero(x float64) float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return 0
	}
	return x
}

// turnBy returns the direction d turned by angle radians from u to v.
func turnBy(d reformat.UV, angle float64) reformat.UV {
	sin, cos := math.Sincos(angle)
	return add(scale(cos, d), scale(sin, left(d)))
}

// chordOn returns the chord of the line p + s·side between the two walls of c, in mm; NaN when it
// misses one.
func chordOn(c fineChord, p, side reformat.UV) float64 {
	lo, ok1 := c.lowWall.outer(p, side)
	hi, ok2 := c.highWall.outer(p, side)
	if !ok1 || !ok2 {
		return math.NaN()
	}
	return dot(sub(hi.at, lo.at), side)
}

// TiltAngle returns the axis' tilt with its budget, in degrees.
func (a Axis) TiltAngle(h Placement) uncertainty.Angle {
	const deg = 180 / math.Pi
	return uncertainty.Angle{Value: a.Tilt(), Budget: uncertainty.Budget{
		{Name: "mid-points", Std: a.DirSD * deg},
		uncertainty.Moved("section direction", math.Hypot(h.Tilt, h.Rotation*a.DirTurn), deg),
		uncertainty.Moved("section place along the arch", h.Position, a.DirAlong*deg),
	}}
}

// Beside returns how far the bone's outer edge lies from p in direction dir (unit vector), in mm:
// the far end of the stretch of bone that contains p, or lies nearest to it, on that line.
// Negative when the bone ends on the other side of p. turn is how far dir turns, from u to v, per radian that the
// section turns about p (no unit): what leans along the arch turns with it. It returns [ErrNoWidth] where the line
// meets no bone within 3 mm of p, and [ErrNoEdge] where the edge cannot be fitted.
func (o *Ridge) Beside(p, dir reformat.UV, turn float64, h Placement) (uncertainty.Length, error) {
	_, b, ok := o.span(p, dir)
	if !ok {
		return uncertainty.Length{}, ErrNoWidth
	}
	c, w, err := o.edge(p, dir, b)
	if err != nil {
		return uncertainty.Length{}, err
	}
	if o.cutNear(c.at) {
		return uncertainty.Length{}, fmt.Errorf("%w: the field ends before the bone does", ErrNoEdge)
	}
	value, far := dot(sub(c.at, p), dir), Axis{Crest: p, Dir: dir}.farOn(w, c)
	return uncertainty.Length{Value: value, Budget: uncertainty.Budget{
		{Name: "edge noise", Std: c.sd},
		{Name: "edge rule", Std: o.ruleTerm(w, c)},
		uncertainty.Moved("section place along the arch", h.Position, far.Slope),
		h.direction(far.PerTurn*turn-far.Slope*value*dir.U, value*dir.U),
		scaleTerm(value, h),
	}}, nil
}

// Near returns the two ends of the stretch of bone on the line p + s·dir that contains p, or lies
// nearest to it, as s in mm, off the outline alone: quicker than [Ridge.Beside], and good to a
// tenth of a millimetre or so. NaN where the line meets no bone within 3 mm of p.
func (o *Outline) Near(p, dir reformat.UV) (low, high float64) {
	var room [32]float64 // more than a line usually crosses
	at := room[:0]
	o.crossed(p, dir, func(_, _ int, _, s float64) { at = append(at, s) })
	slices.Sort(at)
	low, high = math.NaN(), math.NaN()
	best := nearest
	for i := 0; i+1 < len(at); i += 2 {
		if away := math.Max(0, math.Max(at[i], -at[i+1])); away < best {
			low, high, best = at[i], at[i+1], away
		}
	}
	return low, high
}
