package phantom

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Slab is what lies within Half mm of a plane through At with the unit normal Normal, patient.
type Slab struct {
	At, Normal r3.Vec
	Half       float64
}

// off is how far a point of the patient lies off the plane, mm.
func (s Slab) off(p r3.Vec) float64 { return math.Abs(r3.Dot(r3.Sub(p, s.At), s.Normal)) }

// VolumeIn is [Jaw.Volume] of a slab alone, several times faster where that is thin: its voxels are the same to the bit, and
// all others are blank.
func (j *Jaw) VolumeIn(ctx context.Context, s Slab, progress func(done float64)) (*volume.Volume, error) {
	vol, err := volume.New(j.grid)
	if err != nil {
		return nil, err
	}
	r := newRender(j, vol, progress)
	r.only(s)
	if err := r.run(ctx); err != nil {
		return nil, err
	}
	none := int16(outside)
	vol.Blank = &none
	for i := range vol.Stored {
		x, y, z := i%vol.Size[0], i/vol.Size[0]%vol.Size[1], i/(vol.Size[0]*vol.Size[1])
		if s.off(j.grid.Patient(volume.Index{I: float64(x), J: float64(y), K: float64(z)})) > s.Half {
			vol.Stored[i] = none
		}
	}
	return vol, nil
}

// only has the tilers draw what the voxels of a slab are made of, and leave the rest of the lattice as it is.
func (r *render) only(s Slab) {
	// as far as a voxel's kernel reaches along the normal: it is a box on the lattice
	for i, step := range []r3.Vec{r.jaw.grid.Step[0], r.jaw.grid.Step[1], normal(r.jaw.grid)} {
		reach := float64(len(r.kernel.weights[i])/2) * r.kernel.pitch[i]
		s.Half += reach * math.Abs(r3.Dot(r3.Unit(step), s.Normal))
	}
	moved := 0.0
	for _, d := range r.jaw.shifts() {
		moved = math.Max(moved, math.Abs(r3.Dot(d, s.Normal)))
	}
	s.Half += moved
	in := Slab{r.jaw.toJaw(s.At), r3.Unit(r.jaw.toJaw(s.Normal)), s.Half}
	for _, w := range r.workers {
		w.slab = &in
	}
}
