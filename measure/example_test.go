package measure_test

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// A plan without an implant on a bar of bone 8 mm wide: what is asked of its one site, and what is not known.
func ExampleRun() {
	text := `
format: 1
case: bar
jaw: mandible
arch: {points: [[0, -15, -3], [0, -5, -3], [0, 5, -3], [0, 15, -3]]}
sites: [{tooth: "36", at: [0, 0, -3], depths_mm: [4]}]
`
	p, source, err := plan.Read("plan.yaml", []byte(text), nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	v := barOfBone()
	placed, err := p.Place(v.Grid, source)
	if err != nil {
		fmt.Println(err)
		return
	}
	r, err := measure.Run(context.Background(), v, placed, measure.Scan{}, measure.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	site := r.Sites[0]
	width, _ := site.Lookup(quantity.RidgeWidth, 4)
	height, _ := site.Lookup(quantity.RidgeHeight, math.NaN())
	fmt.Printf("width at 4 mm: %.1f mm\nheight: %.0f mm to the %s; %s\n", *width.Value, *height.Value, height.To, site.HeightOpen)
	// Output:
	// width at 4 mm: 8.0 mm
	// height: 22 mm to the border; canal not marked
}

// barOfBone is 8 mm of cortex around marrow, 22 mm high, in soft tissue, without noise.
func barOfBone() *volume.Volume {
	const voxel = 0.4
	v, err := volume.New(volume.Grid{Size: [3]int{80, 100, 80}, Origin: r3.Vec{X: -16, Y: -20, Z: -27}, Step: [3]r3.Vec{{X: voxel}, {Y: voxel}, {Z: voxel}}})
	if err != nil {
		panic(err)
	}
	for i := range v.Stored {
		p := v.Patient(volume.Index{I: float64(i % 80), J: float64(i / 80 % 100), K: float64(i / 8000)})
		deep := min(4-math.Abs(p.X), 11-math.Abs(p.Z+11)) // below the nearer face, mm
		bone, marrow := edge(deep), edge(deep-2)
		v.Stored[i] = int16(40 + 1500*bone - 1200*marrow)
	}
	return v
}

// edge is a step seen through a blur of 0.3 mm.
func edge(depth float64) float64 { return 0.5 * math.Erfc(-depth/(0.3*math.Sqrt2)) }
