package main

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
)

// axialEvery is the distance between axial pictures, mm.
const axialEvery = 2.0

// drawAxials draws the series that selector names, or the only one, in axial pictures at whole multiples of 2 mm of the
// patient's z, into the folder that out names. It returns their file names.
func (a *app) drawAxials(ctx context.Context, path, selector string, out outFlags) ([]string, error) {
	f, err := newFolder(out.dir, out.replace, path)
	if err != nil {
		return nil, err
	}
	defer f.abandon()
	s, err := a.open(ctx, path, selector)
	if err != nil {
		return nil, err
	}
	defer s.input.Close()
	v, err := a.volume(ctx, s)
	if err != nil {
		return nil, err
	}
	names, err := a.writeAxials(ctx, f, v, s.Synthetic)
	if err != nil {
		return nil, err
	}
	return names, a.settle(f, out.dir)
}

// writeAxials draws the pictures, from the lowest up.
func (a *app) writeAxials(ctx context.Context, f *folder, v *volume.Volume, synthetic bool) ([]string, error) {
	heights := axialHeights(v.Grid)
	var sample []report.Picture
	for i := 0; i < len(heights); i += max(1, len(heights)/8) {
		sample = append(sample, axialPicture(v, heights[i], 1))
	}
	draw := report.NewAxials(sample)
	draw.Synthetic = synthetic
	step, end := a.progress("drawing")
	defer end()
	var names []string
	for i, z := range heights {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		drawing, err := draw.Drawing(z, axialPicture(v, z, pixel(v)))
		if err != nil {
			return nil, err
		}
		name := fmt.Sprintf("axial-%05.1fmm.png", z)
		if err := f.write(name, drawing.PNG); err != nil {
			return nil, err
		}
		names = append(names, name)
		step(i+1, len(heights))
	}
	return names, nil
}

// axialHeights returns the patient's z of each picture, mm: the multiples of [axialEvery] within the volume, or its middle
// when it holds none.
func axialHeights(g volume.Grid) []float64 {
	b := g.Bounds()
	var out []float64
	for n := math.Ceil(b.Min.Z / axialEvery); n*axialEvery <= b.Max.Z; n++ {
		out = append(out, n*axialEvery)
	}
	if len(out) == 0 {
		out = []float64{(b.Min.Z + b.Max.Z) / 2}
	}
	return out
}

// axialPicture resamples the volume at z (mm) with pixels of step mm, the patient seen from the feet, face up: u is x, v is −y.
func axialPicture(v *volume.Volume, z, step float64) report.Picture {
	b := v.Bounds()
	f := reformat.Frame{Origin: r3.Vec{Z: z}, U: r3.Vec{X: 1}, V: r3.Vec{Y: -1}, T: r3.Vec{Z: 1}}
	return report.PictureOf(reformat.Resample(v, f, reformat.UV{U: b.Min.X, V: -b.Max.Y}, reformat.UV{U: b.Max.X, V: -b.Min.Y}, step))
}
