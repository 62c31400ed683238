package change_test

import (
	"context"
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure"
	"ridgerule/measure/align"
	"ridgerule/measure/change"
	"ridgerule/measure/plan"
	"ridgerule/measure/quantity"
)

// A bar of bone that has lost 1.5 mm of its height between two scans of one frame, known to agree to 0.05 mm.
func ExampleCompare() {
	p, source, err := plan.Read("plan.yaml", []byte(`
format: 1
case: bar
jaw: mandible
arch: {points: [[0, -15, -3], [0, -5, -3], [0, 5, -3], [0, 15, -3]]}
sites: [{tooth: "36", at: [0, 0, -3], depths_mm: [4]}]
`), nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	same := align.Identity("first")
	same.To = "second"
	for i := 3; i < 6; i++ { // of the shift's three parts
		same.Spread.Cov[i][i] = 0.05 * 0.05
	}
	accepted, err := align.File{Kind: align.KindScans, First: align.Subject{Series: "a"}, Second: align.Subject{Series: "b"}, Transform: same}.Accept("R1", time.Unix(0, 0))
	if err != nil {
		fmt.Println(err)
		return
	}
	before := change.Scan{Volume: bar(0), Facts: measure.Scan{SeriesHash: "a"}}
	after := change.Scan{Volume: bar(-1.5), Facts: measure.Scan{SeriesHash: "b"}}
	r, err := change.Compare(context.Background(), before, after, p, source, accepted, change.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, row := range r.Sites[0].Rows {
		if row.Quantity == quantity.RidgeHeight || row.Quantity == quantity.RidgeWidth {
			fmt.Printf("%s: %+.1f mm: %s\n", row.Quantity, row.Change.Value, row.Shown)
		}
	}
	// Output:
	// ridge_height: -1.5 mm: change
	// ridge_width: +0.0 mm: no change shown
}

// bar is 8 mm of cortex around marrow, its base at z = -22 mm and its crest at z = top, in soft tissue, without noise.
func bar(top float64) *volume.Volume {
	const voxel = 0.4
	v, err := volume.New(volume.Grid{Size: [3]int{80, 100, 80}, Origin: r3.Vec{X: -16, Y: -20, Z: -27}, Step: [3]r3.Vec{{X: voxel}, {Y: voxel}, {Z: voxel}}})
	if err != nil {
		panic(err)
	}
	for i := range v.Stored {
		q := v.Patient(volume.Index{I: float64(i % 80), J: float64(i / 80 % 100), K: float64(i / 8000)})
		deep := min(4-math.Abs(q.X), top-q.Z, q.Z+22) // below the nearest face, mm
		v.Stored[i] = int16(40 + 1500*edge(deep) - 1200*edge(deep-2))
	}
	return v
}

// edge is a step seen through a blur of 0.3 mm.
func edge(depth float64) float64 { return 0.5 * math.Erfc(-depth/(0.3*math.Sqrt2)) }
