package plan

import (
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Place turns the points and directions of a plan in voxel indices into patient coordinates of
// grid g (LPS, mm), once; a plan in patient coordinates is left as it is. Lengths, closed surfaces
// and the default occlusal direction are in patient coordinates already.
//
//	point      P = Patient(i, j, k)
//	direction  d = Patient(i, j, k) − Patient(0, 0, 0), normalised
//
// The error is a [Errors]: what [Read] checks of a plan in patient coordinates can be
// checked of this one only now, because voxels need be neither square nor upright.
func (p *Plan) Place(g volume.Grid) error {
	if !p.VoxelPoints {
		return nil
	}
	p.VoxelPoints = false
	point := func(v *r3.Vec) {
		if v != nil {
			*v = g.Patient(volume.Index{I: v.X, J: v.Y, K: v.Z})
		}
	}
	direction := func(v *r3.Vec) {
		if v != nil && *v != (r3.Vec{}) {
			*v = r3.Unit(r3.Sub(g.Patient(volume.Index{I: v.X, J: v.Y, K: v.Z}), g.Origin))
		}
	}
	p.eachVec(point, direction)
	f := &faults{}
	p.checkShape(f)
	return f.err()
}

// eachVec calls point with every point and direction with every direction of the plan that are in
// the file's coordinates.
func (p *Plan) eachVec(point, direction func(*r3.Vec)) {
	if p.OcclusalFrom == occlusalGiven {
		direction(&p.Occlusal)
	}
	if p.plane != nil {
		for i := range p.plane {
			point(&p.plane[i])
		}
	}
	for _, l := range []*planePoints{p.cut, p.level} {
		if l != nil {
			for i := range l.at {
				point(&l.at[i])
			}
		}
	}
	for i := range p.ProsthesisEnd {
		point(&p.ProsthesisEnd[i])
	}
	point(p.Midline)
	for i := range p.Arch {
		point(&p.Arch[i])
	}
	for i := range p.Sites {
		s := &p.Sites[i]
		point(s.At)
		point(s.Crest)
		direction(&s.AxisVec)
		if s.Implant != nil {
			point(s.Implant.Platform)
			direction(s.Implant.Axis)
		}
	}
	for i := range p.Structures {
		for j := range p.Structures[i].Path {
			point(&p.Structures[i].Path[j])
		}
	}
}
