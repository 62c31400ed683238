package reformat_test

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/reformat"
)

// The section of a lower jaw through a point: where it stands along the arch, and which way is buccal.
func ExampleCurve() {
	arch := []r3.Vec{{X: -27}, {X: -19, Y: -27}, {Y: -38}, {X: 19, Y: -27}, {X: 27}}
	curve, err := reformat.NewCurve(arch, r3.Vec{Z: 1})
	if err != nil {
		fmt.Println(err)
		return
	}
	arc, _ := curve.Project(r3.Vec{X: 24, Y: -15, Z: 3})
	f := curve.Frame(arc)
	at, off := f.Section(r3.Vec{X: 24, Y: -15, Z: 3})
	fmt.Printf("%.1f of %.1f mm along the arch, buccal is toward (%.2f, %.2f, %.2f)\n", arc, curve.Length(), f.U.X, f.U.Y, f.U.Z)
	fmt.Printf("the point lies %.1f mm coronal of the curve and %.1f mm from the section\n", at.V, math.Abs(off))
	// Output:
	// 86.6 of 101.9 mm along the arch, buccal is toward (0.98, -0.21, 0.00)
	// the point lies 3.0 mm coronal of the curve and 0.0 mm from the section
}
