package report_test

import (
	"fmt"
	"os"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/measure"
	"ridgerule/measure/quantity"
	"ridgerule/measure/reformat"
	"ridgerule/measure/report"
	"ridgerule/measure/uncertainty"
)

// A result becomes a table, and every file of a case with a PDF.
func Example() {
	depth, width := 3.0, 7.25
	r := &measure.Result{Case: "pine-042", Jaw: measure.Mandible, Occlusal: r3.Vec{Z: 1}, Sites: []measure.SiteResult{{
		ID: "36", Tooth: "36", Frame: reformat.Frame{U: r3.Vec{X: 1}, V: r3.Vec{Z: 1}, T: r3.Vec{Y: 1}},
		Rows: []measure.Row{{
			Quantity: quantity.RidgeWidth, At: &depth, Value: &width, Unit: quantity.RidgeWidth.Unit(),
			Budget: uncertainty.Budget{{Name: "edge noise", Std: 0.1, Sensitivity: 1}},
		}},
	}}}
	if err := report.MeasurementsCSV(os.Stdout, r); err != nil {
		panic(err)
	}
	view, err := report.NewView(report.Case{Result: r})
	if err != nil {
		panic(err)
	}
	files, err := view.Files(report.Extra{PDF: report.A4})
	if err != nil {
		panic(err)
	}
	for _, f := range files {
		fmt.Println(f.Name)
	}
	// Output:
	// case,site,tooth,quantity,at_mm,to,value,unit,u,U,margin,verdict,note
	// pine-042,36,36,ridge_width,3,,7.2500,mm,0.1000,0.2000,,,
	// measurements.csv
	// sites.csv
	// result.json
	// datapackage.json
	// report.html
	// sections/36.png
	// arch.svg
	// report.pdf
}
