package measure_test

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	"ridgerule/measure"
	"ridgerule/measure/phantom"
	"ridgerule/measure/plan"
)

// scanned is a kind of scan: voxel and blur in mm, noise in grey values.
type scanned struct{ voxel, blur, noise float64 }

// heightIn measures the ridge height of one tooth of the jaw, marked structures left out, the section
// placed without scatter; with it goes the truth along the ridge's axis.
func heightIn(t *testing.T, o phantom.Options, s scanned, tooth int, edge float64) (measure.Row, phantom.AxisTruth) {
	t.Helper()
	o.Teeth = []int{}
	o.Scan = phantom.Scan{Voxel: [3]float64{s.voxel, s.voxel, s.voxel}, Blur: s.blur, Noise: s.noise}
	small, err := o.Small(tooth, edge)
	require.NoError(t, err)
	jaw, err := phantom.New(small)
	require.NoError(t, err)
	v, err := jaw.Volume(context.Background(), nil)
	require.NoError(t, err)
	truth, err := jaw.Truth()
	require.NoError(t, err)
	drawn := jaw.Plan()
	drawn.Structures = nil
	var text bytes.Buffer
	require.NoError(t, drawn.Write(&text))
	p, _, err := plan.Read("plan.yaml", text.Bytes(), nil)
	require.NoError(t, err)
	if o.Jaw == phantom.Mandible {
		p.Sites[0].HeightTo = measure.ToBorder
	}
	still := 0.0
	r, err := measure.RunPlan(context.Background(), v, p, measure.Scan{}, measure.Options{PlacedBy: &still})
	require.NoError(t, err)
	row, ok := r.Sites[0].Lookup("ridge_height", math.NaN())
	require.True(t, ok)
	return row, truth.Sites[0].Ridge
}

// floorCase is a sinus floor of some mm of cortex under some mm of lining, with or without a septum of
// 4 mm.
type floorCase struct {
	scanned
	floor, mucosa float64
	septum        string
}

// edge is that of the imaged cube, mm: as much as shows air behind the lining.
func (c floorCase) edge() float64 { return 17 + c.mucosa/2 }

// septa are the places of the septum: its middle over the tooth, or 2.2 mm behind it.
var septa = map[string]float64{"under the axis": 0, "beside the axis": 2.2}

// floorCases are a few floors, or with RIDGERULE_LONG all of two thicknesses, five linings, three
// septa and four scans.
func floorCases() (all []floorCase) {
	long := os.Getenv("RIDGERULE_LONG") != ""
	for _, s := range []scanned{{0.4, 0.2, 50}, {0.4, 0.3, 100}, {0.2, 0.2, 50}, {0.2, 0.3, 100}} {
		for _, floor := range []float64{0.5, 0.8} {
			for _, mucosa := range []float64{0, 0.5, 1, 2, 5} {
				for _, septum := range []string{"none", "beside the axis", "under the axis"} {
					c := floorCase{s, floor, mucosa, septum}
					few := floor == 0.5 && s == scanned{0.4, 0.2, 50} && mucosa == 1 && septum != "none"
					if long || few {
						all = append(all, c)
					}
				}
			}
		}
	}
	return all
}

// The floor of the sinus is where bone ends, whatever lies on it: within the height's own U, and
// within 0.1 mm in voxels of 0.2 mm where the lining is thick enough to be seen. Under a septum bone
// ends at the septum's free edge, narrower than what is fitted to it: there U alone holds. A lining of
// 5 mm fills this sinus so far that no air is met within 10 mm of the floor: then there is no number,
// and the row says so.
func TestSinusFloorIsWhereBoneEnds(t *testing.T) {
	for _, c := range floorCases() {
		t.Run(fmt.Sprintf("%g mm voxels, blur %g, noise %g, floor %g, lining %g, septum %s", c.voxel, c.blur, c.noise, c.floor, c.mucosa, c.septum), func(t *testing.T) {
			o := phantom.Options{Jaw: phantom.Maxilla, Seed: 3, Shape: phantom.Shape{Tilt: -6, Convexity: 1, SinusDepth: 8, SinusFloor: c.floor, SinusMucosa: c.mucosa}}
			if shift, ok := septa[c.septum]; ok {
				o.Shape.Septum, o.Shape.SeptumShift = 4, shift
			}
			row, truth := heightIn(t, o, c.scanned, 26, c.edge())
			if row.Value == nil && c.mucosa == 5 {
				require.NotEmpty(t, row.Note)
				t.Logf("no number: %s", row.Note)
				return
			}
			heldTo(t, row, truth.Heights[0], c)
		})
	}
}

// heldTo holds a height against its truth.
func heldTo(t *testing.T, row measure.Row, want phantom.HeightTrue, c floorCase) {
	t.Helper()
	require.NotNil(t, row.Value, row.Note)
	off, u := *row.Value-want.Height, row.Budget.U()
	t.Logf("%.3f mm to the %s, true %.3f, error %+.3f, U %.3f", *row.Value, row.To, want.Height, off, u)
	limit := u
	if c.voxel < 0.3 && c.septum != "under the axis" && (c.mucosa != 0.5 || c.blur < 0.3) {
		limit = min(limit, 0.1)
	}
	if row.To != want.To || !(math.Abs(off) <= limit) {
		t.Errorf("%.3f ± %.3f mm to the %s, true %.3f to the %s", *row.Value, u, row.To, want.Height, want.To)
	}
}

// The border of the mandible under its thick cortex.
func TestBorderIsFoundUnderThickCortex(t *testing.T) {
	scans, cortex := []scanned{{0.4, 0.3, 50}}, []float64{3.5}
	if os.Getenv("RIDGERULE_LONG") != "" {
		scans, cortex = []scanned{{0.4, 0.2, 50}, {0.4, 0.3, 100}, {0.2, 0.2, 50}, {0.2, 0.3, 100}}, []float64{2, 2.5, 3, 3.5}
	}
	for _, s := range scans {
		for _, border := range cortex {
			t.Run(fmt.Sprintf("%g mm voxels, blur %g, noise %g, cortex %g", s.voxel, s.blur, s.noise, border), func(t *testing.T) {
				o := phantom.Options{Seed: 3, Shape: phantom.Shape{Tilt: 5, Convexity: 1.5, Height: 24, Border: border, Variation: 0.3}}
				row, truth := heightIn(t, o, s, 46, 31)
				heldTo(t, row, truth.Heights[len(truth.Heights)-1], floorCase{scanned: s})
			})
		}
	}
}
