package plan

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Place turns the plan into patient coordinates on grid g and checks all that needs no pixel: its points against
// each other and the grid, tooth numbers against places. source, which may be nil, gives errors their lines.
//
// The error is an [Errors] with every fault, or wraps [reformat.ErrCurve]; what is odd and no fault is in
// [Placed.Doubts].
func (p *Plan) Place(g volume.Grid, source *Source) (*Placed, error) {
	in, err := p.InPatient(g, source)
	if err != nil {
		return nil, err
	}
	f := &faults{}
	out := in.settle(f, source)
	if err := f.err(); err != nil {
		return nil, err
	}
	out.grid = g
	if err := out.lay(); err != nil {
		return nil, err
	}
	out.examine(f, &g)
	if err := f.err(); err != nil {
		return nil, err
	}
	return out, nil
}

// Check finds what is wrong or odd about a plan in patient coordinates without a scan; of one in voxels nothing,
// for its points have no place without a grid. The error is as of [Plan.Place]; the cautions say what is no error.
func (p *Plan) Check(source *Source) ([]Caution, error) {
	if p.Voxels {
		return nil, nil
	}
	f := &faults{}
	out := p.settle(f, source)
	if err := f.err(); err != nil {
		return nil, err
	}
	if err := out.lay(); err != nil {
		return nil, err
	}
	out.examine(f, nil)
	out.doubts.AddIdle(false)
	return out.doubts.Cautions(), f.err()
}

// InPatient returns the plan with its points in patient coordinates of grid g (LPS, mm): a copy where they are
// already. Lengths, closed surfaces and the default occlusal direction are in patient coordinates in every plan.
//
//	point      P = Patient(i, j, k)
//	direction  d = Patient(i, j, k) − Patient(0, 0, 0), normalised
//
// The error is an [Errors]: what [Read] checks of a plan in patient coordinates can be checked of this one only
// now, because voxels need be neither square nor upright.
func (p *Plan) InPatient(g volume.Grid, source *Source) (*Plan, error) {
	out := p.Clone()
	if !p.Voxels {
		return out, nil
	}
	out.toPatient(g)
	f := &faults{}
	out.settle(f, source)
	if err := f.err(); err != nil {
		return nil, err
	}
	return out, nil
}

// Moved returns the plan with every point and every direction taken into another frame of patient coordinates: the plan of
// one scan as another scan of the same patient has it. Its occlusal direction must be given ([Plan.OcclusalGiven]) or follow from
// points, for the usual one is that of the old frame. A plan in voxels belongs to its own grid: [Plan.InPatient] first.
func (p *Plan) Moved(point, direction func(r3.Vec) r3.Vec) *Plan {
	out := p.Clone()
	take := func(by func(r3.Vec) r3.Vec, directed bool) func(*r3.Vec) {
		return func(v *r3.Vec) {
			if v != nil && (!directed || *v != (r3.Vec{})) {
				*v = by(*v)
			}
		}
	}
	out.eachVec(take(point, false), take(direction, true))
	return out
}

// toPatient turns the points of a plan in voxels into patient coordinates, in place.
func (p *Plan) toPatient(g volume.Grid) {
	p.Voxels = false
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
}

// eachVec calls point with every point and direction with every direction of the plan that are in
// the file's coordinates.
func (p *Plan) eachVec(point, direction func(*r3.Vec)) {
	direction(&p.OcclusalGiven)
	for _, list := range [][]r3.Vec{p.OcclusalPlane, p.LevelPoints, p.OcclusalLevel, p.ProsthesisEnd, p.Arch} {
		for i := range list {
			point(&list[i])
		}
	}
	point(p.Midline)
	for i := range p.Readings {
		point(&p.Readings[i].From)
		point(&p.Readings[i].To)
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

// Clone returns a copy whose points, sites, implants and structures may be changed without changing p.
func (p *Plan) Clone() *Plan {
	out := *p
	for _, list := range []*[]r3.Vec{&out.OcclusalPlane, &out.LevelPoints, &out.OcclusalLevel, &out.ProsthesisEnd, &out.Arch} {
		*list = slices.Clone(*list)
	}
	out.Midline = copied(p.Midline)
	out.Readings, out.Sites = slices.Clone(p.Readings), slices.Clone(p.Sites)
	for i := range out.Sites {
		s := &out.Sites[i]
		s.At, s.ArcMM, s.Crest, s.Implant = copied(s.At), copied(s.ArcMM), copied(s.Crest), copied(s.Implant)
		if s.Implant != nil {
			s.Implant.Platform, s.Implant.Axis = copied(s.Implant.Platform), copied(s.Implant.Axis)
		}
	}
	out.Structures = slices.Clone(p.Structures)
	for i := range out.Structures {
		out.Structures[i].Path = slices.Clone(out.Structures[i].Path)
	}
	return &out
}

func copied[T any](v *T) *T {
	if v == nil {
		return nil
	}
	out := *v
	return &out
}
