package dicomio_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/dicomio/volume"
)

// What a folder holds, whether it is fit to measure, and its grey values. Here the folder holds 20 slices of nothing.
func Example() {
	folder, err := os.MkdirTemp("", "scan")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	empty, err := volume.New(volume.Grid{Size: [3]int{32, 32, 20}, Step: [3]r3.Vec{{X: 0.3}, {Y: 0.3}, {Z: 0.3}}})
	if err == nil {
		err = dicomio.WriteCT(filepath.Join(folder, "scan"), empty, dicomio.WriteOptions{})
	}
	if err != nil {
		fmt.Println(err)
		return
	}

	ctx := context.Background()
	input, err := dicomio.Open(folder, dicomio.Limits{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer input.Close()
	found, err := dicomio.Scan(ctx, input, dicomio.Limits{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, s := range found.Series {
		fmt.Printf("series %d: %v, %s\n", s.Number, s.Verdict(), s.Dimensions())
	}
	series, err := found.Pick("1")
	if err != nil {
		fmt.Println(err)
		return
	}
	v, err := series.Read(ctx, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%v voxels of %.1f mm\n", v.Size, v.Spacing())
	// Output:
	// series 1: fit, 32 × 32 × 20 voxels of 0.3 × 0.3 × 0.3 mm
	// [32 32 20] voxels of [0.3 0.3 0.3] mm
}
