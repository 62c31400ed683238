// Package phantom makes synthetic jaws whose measurements are known from geometry.
//
// [Options] go in; a [Jaw] comes out, an analytic shape. From it, independently of each other:
// the scan ([Jaw.Volume]: the shape, blurred, sampled, with noise), the truth ([Jaw.Truth]:
// distances found by root finding on the shape, never on voxels) and the site plan ([Jaw.Plan]).
// Nothing that measures is imported here. All anatomy is invented.
//
// What to call:
//
//   - a lifelike jaw to show or to try a program on: [Demo], then [New] and [Jaw.Volume];
//   - one section's voxels alone, several times faster: [Jaw.VolumeIn];
//   - thousands of different sites to test a method on: [Random] and [Options.Small], then [Jaw.Truth];
//   - sites that each teach one thing, for students: [TeachingSites];
//   - one's own shape: fill [Options]; the zero value is a plain, upright, noiseless mandible;
//   - the truth in a section or along an axis that a reader chose otherwise: [Jaw.TruthIn], [Jaw.Chord].
//
// Frames:
//
//	r3.Vec     (x, y, z)  patient, LPS: +x Left, +y Posterior, +z Superior; mm
//	arch       (s, u, v)  arc length from the midline (+ patient's left), offset from the arch
//	                      (+ buccal), height over the arch plane (+ toward the crest); mm
//	ridge      (a, b)     in the section at s: depth below the crest along the ridge's own
//	                      axis, offset across it (+ buccal); mm
//
// In both jaws v points to the crest: the mandible has v = z, the maxilla v = −z.
// Grey values are relative: they resemble a cone-beam scan's and are not Hounsfield units.
package phantom

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Errors of this package; test for them with [errors.Is].
var (
	ErrOptions = errors.New("phantom: unusable options")
	ErrNoChord = errors.New("phantom: the line does not cross the bone")
)

// Jaw is one synthetic jaw: an analytic shape with its scan and its sites. Make it with [New].
// It never changes after that; its methods may be called from several goroutines.
type Jaw struct {
	opt     Options
	shape   *shape
	grid    volume.Grid
	texture *texture
	plan    Plan
	curve   *spline // through the plan's arch points
}

// New builds the jaw that o describes. It returns an error wrapping [ErrOptions] that names
// the field, its value and the range where o asks for a shape or a scan that cannot be made.
func New(o Options) (*Jaw, error) {
	o = o.withDefaults()
	if err := o.check(); err != nil {
		return nil, err
	}
	j := &Jaw{opt: o, shape: newShape(o), texture: newTexture(o.Grey.Texture, o.Seed)}
	j.grid = j.makeGrid()
	if err := j.grid.Check(); err != nil {
		return nil, fmt.Errorf("%w: scan: %w", ErrOptions, err)
	}
	j.makePlan()
	return j, nil
}

// Options returns the jaw's options, defaults filled in.
func (j *Jaw) Options() Options { return j.opt }

// makeGrid places the grid of the options in the patient.
func (j *Jaw) makeGrid() volume.Grid {
	sc := j.opt.Scan
	turn := func(v r3.Vec) r3.Vec { return v }
	if angle := r3.Norm(sc.Turn); angle > 0 {
		turn = r3.NewRotation(angle*math.Pi/180, sc.Turn).Rotate
	}
	lean := math.Tan(sc.Gantry * math.Pi / 180)
	g := volume.Grid{Size: sc.Size, Step: [3]r3.Vec{
		turn(r3.Vec{X: sc.Voxel[0]}), turn(r3.Vec{Y: sc.Voxel[1]}),
		turn(r3.Vec{Y: sc.Voxel[2] * lean, Z: sc.Voxel[2]}),
	}}
	g.Origin = r3.Sub(*sc.Centre, g.Patient(volume.Index{
		I: float64(sc.Size[0]-1) / 2, J: float64(sc.Size[1]-1) / 2, K: float64(sc.Size[2]-1) / 2}))
	return g
}

// toJaw turns a patient point or vector into the jaw's own frame, z toward the crest.
// It is its own inverse.
func (j *Jaw) toJaw(p r3.Vec) r3.Vec {
	if j.opt.Jaw == Maxilla {
		p.Z = -p.Z
	}
	return p
}

func (j *Jaw) toPatient(p r3.Vec) r3.Vec { return j.toJaw(p) }

// Grey returns the grey value of the sharp shape at patient point p (mm): no blur, no noise.
// It is a relative grey value without unit.
func (j *Jaw) Grey(p r3.Vec) float64 {
	var l layers
	var w place
	q := j.toJaw(p)
	l.request(q, 1<<lCount-1, &w, 0)
	return j.shape.paint(&l, &j.opt.Grey, 0, j.texture, q)
}
