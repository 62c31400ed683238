package solid_test

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/solid"
)

// An implant of 4 × 10 mm over a canal of 3 mm whose axis runs 14.1 mm below the platform; then 3 mm deeper.
func ExampleDistance() {
	implant := solid.Frustum{Axis: r3.Vec{Z: -1}, Length: 10, Radius: 2, TipRadius: 2}
	canal := solid.Chain{Path: []r3.Vec{{Y: -20, Z: -14.1}, {Y: 20, Z: -14.1}}, Radii: []float64{1.5, 1.5}}
	for _, z := range []float64{0, -3} {
		implant.Base.Z = z
		g, err := solid.Distance(implant, canal)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%.2f mm, nearest on the canal at z = %.2f mm\n", g.Distance, g.Near[1].Z)
	}
	// Output:
	// 2.60 mm, nearest on the canal at z = -12.60 mm
	// -0.40 mm, nearest on the canal at z = -12.60 mm
}
