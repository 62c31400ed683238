package uncertainty_test

import (
	"fmt"

	"ridgerule/measure/uncertainty"
)

// A distance of 2.6 mm between two edges that were each seen to 0.06 mm, in a scan whose scale is right to ± 0.5 %: the
// scale moves the distance by its own length.
func ExampleLength() {
	const distance = 2.6
	l := uncertainty.Length{Value: distance, Budget: uncertainty.Budget{
		{Name: "edge, near", Std: 0.06},
		{Name: "edge, far", Std: 0.06},
		uncertainty.Moved("scale", uncertainty.Rectangular(0.005), distance),
	}}
	fmt.Printf("%.2f ± %.2f mm (k = %g)\n", l.Value, l.U(), uncertainty.Coverage)
	// Output:
	// 2.60 ± 0.17 mm (k = 2)
}
