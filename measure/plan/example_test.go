package plan_test

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
)

const text = `format: 1
case: pine-042
jaw: mandible
arch:
  points: [[-25, 20, 0], [-20, 0, 0], [0, -20, 0], [20, 0, 0], [25, 20, 0]]
sites:
  - tooth: "36"        # wide enough?
    at: [22, 8, 1]     # marked on the slab
    depths_mm: [1, 3]
`

// A plan is read, placed on the grid of a scan, and asked where its sites lie along the arch.
func Example() {
	p, source, err := plan.Read("plan.yaml", []byte(text), nil)
	if err != nil {
		fmt.Println(err) // every fault of the plan, one a line
		return
	}
	grid := volume.Grid{Size: [3]int{320, 320, 240}, Origin: r3.Vec{X: -40, Y: -40, Z: -30},
		Step: [3]r3.Vec{{X: 0.25}, {Y: 0.25}, {Z: 0.25}}}
	placed, err := p.Place(grid, source)
	if err != nil {
		fmt.Println(err)
		return
	}
	for i, s := range placed.Sites {
		tooth, _ := plan.ToothOf(s.Tooth)
		fmt.Printf("%s: %.1f mm along an arch of %.1f mm, line %d\n", tooth.Words(plan.Left),
			plan.SiteArc(placed.Curve, s), placed.Curve.Length(), source.Position(fmt.Sprintf("sites[%d]", i)).Line)
	}
	for _, c := range placed.Doubts().Cautions() {
		fmt.Println(c.Line())
	}
	// Output:
	// lower left first molar: 87.3 mm along an arch of 99.7 mm, line 7
}

// A page that makes plans moves a point, adds an implant and takes a key away; comments stay where they are.
func ExampleSet() {
	out, err := plan.Set([]byte(text), "sites[0].at", r3.Vec{X: 21.5, Y: 7.25, Z: 1})
	if err == nil {
		out, err = plan.Set(out, "sites[0].implant", plan.PlannedImplant{Diameter: 4, Length: 10})
	}
	if err == nil {
		out, err = plan.Delete(out, "sites[0].depths_mm")
	}
	if err != nil {
		fmt.Println(err)
		return
	}
	_, sites, _ := strings.Cut(string(out), "sites:\n")
	fmt.Print(sites)
	// Output:
	//   - tooth: "36"        # wide enough?
	//     at: [21.5, 7.25, 1]     # marked on the slab
	//     implant:
	//       diameter_mm: 4
	//       length_mm: 10
}
