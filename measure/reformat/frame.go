// Package reformat resamples a volume along the arch: cross-sections and the panoramic view.
//
// Arch points and a volume flow in; a [Curve] hands out a [Frame] at any arc length, and a frame
// resamples a [Section]. Frames:
//
//	UV      (u, v)     section: +u buccal, +v coronal (from the base of the jaw to its crest); mm
//	r3.Vec  (x, y, z)  patient, LPS: +x Left, +y Posterior, +z Superior; mm
//
// In both jaws v grows toward the biting surface, so past this package nobody asks which jaw it is.
package reformat

import "gonum.org/v1/gonum/spatial/r3"

// UV is a point or direction in a section: U buccal, V coronal, mm.
type UV struct{ U, V float64 }

// Frame is the place of a section in the patient. U, V and T are unit vectors at right angles;
// T = U × V up to its sign runs along the arch in the direction of growing arc length.
type Frame struct {
	Arc    float64 `json:"arc_mm"`     // arc length from the first arch point, mm
	Origin r3.Vec  `json:"origin_mm"`  // the curve's point, patient LPS, mm
	U      r3.Vec  `json:"buccal"`     // buccal
	V      r3.Vec  `json:"coronal"`    // coronal
	T      r3.Vec  `json:"along_arch"` // along the arch
}

// Along returns the frame moved by off mm along the arch, its directions kept.
func (f Frame) Along(off float64) Frame {
	f.Origin = r3.Add(f.Origin, r3.Scale(off, f.T))
	return f
}

// Patient returns the patient position (LPS, mm) of section point p.
func (f Frame) Patient(p UV) r3.Vec {
	return r3.Add(f.Origin, f.Direction(p))
}

// Direction returns the patient vector (LPS, mm) of section vector d.
func (f Frame) Direction(d UV) r3.Vec {
	return r3.Add(r3.Scale(d.U, f.U), r3.Scale(d.V, f.V))
}

// Section returns p's place in the section and its signed distance from the section's plane
// along T, both in mm.
func (f Frame) Section(p r3.Vec) (UV, float64) {
	d := r3.Sub(p, f.Origin)
	return UV{r3.Dot(d, f.U), r3.Dot(d, f.V)}, r3.Dot(d, f.T)
}
