package safety_test

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/safety"
	"ridgerule/measure/uncertainty"
)

// An implant of 4 × 10 mm over a canal whose roof lies 12.6 mm below the platform.
func ExampleCheck() {
	implant := safety.Implant{Axis: r3.Vec{Z: -1}, Diameter: 4, Length: 10}
	canal := safety.Structure{Name: "left canal", Kind: safety.Canal, SD: 0.2,
		Path: []r3.Vec{{Y: -20, Z: -14.1}, {Y: 20, Z: -14.1}}, Radii: []float64{1.5, 1.5}}

	findings, err := safety.Check(implant, []safety.Structure{canal}, safety.Margins(),
		safety.Options{Terms: []uncertainty.Term{{Name: "edge", Std: 0.1}}, ScaleHalf: 0.005})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, f := range findings {
		fmt.Printf("%s: %.2f ± %.2f mm, margin %.1f mm: %s\n", f.To, f.Distance.Value, f.Distance.U(), f.Margin, f.Verdict)
	}
	place := safety.Place{Tooth: "46", At: r3.Vec{X: -48}, Tangent: r3.Vec{Y: 1}, Occlusal: r3.Vec{Z: 1}}
	for _, f := range safety.Missing(place, []safety.Structure{canal}, safety.Margins()) {
		fmt.Printf("%s: %s: %s\n", f.To, f.Verdict, f.Reason)
	}
	// Output:
	// left canal: 2.60 ± 0.45 mm, margin 2.0 mm: held
	// canal: not assessed: canal not marked on this side: "left canal" lies 48 mm away
}
