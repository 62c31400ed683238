package reformat

import (
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Section is a resampled cross-section: grey values on a raster in the section's plane.
type Section struct {
	Frame
	Corner        UV        // centre of the top left pixel: least U, greatest V, mm
	Step          float64   // pixel size, mm
	Width, Height int       // pixels
	Grey          []float32 // Width·Height grey values, row by row from the top (coronal) down; NaN outside the field
}

// Resample returns the section of v at frame f over min ≤ (u, v) ≤ max (mm), with pixels of step
// mm; step 0 means the smallest voxel step.
func Resample(v *volume.Volume, f Frame, min, max UV, step float64) Section {
	return NewField(v, f).Slab(min, max, step, 0)
}

// Slab is the mean of the sections at the given offsets along T (mm) from this one, pixel by
// pixel; NaN where one of them has no value. Its raster is that of [Resample].
func (f Field) Slab(min, max UV, step float64, offsets ...float64) Section {
	if step <= 0 {
		step, _ = f.Voxel()
	}
	sec := Section{Frame: f.Frame, Corner: UV{min.U, max.V}, Step: step,
		Width: int((max.U-min.U)/step+0.5) + 1, Height: int((max.V-min.V)/step+0.5) + 1}
	var origins []r3.Vec
	for _, off := range offsets {
		origins = append(origins, f.Along(off).Patient(sec.Corner))
	}
	sec.Grey = f.v.SampleMean(nil, volume.Plane{StepX: r3.Scale(step, f.U), StepY: r3.Scale(-step, f.V), Width: sec.Width, Height: sec.Height}, origins...)
	return sec
}

// Place returns the section point of pixel (x, y), in mm.
func (s Section) Place(x, y float64) UV {
	return UV{s.Corner.U + x*s.Step, s.Corner.V - y*s.Step}
}

// Pixel returns the pixel position of section point p; whole numbers are pixel centres.
func (s Section) Pixel(p UV) (x, y float64) {
	return (p.U - s.Corner.U) / s.Step, (s.Corner.V - p.V) / s.Step
}

// Panorama is the volume unrolled along the arch: column = arc length, row = height.
type Panorama struct {
	Step          float64   // pixel size both ways, mm
	Top           float64   // v of the first row, mm above the arch curve
	Width, Height int       // pixels; column x lies at arc length x·Step
	Grey          []float32 // Width·Height means over the slab, row by row from the top; NaN outside the field
}

// Unroll returns the panoramic view of v along c: for every step of arc length the mean over
// ±half mm in the buccolingual direction, from low to high mm of height about the curve.
func Unroll(v *volume.Volume, c *Curve, low, high, half, step float64) Panorama {
	p := Panorama{Step: step, Top: high, Width: int(c.Length()/step) + 1, Height: int((high-low)/step+0.5) + 1}
	p.Grey = make([]float32, p.Width*p.Height)
	depth := int(2*half/step+0.5) + 1
	var column []float32
	for x := range p.Width {
		f := c.Frame(float64(x) * step)
		column = v.Sample(column, volume.Plane{Origin: f.Patient(UV{-half, high}),
			StepX: r3.Scale(step, f.U), StepY: r3.Scale(-step, f.V), Width: depth, Height: p.Height})
		for y := range p.Height {
			p.Grey[y*p.Width+x] = mean(column[y*depth : (y+1)*depth])
		}
	}
	return p
}

// mean returns the mean of the values there are, NaN when there is none.
func mean(values []float32) float32 {
	sum, n := float32(0), 0
	for _, g := range values {
		if g == g {
			sum += g
			n++
		}
	}
	return sum / float32(n)
}
