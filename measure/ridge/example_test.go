package ridge_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio"
	"ridgerule/measure/phantom"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
)

// From a folder of slices to a width with its uncertainty: read, lay the arch, learn the series, trace, measure.
func Example() {
	folder, plan, err := syntheticFolder()
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	width, u, err := widthIn(filepath.Join(folder, "scan"), plan.Arch, plan.Sites[0].At)
	fmt.Printf("width 3 mm below the crest: %.1f ± %.1f mm, %v\n", width, u, err)
	// Output:
	// width 3 mm below the crest: 7.7 ± 0.1 mm, <nil>
}

// widthIn measures the ridge 3 mm below its crest in the section of a lower jaw through the arch point nearest to at, with its
// expanded uncertainty, mm.
func widthIn(folder string, arch []r3.Vec, at r3.Vec) (width, u float64, err error) {
	ctx := context.Background()
	input, err := dicomio.Open(folder, dicomio.Limits{})
	if err != nil {
		return 0, 0, err
	}
	defer input.Close()
	found, err := dicomio.Scan(ctx, input, dicomio.Limits{})
	if err != nil {
		return 0, 0, err
	}
	series, err := found.Pick("") // the only one
	if err != nil {
		return 0, 0, err
	}
	v, err := series.Read(ctx, nil)
	if err != nil {
		return 0, 0, err
	}
	curve, err := reformat.NewCurve(arch, r3.Vec{Z: 1})
	if err != nil {
		return 0, 0, err
	}
	var stations []ridge.Station
	for s := 2.0; s < curve.Length(); s += 4 {
		stations = append(stations, ridge.NewStation(reformat.NewField(v, curve.Frame(s))))
	}
	arc, _ := curve.Project(at)
	outline, err := ridge.Trace(reformat.NewField(v, curve.Frame(arc)), ridge.EstimateImage(stations))
	if err != nil {
		return 0, 0, err
	}
	bone := outline.Weigh()
	axis, err := bone.FindAxis(nil)
	if err != nil {
		return 0, 0, err
	}
	w, err := bone.Width(axis, 3, ridge.Placement{Position: 0.3}) // the site was drawn by hand, to 0.3 mm
	return w.Value, w.U(), err
}

// syntheticFolder writes 40 mm of a synthetic lower jaw about tooth 36 as a DICOM series.
func syntheticFolder() (folder string, plan phantom.Plan, err error) {
	o, err := phantom.Demo(phantom.Mandible).Small(36, 40)
	if err != nil {
		return "", plan, err
	}
	o.Scan.Voxel, o.Scan.Size = [3]float64{0.4, 0.4, 0.4}, [3]int{100, 100, 100}
	jaw, err := phantom.New(o)
	if err != nil {
		return "", plan, err
	}
	v, err := jaw.Volume(context.Background(), nil)
	if err != nil {
		return "", plan, err
	}
	if folder, err = os.MkdirTemp("", "scan"); err != nil {
		return "", plan, err
	}
	return folder, jaw.Plan(), dicomio.WriteCT(filepath.Join(folder, "scan"), v, dicomio.WriteOptions{})
}
