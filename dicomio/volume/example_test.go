package volume_test

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// A volume of 3 × 3 × 3 voxels of 0.5 mm whose grey values rise by 10 from column to column: between two of them there is
// their mean, and outside the field there is no value.
func ExampleVolume_At() {
	v, err := volume.New(volume.Grid{Size: [3]int{3, 3, 3}, Origin: r3.Vec{X: 10}, Step: [3]r3.Vec{{X: 0.5}, {Y: 0.5}, {Z: 0.5}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	for i := range v.Stored {
		v.Stored[i] = int16(10 * (i % 3))
	}
	fmt.Println(v.At(r3.Vec{X: 10.25, Y: 0.5, Z: 0.5}), math.IsNaN(v.At(r3.Vec{X: 12})))
	// Output:
	// 5 true
}
