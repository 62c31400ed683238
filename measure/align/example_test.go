package align_test

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure/align"
)

// Four landmarks marked in two scans: where a planned apex lies in the second, and how well that is known there. The fit's
// residual is a fact about the landmarks; the uncertainty is one at the apex.
func ExampleFitLandmarks() {
	pairs, err := align.ReadLandmarks(strings.NewReader(`name,x1,y1,z1,x2,y2,z2
left condyle,48,40,30,58.1,40,25
right condyle,-48,40,30,-38,40.1,25
chin,0,-45,-20,10,-45,-24.9
nasal spine,0,-50,25,9.9,-50,20
`))
	if err != nil {
		fmt.Println(err)
		return
	}
	fit, err := align.FitLandmarks(pairs)
	if err != nil {
		fmt.Println(err)
		return
	}
	apex := fit.Apply(r3.Vec{X: 22, Y: -20, Z: -10})
	term, known := fit.Term(apex, r3.Vec{Z: 1})
	fmt.Printf("apex at (%.1f, %.1f, %.1f) mm in the second scan\n", apex.X, apex.Y, apex.Z)
	fmt.Printf("residual %.2f mm; a length along z there carries u = %.2f mm (known: %t)\n", fit.RMS, term.Contribution(), known)
	// Output:
	// apex at (32.0, -20.0, -15.0) mm in the second scan
	// residual 0.06 mm; a length along z there carries u = 0.03 mm (known: true)
}
