package fit_test

import (
	"fmt"
	"math"

	"ridgerule/measure/fit"
)

// The open can of 1000 cm³ that takes the least sheet is as high as its radius: r³ = 1000/π.
func ExampleGolden() {
	sheet := func(r float64) float64 { return math.Pi*r*r + 2*1000/r } // cm², of 1000 cm³
	r, area := fit.Golden(1, 20, 1e-6, sheet)
	fmt.Printf("radius %.3f cm, %.1f cm²\n", r, area)
	// Output:
	// radius 6.828 cm, 439.4 cm²
}
