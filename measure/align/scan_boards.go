package align

import (
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/solid"
)

// Board is one plane through both scans, to be looked at as a checkerboard: what runs on across its squares is aligned.
type Board struct {
	At            r3.Vec    // its middle in the first scan, mm
	Place         int       // which of the places, from 1
	Plane         string    // axial or coronal, of the first scan's axes
	X, Y          r3.Vec    // unit vectors to the right and down, in the first scan
	Step          float64   // from pixel to pixel, mm
	Side          int       // pixels, either way
	First, Second []float32 // Side·Side relative grey values, row by row from the top; NaN outside the field

	Surface *solid.Sheet // that was brought onto the scan, in the scan's frame; nil: two scans
}

// How large a board is; our choice: a molar with its bone.
const (
	boardEdge = 32.0 // mm
	boardStep = 0.25 // mm
	boardsAt  = 6    // places
)

// Places returns six places spread over the bone of the first scan, mm: the middles of parts of equal size, moved to the
// nearest bone. keep is as of [ScanOptions].
func Places(first *volume.Volume, keep func(r3.Vec) bool) []r3.Vec {
	coarse := reduced(first, coarseEdge)
	cells, _ := bony(coarse, newHistogram(coarse).bone(), keep)
	var all []sample
	for _, p := range cells {
		all = append(all, sample{p: p})
	}
	if len(all) < boardsAt {
		return nil
	}
	var out []r3.Vec
	for _, third := range thirds(all) {
		a, b := halve(third)
		for _, part := range [][]sample{a, b} {
			out = append(out, middleOf(part))
		}
	}
	return out
}

// thirds cuts points in three, from left to right.
func thirds(s []sample) [][]sample {
	sortAlong(s, 0)
	n := len(s) / 3
	return [][]sample{s[:n], s[n : len(s)-n], s[len(s)-n:]}
}

// middleOf returns the point nearest to the mean of s, mm.
func middleOf(s []sample) r3.Vec {
	mean := r3.Vec{}
	for _, q := range s {
		mean = r3.Add(mean, r3.Scale(1/float64(len(s)), q.p))
	}
	best := s[0].p
	for _, q := range s {
		if r3.Norm(r3.Sub(q.p, mean)) < r3.Norm(r3.Sub(best, mean)) {
			best = q.p
		}
	}
	return best
}

// Boards samples both scans, the second one where t takes the first, on an axial and a coronal plane at each place.
func Boards(first, second *volume.Volume, t Transform, at []r3.Vec) []Board {
	var out []Board
	for i, p := range at {
		for _, b := range []Board{
			{Plane: "axial", X: r3.Vec{X: 1}, Y: r3.Vec{Y: 1}},
			{Plane: "coronal", X: r3.Vec{X: 1}, Y: r3.Vec{Z: -1}},
		} {
			b.At, b.Place, b.Step, b.Side = p, i+1, boardStep, int(boardEdge/boardStep)
			half := float64(b.Side-1) / 2 * b.Step
			corner := r3.Sub(p, r3.Scale(half, r3.Add(b.X, b.Y)))
			plane := volume.Plane{Origin: corner, StepX: r3.Scale(b.Step, b.X), StepY: r3.Scale(b.Step, b.Y), Width: b.Side, Height: b.Side}
			b.First = first.Sample(nil, plane)
			plane.Origin, plane.StepX, plane.StepY = t.Apply(corner), t.Turn(plane.StepX), t.Turn(plane.StepY)
			b.Second = second.Sample(nil, plane)
			out = append(out, b)
		}
	}
	return out
}
