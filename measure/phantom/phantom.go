// Package phantom makes synthetic jaws whose measurements are known from geometry.
//
// [Options] go in; a [Jaw] comes out, an analytic shape. From it, independently of each other:
// the scan ([Jaw.Volume]: the shape, blurred, sampled, with noise), the truth ([Jaw.Truth]:
// distances found by root finding on the shape, never on voxels) and the site plan ([Jaw.Plan]).
// Nothing that measures is imported here. All anatomy is invented.
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
	"context"
	"errors"

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
	opt Options
}

// New builds the jaw that o describes. It returns an error wrapping [ErrOptions] that names
// the field, its value and the range where o asks for a shape or a scan that cannot be made.
func New(o Options) (*Jaw, error) { return nil, ErrOptions }

// Volume samples the jaw, blurred by an isotropic Gaussian, with noise and artefacts, on the
// grid of the options. The same options give the same voxels on any number of processors.
// progress, if not nil, is called with the finished share from 0 to 1, from one goroutine at
// a time. It returns ctx's error when ctx ends first.
func (j *Jaw) Volume(ctx context.Context, progress func(done float64)) (*volume.Volume, error) {
	return nil, ErrOptions
}

// Grid returns the grid that [Jaw.Volume] fills.
func (j *Jaw) Grid() volume.Grid { return volume.Grid{} }

// Grey returns the grey value of the sharp shape at patient point p (mm): no blur, no noise.
// It is a relative grey value without unit.
func (j *Jaw) Grey(p r3.Vec) float64 { return 0 }

// Chord returns where the line p + t·dir (patient, mm; dir need not be a unit vector) enters
// and leaves the outer surface of the bone: the outermost crossings within reach mm of p,
// as distances t in mm along the unit vector of dir. Cavities and canals do not count.
// It returns [ErrNoChord] where the line meets no bone.
func (j *Jaw) Chord(p, dir r3.Vec, reach float64) (near, far float64, err error) {
	return 0, 0, ErrNoChord
}

// Plates returns, for the line of [Jaw.Chord], the thickness of the cortical plate at its
// near and at its far end, in mm along the line: outer edge to endosteal edge. Where the line
// meets no marrow the whole chord is cortex and both are NaN.
func (j *Jaw) Plates(p, dir r3.Vec, reach float64) (near, far float64, err error) {
	return 0, 0, ErrNoChord
}

// Truth returns what a perfect measurement of every site of [Jaw.Plan] finds.
func (j *Jaw) Truth() Truth { return Truth{} }

// TruthIn returns what a perfect measurement in the given section finds: for the axis that
// the ridge itself defines there (Axis nil), or along a given axis from crest to base.
// near is a point in the ridge, where the search for it starts (mm, patient).
func (j *Jaw) TruthIn(sec Section, near r3.Vec, axis *r3.Vec) (AxisTruth, error) {
	return AxisTruth{}, ErrNoChord
}

// SectionAt returns the section that the plan's arch curve defines at its point nearest to p,
// and that point's arc length from the curve's first point, in mm.
func (j *Jaw) SectionAt(p r3.Vec) (Section, float64) { return Section{}, 0 }
