package propose_test

import (
	"context"
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/propose"
)

// A scan that shows nothing: no proposal is made of it, and the reason says how to go on.
func ExampleLook() {
	const voxel = 0.5
	v, err := volume.New(volume.Grid{Size: [3]int{80, 80, 60}, Step: [3]r3.Vec{{X: voxel}, {Y: voxel}, {Z: voxel}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	p, err := propose.Look(context.Background(), v, propose.Options{})
	var refused *propose.Refusal
	switch {
	case errors.As(err, &refused):
		fmt.Printf("which jaw is open: %t\n%s; %s\n", errors.Is(err, propose.ErrJaw), refused.Why, refused.Remedy)
	case err != nil:
		fmt.Println(err)
	default:
		fmt.Println(p.Jaw, len(p.Sites), "sites; not proposed:", p.None)
	}
	// Output:
	// which jaw is open: false
	// the field shows one grey value; look at the series
}
