package phantom_test

import (
	"context"
	"fmt"

	"ridgerule/measure/phantom"
)

// A lower jaw cut down to 20 mm round the first molar: its scan, and what a perfect measurement finds there.
func Example() {
	o, err := phantom.Demo(phantom.Mandible).Small(36, 20)
	if err != nil {
		panic(err)
	}
	o.Scan.Voxel, o.Scan.Size, o.Scan.Blur = [3]float64{1, 1, 1}, [3]int{20, 20, 20}, 0.8 // coarse: quickly drawn
	jaw, err := phantom.New(o)
	if err != nil {
		panic(err)
	}
	scan, err := jaw.Volume(context.Background(), nil)
	if err != nil {
		panic(err)
	}
	truth, err := jaw.Truth()
	if err != nil {
		panic(err)
	}
	ridge := truth.Sites[0].Ridge
	fmt.Printf("scan of %v voxels\n", scan.Size)
	fmt.Printf("width %.2f mm at 3 mm, %s at %.2f mm, tilt %.1f°\n",
		ridge.Widths[2].Width, ridge.Heights[0].To, ridge.Heights[0].Height, ridge.Tilt)
	// Output:
	// scan of [20 20 20] voxels
	// width 7.70 mm at 3 mm, canal at 15.06 mm, tilt 12.6°
}
