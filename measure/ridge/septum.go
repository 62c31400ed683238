package ridge

import (
	"math"

	"ridgerule/measure/uncertainty"
)

// besideReach is how far along the arch the floor beside a septum is looked for, mm: past half of any
// septum's thickness, before its neighbour. septumRise is how much nearer it must lie on both sides for
// what stands at the axis to be a septum and not a sloping floor, mm. Our choice.
const (
	besideReach = 2.0
	septumRise  = 1.0
)

// SeptumEdge is what a height that ends on a septum's free edge owes to that edge: it is narrower than
// the patch of surface that is fitted to it. From phantoms with septa of 1.2 mm, whose heights read
// 0.1 to 0.5 mm too great.
var SeptumEdge = uncertainty.Term{Name: "edge of a septum", Std: 0.25}

// Septum returns the height of the nearer floor beside a bony septum that the axis runs into, mm, off
// the grey values alone and good to some tenths of a millimetre. depth is where the axis leaves the
// bone, mm below the crest. It reports false where the cavity's floor does not lie nearer on both
// sides along the arch.
func (o *Outline) Septum(a Axis, depth float64) (beside float64, ok bool) {
	beside = math.Inf(1)
	for _, off := range [2]float64{-besideReach, besideReach} {
		moved := *o
		moved.field.Frame = o.field.Along(off)
		air, ok := moved.lumen(a, 40)
		if !ok {
			return 0, false
		}
		floor, ok := moved.floorAbove(a, air)
		if !ok || floor > depth-septumRise {
			return 0, false
		}
		beside = math.Min(beside, floor)
	}
	return beside, true
}
