package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// Whichever way the slices were stacked, a voxel of the patient is in the axial picture of its z at its x and its y: u is
// x, v is −y. Half a voxel is what interpolation moves the brightest pixel.
func TestAxialPictureLiesInThePatient(t *testing.T) {
	for name, step := range map[string][3]r3.Vec{
		"axial":          {{X: 0.4}, {Y: 0.4}, {Z: 0.4}},
		"from the head":  {{X: -0.4}, {Y: 0.4}, {Z: -0.4}},
		"coronal":        {{X: 0.4}, {Z: -0.4}, {Y: 0.4}},
		"sagittal":       {{Y: 0.4}, {Z: -0.4}, {X: -0.4}},
		"turned, 36.87°": {{X: 0.32, Y: 0.24}, {X: -0.24, Y: 0.32}, {Z: 0.4}},
	} {
		v, err := volume.New(volume.Grid{Size: [3]int{41, 37, 33}, Origin: r3.Vec{X: -3, Y: 7, Z: 11}, Step: step})
		require.NoError(t, err)
		v.Stored[(14*37+11)*41+25] = 1000
		at := v.Patient(volume.Index{I: 25, J: 11, K: 14})
		p := axialPicture(v, at.Z, 0.2)
		best := 0
		for i, g := range p.Grey {
			if g > p.Grey[best] || p.Grey[best] != p.Grey[best] {
				best = i
			}
		}
		assert.InDelta(t, at.X, p.First.U+p.Step*float64(best%p.Width), 0.2, "%s: x", name)
		assert.InDelta(t, at.Y, -p.First.V+p.Step*float64(best/p.Width), 0.2, "%s: y", name)
	}
}

func TestAxialPicturesStandAtWholeMultiplesOfTwoMillimetres(t *testing.T) {
	heights := func(from float64, n int) []float64 {
		return axialHeights(volume.Grid{Size: [3]int{2, 2, n}, Origin: r3.Vec{Z: from}, Step: [3]r3.Vec{{X: 1}, {Y: 1}, {Z: 0.5}}})
	}
	assert.Equal(t, []float64{-4, -2, 0, 2}, heights(-4, 15)) // −4 … 3
	assert.Equal(t, []float64{-2, 0}, heights(-3.9, 9))       // −3.9 … 0.1
	assert.Equal(t, []float64{0.5}, heights(0.25, 2))         // none between 0.25 and 0.75
}
