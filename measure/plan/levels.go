package plan

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// The planes of a plan: where crests are levelled, and the planned occlusal level.

// Plane is a plane in the patient.
type Plane struct {
	Point  r3.Vec // mm
	Normal r3.Vec // unit vector on the biting side
}

// levels reads the plan's planes and the ends of its prosthesis.
func (r *reader) levels(top fields, p *Plan) {
	if n, ok := top.get("levelling_plane"); ok {
		r.source.at["levelling_plane"] = n.mark
		p.LevelPoints = n.threePoints()
	}
	if n, ok := top.get("occlusal_level"); ok {
		p.OcclusalLevel = r.occlusalLevel(n)
	}
	if n, ok := top.get("prosthesis_end"); ok {
		if pts, ok := n.points(maxEnds); ok {
			p.ProsthesisEnd = pts
		} else if isList(n) && len(pts) == 0 {
			n.fail("give at least one point or leave the key out", "prosthesis_end is an empty list")
		}
	}
}

// maxEnds bounds the planned ends of prostheses: two a jaw, and some to compare.
const maxEnds = 20

// occlusalLevel reads one point, or three of a plane.
func (r *reader) occlusalLevel(n node) []r3.Vec {
	r.source.at["occlusal_level"] = n.mark
	elements := n.list(3)
	if !isList(n) {
		return nil
	}
	if len(elements) == 3 && !isList(elements[0]) {
		if v, ok := n.vec(); ok {
			return []r3.Vec{v}
		}
		return nil
	}
	if len(elements) != 3 {
		n.fail("write one point, [x, y, z], or three points of the plane", "occlusal_level is %s", n.found())
		return nil
	}
	pts, ok := n.points(3)
	if !ok {
		return nil
	}
	return pts
}

// plane is the plane through the points of a key: three of them, or one with the occlusal direction as normal; nil
// where there are none.
func (p *Placed) plane(f *faults, key string, at []r3.Vec) *Plane {
	switch len(at) {
	case 0:
		return nil
	case 1:
		return &Plane{Point: at[0], Normal: p.Occlusal}
	}
	n, ok := p.normal(f, key, at)
	if !ok {
		return nil
	}
	up := r3.Dot(n, p.Occlusal)
	if math.Abs(up) < leastUpward {
		f.add(p.source.Position(key), "", "give three points of a plane that lies across the occlusal direction", "the plane of %s stands upright", key)
		return nil
	}
	return &Plane{Point: at[0], Normal: r3.Scale(math.Copysign(1, up), n)}
}

// normal returns a unit normal of the plane through three points, either way.
func (p *Placed) normal(f *faults, key string, at []r3.Vec) (r3.Vec, bool) {
	a, b := r3.Sub(at[1], at[0]), r3.Sub(at[2], at[0])
	n := r3.Cross(a, b)
	if r3.Norm(n) < 1e-3*r3.Norm(a)*r3.Norm(b) || r3.Norm(n) < leastStep*leastStep {
		f.add(p.source.Position(key), "", "give three points far apart", "the three points of %s lie on a line", key)
		return r3.Vec{}, false
	}
	return r3.Unit(n), true
}

// siteLevel reads how deep a site's crest is levelled.
func (r *reader) siteLevel(f fields, s *Site) {
	n, ok := f.get("level")
	if !ok {
		return
	}
	if v, ok := n.mapping("depth_mm").need("depth_mm", "say how deep: level: {depth_mm: 2.5}; 0 leaves this crest as it is"); ok {
		if d, ok := v.between(0, maxDepth, " mm"); ok {
			s.Level = &d
		}
	}
}

// The farthest that a size may be sought from the site's platform and axis: what [safety.PoseRange]
// takes.
const (
	mostShift = 50 // mm
	mostTilt  = 60 // degrees
)

// limits reads one pair of pose limits of the size search.
func (n node) limits(most float64, unit string) *[2]float64 {
	elements := n.list(2)
	if len(elements) != 2 {
		if isList(n) {
			n.fail("write the least and the most: [-1, 1]", "%s has %d numbers", n.key(), len(elements))
		}
		return nil
	}
	low, ok1 := elements[0].between(-most, most, unit)
	high, ok2 := elements[1].between(-most, most, unit)
	switch {
	case !ok1 || !ok2:
		return nil
	case low > high:
		n.fail("write the least first", "%s is [%g, %g]", n.key(), low, high)
		return nil
	}
	return &[2]float64{low, high}
}
