package measure

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/plan"
	"ridgerule/measure/reformat"
	"ridgerule/measure/ridge"
	"ridgerule/measure/safety"
)

// A straight upper ridge along y, 13 mm wide, its crest at z = 0 and its bone above; over it air beyond a plane
// that rises by slope along y and by across along x, 12 mm over the crest at the site. Plates and floor are of 1.5 mm.
// Blurred by 0.25 mm, noise 30, 0.4 mm voxels.
type tiltedFloor struct{ slope, across float64 }

// gap returns how far a point lies below the floor, mm.
func (f tiltedFloor) gap(p r3.Vec) float64 {
	return (12 + f.slope*p.Y + f.across*p.X - p.Z) / math.Sqrt(1+f.slope*f.slope+f.across*f.across)
}

// toImplant returns the least distance of a straight cylinder from the floor, mm: of its apical rim.
func (f tiltedFloor) toImplant(im safety.Implant) float64 {
	least := math.Inf(1)
	u := r3.Unit(r3.Cross(im.Axis, r3.Vec{X: 1, Y: 0.3}))
	w := r3.Cross(im.Axis, u)
	for i := range 3600 {
		sin, cos := math.Sincos(float64(i) * math.Pi / 1800)
		rim := r3.Add(im.Apex(), r3.Scale(im.Diameter/2, r3.Add(r3.Scale(cos, u), r3.Scale(sin, w))))
		least = math.Min(least, f.gap(rim))
	}
	return least
}

func (f tiltedFloor) volume(t testing.TB) *volume.Volume {
	g := volume.Grid{Size: [3]int{70, 80, 70}, Origin: r3.Vec{X: -13.8, Y: -16, Z: -4},
		Step: [3]r3.Vec{{X: 0.4}, {Y: 0.4}, {Z: 0.4}}}
	v, err := volume.New(g)
	require.NoError(t, err)
	r := rand.New(rand.NewPCG(3, 4))
	const half = 6.5
	edge := func(d float64) float64 { return 0.5 * math.Erfc(d/0.25/math.Sqrt2) }
	for n := range v.Stored {
		p := g.Patient(volume.Index{I: float64(n % 70), J: float64(n / 70 % 80), K: float64(n / 5600)})
		outer, over := math.Hypot(p.X, math.Min(0, p.Z-half))-half, -f.gap(p)
		d, around := outer, 60.0
		if over > outer {
			d, around = over, -1000
		}
		grey := around + (1600-around)*edge(d) - 1150*edge(d+1.5)
		v.Stored[n] = int16(math.Round(grey + 30*r.NormFloat64()))
	}
	return v
}

const tiltedPlan = `format: 1
case: tilted
jaw: maxilla
arch: {points: [[0, -15, 2], [0, -5, 2], [0, 5, 2], [0, 15, 2]]}
sites:
  - tooth: "26"
    at: [0, 0, 2]
    axis: occlusal
    depths_mm: [3]
    implant: {platform: [0, 0, 2], axis: AXIS, diameter_mm: 4, length_mm: 7}
    sizes: {diameters_mm: [3.5, 4.5], lengths_mm: [6, 8, 10]}
scan: {scale_half_width: 0}
`

// The distance from a cavity seen in the image is that of the whole implant: under a floor that slopes along the
// arch the section through the axis shows none of it. What the sizes are said to hold, they hold.
func TestImplantUnderATiltedFloor(t *testing.T) {
	for name, c := range map[string]struct {
		floor tiltedFloor
		axis  string
	}{
		"level":                          {tiltedFloor{0, 0}, "[0, 0, 1]"},
		"steep along the arch":           {tiltedFloor{0.7, 0}, "[0, 0, 1]"},
		"steep along, leaning away":      {tiltedFloor{0.7, 0}, "[0, 0.36, 1]"},
		"steep across":                   {tiltedFloor{0, 0.6}, "[0, 0, 1]"},
		"steep both ways, leaning to it": {tiltedFloor{-0.5, 0.4}, "[0, 0.2, 1]"},
	} {
		t.Run(name, func(t *testing.T) {
			p, _, err := plan.Read("plan.yaml", []byte(strings.Replace(tiltedPlan, "AXIS", c.axis, 1)), nil)
			require.NoError(t, err)
			r, err := RunPlan(context.Background(), c.floor.volume(t), p, Scan{}, Options{})
			require.NoError(t, err)
			s := r.Sites[0]
			require.NotNil(t, s.Implant, s.Err)
			found := false
			for _, f := range s.Findings {
				if f.To != "sinus seen in the image" {
					continue
				}
				found = true
				want := c.floor.toImplant(*s.Implant)
				assert.InDelta(t, want, f.Distance.Value, math.Max(0.05, f.Distance.U()), "%v", f.Reason)
				assert.InDelta(t, want, f.Distance.Value, 0.15)
			}
			assert.True(t, found, "%v", s.Note)
			held := 0
			for _, size := range s.SizesTried {
				if size.Verdict == safety.Held {
					held++
					assert.GreaterOrEqual(t, c.floor.toImplant(size.Implant), 1.0, "%g × %g", size.Diameter, size.Length)
				}
			}
			t.Logf("%d sizes held", held)
		})
	}
}

// Where a line shows no floor it lies as near as the nearest of its neighbours', if three know theirs; where fewer
// do and air is seen, or the field ends, no implant that comes near is judged.
func TestFloorThatIsNotShown(t *testing.T) {
	nan := math.NaN()
	for name, c := range map[string]struct {
		depths [3][3]float64 // mm, along the arch and across it; the middle one is asked
		open   bool
		want   float64
		untold bool
	}{
		"three neighbours know":            {[3][3]float64{{9, nan, nan}, {8, nan, nan}, {10, nan, nan}}, true, 8, false},
		"two know":                         {[3][3]float64{{9, nan, nan}, {8, nan, nan}, {nan, nan, nan}}, true, 8, true},
		"two know, and it is no cavity":    {[3][3]float64{{9, nan, nan}, {8, nan, nan}, {nan, nan, nan}}, false, 8, false},
		"its own is deeper than all about": {[3][3]float64{{9, 9, 9}, {9, 12, 9}, {9, 9, 9}}, false, 12, false},
	} {
		t.Run(name, func(t *testing.T) {
			grid := make([][]floorNode, 3)
			for k := range grid {
				for j := range 3 {
					n := floorNode{depth: c.depths[k][j], frame: reformat.Frame{}, line: ridge.Axis{Dir: reformat.UV{V: -1}}}
					n.open = c.open && k == 1 && j == 1
					grid[k] = append(grid[k], n)
				}
			}
			untold := settle(grid)
			assert.Equal(t, c.want, grid[1][1].depth)
			assert.Equal(t, c.untold, len(untold) > 0)
		})
	}
}

// An upper molar's root may stand in the sinus between two outlined sections, where the image shows it; where it shows air, none can lie there, nor
// where its marking begins in no bone.
func TestRootInTheSinus(t *testing.T) {
	for name, c := range map[string]struct {
		drawn, marked [2]float64 // height over the crest, mm
		said          string
	}{
		"shown through the floor":    {[2]float64{2, 19}, [2]float64{3, 18}, ""},
		"in air":                     {[2]float64{2, 8}, [2]float64{3, 18}, "structure_place"},
		"its mark begins in no bone": {[2]float64{2, 19}, [2]float64{15, 19}, "structure_place"},
	} {
		t.Run(name, func(t *testing.T) {
			v := tiltedFloor{}.volume(t)
			for n := range v.Stored {
				p := v.Patient(volume.Index{I: float64(n % 70), J: float64(n / 70 % 80), K: float64(n / 5600)})
				if p.Z > c.drawn[0] && p.Z < c.drawn[1] && math.Hypot(p.X, p.Y-8) < 0.8 {
					v.Stored[n] = 2000
				}
			}
			root := fmt.Sprintf("structures:\n  - {name: root 27, kind: root, path: [[0, 8, %g], [0, 8, %g]], radius_mm: 0.8}\nscan:", c.marked[0], c.marked[1])
			p, _, err := plan.Read("plan.yaml", []byte(strings.NewReplacer("AXIS", "[0, 0, 1]", "scan:", root).Replace(tiltedPlan)), nil)
			require.NoError(t, err)
			r, err := RunPlan(context.Background(), v, p, Scan{}, Options{})
			require.NoError(t, err)
			said := ""
			for _, c := range r.Cautions {
				if strings.HasPrefix(c.Text, "root 27") {
					said = c.Code
				}
			}
			assert.Equal(t, c.said, said, "%v", r.Cautions)
		})
	}
}
