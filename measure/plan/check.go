package plan

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
)

// Bounds of what an arch and its directions may be. They catch points in a wrong order and signs
// the wrong way round; every jaw lies well inside them.
const (
	leastStep   = 0.01 // between neighbouring arch points, mm; nearer ones have no direction
	mostTurn    = 120  // at one arch point, seen along the occlusal direction, degrees
	leastUpward = 0.2  // of a plane's unit normal along the usual occlusal direction, without unit: below it the plane has no upper side
)

const inOrder = "list the points in order from one end to the other"

// checkShape holds the plan's points, which are patient coordinates, against each other.
func (p *Plan) checkShape(f *faults) {
	p.settleOcclusal(f)
	if p.Occlusal == (r3.Vec{}) {
		return
	}
	p.settleLevels(f)
	if p.upsideDown() && p.OrientationNote == "" {
		f.add(p.markAt("occlusal"), "", "correct the jaw or turn the vector's signs round; if the jaw was scanned upside down, say so in orientation_note",
			"%s (line %d)", p.upsideDownText(), p.markAt("jaw").line)
	}
	p.checkArch(f)
	for i, s := range p.Sites {
		if s.Axis == AxisGiven {
			p.checkDown(f, fmt.Sprintf("sites[%d].axis", i), siteName(s.ID), s.AxisVec, "from crest to base")
		}
		if s.Implant != nil && s.Implant.Axis != nil {
			p.checkDown(f, fmt.Sprintf("sites[%d].implant.axis", i), siteName(s.ID), *s.Implant.Axis, "from platform to apex")
		}
	}
}

// upsideDown reports whether the occlusal direction points away from where a patient's jaw bites.
func (p *Plan) upsideDown() bool {
	return p.Jaw != "" && r3.Dot(p.Occlusal, usualOcclusal(p.Jaw)) < 0
}

func (p *Plan) upsideDownText() string {
	return fmt.Sprintf("occlusal [%g, %g, %g] points away from the biting side of the %s", p.Occlusal.X, p.Occlusal.Y, p.Occlusal.Z, p.Jaw)
}

// settleOcclusal turns the three points of the occlusal plane into its normal, on the usual
// biting side of the jaw.
func (p *Plan) settleOcclusal(f *faults) {
	if p.plane == nil {
		return
	}
	n, ok := p.normal(f, "occlusal_plane", p.plane[:])
	if !ok {
		return
	}
	up := r3.Dot(n, usualOcclusal(p.Jaw))
	if math.Abs(up) < leastUpward {
		f.add(p.markAt("occlusal_plane"), "", "give occlusal: a vector toward the biting surface", "the plane stands upright, so that its biting side is not known")
		return
	}
	p.Occlusal, p.plane = r3.Scale(math.Copysign(1, up), n), nil
}

// checkDown refuses an axis that points toward the biting surface.
func (p *Plan) checkDown(f *faults, path, where string, d r3.Vec, meant string) {
	if p.Jaw != "" && r3.Dot(d, p.Occlusal) > 0 {
		f.add(p.markAt(path), where, "turn its signs round", "axis [%.3g, %.3g, %.3g] points toward the biting surface, it must point %s", d.X, d.Y, d.Z, meant)
	}
}

// checkArch refuses points in a wrong order: a curve through them would fold back or cross itself.
func (p *Plan) checkArch(f *faults) {
	flat := make([]r3.Vec, len(p.Arch)) // seen along the occlusal direction
	for i, a := range p.Arch {
		flat[i] = r3.Sub(a, r3.Scale(r3.Dot(a, p.Occlusal), p.Occlusal))
	}
	before := len(f.list)
	for i := 1; i < len(flat); i++ {
		if d := r3.Norm(r3.Sub(flat[i], flat[i-1])); d < leastStep {
			f.add(p.markAt(archPath(i)), "arch", "remove one of them", "points %d and %d are %.3g mm apart in the occlusal plane", i, i+1, d)
		}
	}
	for i := 1; i+1 < len(flat) && len(f.list) == before; i++ {
		if turn := angle(r3.Sub(flat[i], flat[i-1]), r3.Sub(flat[i+1], flat[i])); turn > mostTurn {
			f.add(p.markAt(archPath(i)), "arch", inOrder, "the curve folds back at point %d (turns by %.0f degrees)", i+1, turn)
			return
		}
	}
	if len(f.list) > before {
		return
	}
	if i, j, crosses := selfCrossing(flat, p.Occlusal); crosses {
		f.add(p.markAt(archPath(j)), "arch", inOrder,
			"the curve crosses itself: points %d–%d and %d–%d", i+1, i+2, j+1, j+2)
	}
}

// angle returns the angle between two directions, in degrees.
func angle(a, b r3.Vec) float64 {
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi
}

// selfCrossing returns the first two segments of a polyline in the plane ⟂ up that meet without
// being neighbours.
func selfCrossing(pts []r3.Vec, up r3.Vec) (i, j int, crosses bool) {
	side := func(a, b, c r3.Vec) float64 { return r3.Dot(r3.Cross(r3.Sub(b, a), r3.Sub(c, a)), up) }
	for j := 2; j+1 < len(pts); j++ {
		for i := 0; i+1 < j; i++ {
			a, b, c, d := pts[i], pts[i+1], pts[j], pts[j+1]
			if side(a, b, c)*side(a, b, d) < 0 && side(c, d, a)*side(c, d, b) < 0 {
				return i, j, true
			}
		}
	}
	return 0, 0, false
}

// markAt returns where the value at a key path stands.
func (p *Plan) markAt(path string) mark {
	if m, ok := p.marks[path]; ok {
		return m
	}
	return mark{file: p.Path}
}

// Check finds everything that is wrong or odd about a placed plan for which no pixel is needed: tooth
// numbers against places, points against each other, and against the grid of a scan, which may be nil.
// The error is a [Errors], or wraps [reformat.ErrCurve]; the cautions say what is no error.
func (p *Plan) Check(g *volume.Grid) ([]Caution, error) {
	curve, err := NewCurve(p)
	if err != nil {
		return nil, err
	}
	doubts, err := p.Examine(NewLandmarks(p, curve), g)
	if err != nil {
		return nil, err
	}
	doubts.AddIdle(false)
	return slices.Concat(p.Cautions, doubts.Cautions()), nil
}

// Fits places the plan on the grid of a scan (see [Plan.Place]) and holds it against itself and the grid, before any pixel
// is read: a wrong plan is said at once. The error is as of [Plan.Check].
func (p *Plan) Fits(g volume.Grid) error {
	if err := p.Place(g); err != nil {
		return err
	}
	_, err := p.Check(&g)
	return err
}

// NewCurve returns the arch curve of a placed plan; the error wraps [reformat.ErrCurve].
func NewCurve(p *Plan) (*reformat.Curve, error) {
	curve, err := reformat.NewCurve(p.Arch, p.Occlusal)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", p.Path, err)
	}
	return curve, nil
}

// Examine gathers what [Plan.Check] and a measurement ask before any pixel.
func (p *Plan) Examine(l Landmarks, g *volume.Grid) (*Doubts, error) {
	f := &faults{}
	found := p.examineInto(f, l, g)
	return found, f.err()
}

func (p *Plan) examineInto(f *faults, l Landmarks, g *volume.Grid) *Doubts {
	var doubts []Doubt
	if g != nil {
		doubts = p.checkOn(f, *g)
	}
	for i, s := range p.Sites {
		if end := l.curve.Length(); s.ArcMM != nil && *s.ArcMM > end {
			f.add(p.markAt(fmt.Sprintf("sites[%d].arc_mm", i)), siteName(s.ID), fmt.Sprintf("give arc_mm from 0 to %.1f", math.Floor(end*10)/10),
				"station %.6g mm is past the end of the arch (%.1f mm)", *s.ArcMM, end)
		}
	}
	found := p.noDoubts()
	found.addInto(f, slices.Concat(doubts, p.checkGeometry(l), p.checkTeeth(l), p.checkProposed()))
	return found
}

// checkOn holds a placed plan against the grid of a scan: every point of a site outside it is an error.
//
// A structure or an arch that leaves the field is no error, for both may pass through a small
// field of view; an arch wholly outside it is, and a structure wholly outside it is a caution.
func (p *Plan) checkOn(f *faults, g volume.Grid) []Doubt {
	var out []Doubt
	const remedy = "check the point and the plan's coordinates (patient or voxel)"
	inside := func(v r3.Vec) bool { return g.Contains(g.Index(v)) }
	if !anyInside(p.Arch, inside) {
		f.add(p.markAt(archPath(0)), "arch", remedy, "no arch point is inside the scan (%s)", g.Extent())
	}
	for i, s := range p.Sites {
		path, where := fmt.Sprintf("sites[%d]", i), siteName(s.ID)
		for _, v := range sitePoints(s) {
			if !inside(*v.at) {
				f.add(p.markAt(path+v.key), where, remedy, "%s [%.6g, %.6g, %.6g] mm is outside the scan (%s)", v.key[1:], v.at.X, v.at.Y, v.at.Z, g.Extent())
			}
		}
	}
	for i, s := range p.Structures {
		if len(s.Path) > 0 && !anyInside(s.Path, inside) {
			out = append(out, p.StructureDoubt(i, ".path[0]", "structure_outside_scan", SeverityCaution, "structure %s lies wholly outside the scan (%s); distances to it are computed all the same: check its points", quoted(s.Name), g.Extent()))
		}
	}
	return out
}

func anyInside(pts []r3.Vec, inside func(r3.Vec) bool) bool {
	for _, v := range pts {
		if inside(v) {
			return true
		}
	}
	return false
}

// sitePoint is a point that the plan gives for a site; its key path begins with a dot.
type sitePoint struct {
	key string
	at  *r3.Vec
}

func sitePoints(s Site) []sitePoint {
	all := []sitePoint{{".at", s.At}, {".crest", s.Crest}}
	if s.Implant != nil {
		all = append(all, sitePoint{".implant.platform", s.Implant.Platform})
	}
	given := all[:0]
	for _, v := range all {
		if v.at != nil {
			given = append(given, v)
		}
	}
	return given
}
