package plan

import (
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
	"ridgerule/measure/safety"
)

// Bounds of what an arch and its directions may be. They catch points in a wrong order and signs
// the wrong way round; every jaw lies well inside them.
const (
	leastStep   = 0.01 // between neighbouring arch points, mm; nearer ones have no direction
	mostTurn    = 120  // at one arch point, seen along the occlusal direction, degrees
	leastUpward = 0.2  // of a plane's unit normal along the usual occlusal direction, without unit: below it the plane has no upper side
)

const inOrder = "list the points in order from one end to the other"

// settle holds the points of a plan in patient coordinates against each other and settles its directions and
// planes.
func (p *Plan) settle(f *faults, source *Source) *Placed {
	out := &Placed{Contents: p.Contents, source: source}
	out.settleOcclusal(f, p)
	if out.Occlusal == (r3.Vec{}) {
		return out
	}
	out.LevelPlane = out.plane(f, "levelling_plane", p.LevelPoints)
	out.OcclusalLevel = out.plane(f, "occlusal_level", p.OcclusalLevel)
	if out.upsideDown() && p.OrientationNote == "" {
		f.add(source.Position("occlusal"), "", "correct the jaw or turn the vector's signs round; if the jaw was scanned upside down, say so in orientation_note",
			"%s%s", out.upsideDownText(), source.line("jaw"))
	}
	out.checkArch(f)
	for i, s := range p.Sites {
		if s.Axis == AxisGiven {
			out.checkDown(f, sitePath(i)+".axis", siteName(s.ID), s.AxisVec, "from crest to base")
		}
		if s.Implant != nil && s.Implant.Axis != nil {
			out.checkDown(f, sitePath(i)+".implant.axis", siteName(s.ID), *s.Implant.Axis, "from platform to apex")
		}
	}
	return out
}

// upsideDown reports whether the occlusal direction points away from where a patient's jaw bites.
func (p *Placed) upsideDown() bool {
	return p.Jaw != "" && r3.Dot(p.Occlusal, usualOcclusal(p.Jaw)) < 0
}

func (p *Placed) upsideDownText() string {
	return fmt.Sprintf("occlusal [%g, %g, %g] points away from the biting side of the %s", p.Occlusal.X, p.Occlusal.Y, p.Occlusal.Z, p.Jaw)
}

// settleOcclusal takes the direction that the plan gives, the normal of its occlusal plane on the usual biting side
// of the jaw, or the usual direction.
func (p *Placed) settleOcclusal(f *faults, from *Plan) {
	switch {
	case len(from.OcclusalPlane) > 0:
		p.OcclusalFrom = "plane by three points"
		n, ok := p.normal(f, "occlusal_plane", from.OcclusalPlane)
		if !ok {
			return
		}
		up := r3.Dot(n, usualOcclusal(p.Jaw))
		if math.Abs(up) < leastUpward {
			f.add(p.source.Position("occlusal_plane"), "", "give occlusal: a vector toward the biting surface", "the plane stands upright, so that its biting side is not known")
			return
		}
		p.Occlusal = r3.Scale(math.Copysign(1, up), n)
	case from.OcclusalGiven != r3.Vec{}:
		p.Occlusal, p.OcclusalFrom = from.OcclusalGiven, "given vector"
	default:
		p.Occlusal, p.OcclusalFrom = usualOcclusal(p.Jaw), "default for the "+string(p.Jaw)
	}
}

// checkDown refuses an axis that points toward the biting surface.
func (p *Placed) checkDown(f *faults, path, where string, d r3.Vec, meant string) {
	if p.Jaw != "" && r3.Dot(d, p.Occlusal) > 0 {
		f.add(p.source.Position(path), where, "turn its signs round", "axis [%.3g, %.3g, %.3g] points toward the biting surface, it must point %s", d.X, d.Y, d.Z, meant)
	}
}

// checkArch refuses points in a wrong order: a curve through them would fold back or cross itself.
func (p *Placed) checkArch(f *faults) {
	flat := make([]r3.Vec, len(p.Arch)) // seen along the occlusal direction
	for i, a := range p.Arch {
		flat[i] = r3.Sub(a, r3.Scale(r3.Dot(a, p.Occlusal), p.Occlusal))
	}
	before := len(f.list)
	for i := 1; i < len(flat); i++ {
		if d := r3.Norm(r3.Sub(flat[i], flat[i-1])); d < leastStep {
			f.add(p.source.Position(archPath(i)), "arch", "remove one of them", "points %d and %d are %.3g mm apart in the occlusal plane", i, i+1, d)
		}
	}
	for i := 1; i+1 < len(flat) && len(f.list) == before; i++ {
		if turn := safety.Angle(r3.Sub(flat[i], flat[i-1]), r3.Sub(flat[i+1], flat[i])); turn > mostTurn {
			f.add(p.source.Position(archPath(i)), "arch", inOrder, "the curve folds back at point %d (turns by %.0f degrees)", i+1, turn)
			return
		}
	}
	if len(f.list) > before {
		return
	}
	if i, j, crosses := selfCrossing(flat, p.Occlusal); crosses {
		f.add(p.source.Position(archPath(j)), "arch", inOrder,
			"the curve crosses itself: points %d–%d and %d–%d", i+1, i+2, j+1, j+2)
	}
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

// lay lays the arch curve and finds what can be told along it; the error wraps [reformat.ErrCurve].
func (p *Placed) lay() error {
	curve, err := reformat.NewCurve(p.Arch, p.Occlusal)
	if err != nil {
		return fmt.Errorf("%s: %w", p.Path, err)
	}
	p.Curve, p.Landmarks = curve, newLandmarks(p, curve)
	return nil
}

// examine gathers what is wrong or odd about a plan whose arch is laid; g may be nil.
func (p *Placed) examine(f *faults, g *volume.Grid) {
	var doubts []Doubt
	if g != nil {
		doubts = p.checkOn(f, *g)
	}
	for i, s := range p.Sites {
		if end := p.Curve.Length(); s.ArcMM != nil && *s.ArcMM > end {
			f.add(p.source.Position(sitePath(i)+".arc_mm"), siteName(s.ID), fmt.Sprintf("give arc_mm from 0 to %.1f", math.Floor(end*10)/10),
				"station %.6g mm is past the end of the arch (%.1f mm)", *s.ArcMM, end)
		}
	}
	p.doubts = &Doubts{plan: p, met: map[confirmation]bool{}}
	p.doubts.addInto(f, slices.Concat(doubts, p.checkGeometry(p.Landmarks), p.checkTeeth(p.Landmarks), p.checkProposed(), p.restorationDoubts()))
}

// Grid returns the grid that the plan was placed on.
func (p *Placed) Grid() volume.Grid { return p.grid }

// Doubts returns what is odd about the plan, as its own to be added to.
func (p *Placed) Doubts() *Doubts {
	return &Doubts{plan: p, all: slices.Clone(p.doubts.all), met: maps.Clone(p.doubts.met)}
}

// checkOn holds a placed plan against the grid of a scan: every point of a site outside it is an error.
//
// A structure or an arch that leaves the field is no error, for both may pass through a small
// field of view; an arch wholly outside it is, and a structure wholly outside it is a caution.
func (p *Placed) checkOn(f *faults, g volume.Grid) []Doubt {
	var out []Doubt
	const remedy = "check the point and the plan's coordinates (patient or voxel)"
	inside := func(v r3.Vec) bool { return g.Contains(g.Index(v)) }
	if !anyInside(p.Arch, inside) {
		f.add(p.source.Position(archPath(0)), "arch", remedy, "no arch point is inside the scan (%s)", g.Extent())
	}
	for i, s := range p.Sites {
		path, where := sitePath(i), siteName(s.ID)
		for _, v := range sitePoints(s) {
			if !inside(*v.at) {
				f.add(p.source.Position(path+v.key), where, remedy, "%s [%.6g, %.6g, %.6g] mm is outside the scan (%s)", v.key[1:], v.at.X, v.at.Y, v.at.Z, g.Extent())
			}
		}
	}
	for i, one := range p.Readings {
		for key, v := range map[string]r3.Vec{"from": one.From, "to": one.To} {
			if !inside(v) {
				f.add(p.source.Position(fmt.Sprintf("readings[%d].%s", i, key)), fmt.Sprintf("reading %q", one.ID), remedy, "%s [%.6g, %.6g, %.6g] mm is outside the scan (%s)", key, v.X, v.Y, v.Z, g.Extent())
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
