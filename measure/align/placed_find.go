package align

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// A placed implant in a scan: a bright body that blooms, found roughly by its greys here, and then by its voxels
// (placed_model.go). Blooming moves all of its surface outward by about as much: the axis runs through the middle of the sides,
// and the platform lies half the known length above the middle between both ends, whatever the bloom.

// ErrNoImplant is the fault of a scan that shows no such implant where it is looked for.
var ErrNoImplant = errors.New("align: no implant found")

// FoundImplant is an implant as it was found, with how well.
type FoundImplant struct {
	Implant
	Along    float64  // standard uncertainty of the platform along the axis, mm
	Across   float64  // of the axis's middle across it, along either direction, mm
	Lean     float64  // of the axis, about either direction across it, degrees
	Bloom    float64  // by how much its sides look too far out, mm
	Ends     float64  // by how much each of its ends does, mm
	Cautions []string // what is odd about it
}

// across returns the standard uncertainty of the axis across it, so deep below the platform, mm.
func (f FoundImplant) across(depth float64) float64 {
	return math.Hypot(f.Across, (depth-f.Length/2)*f.Lean*math.Pi/180)
}

// What is looked at; our choice. A placed implant is usually within 1 mm and 4° of its plan (docs/alignment.md).
const (
	searchAround = 4.0 // mm beyond the planned body
	metalLeast   = 600 // grey values that metal must be brighter than half of what is about it; less is tooth or bone
)

// FindPlaced looks for an implant of near's length and diameter about where near has it, in v's own frame. It returns an
// error wrapping [ErrNoImplant] where no bright body of about that size is there.
func FindPlaced(v *volume.Volume, near Implant) (FoundImplant, error) {
	if near.Apex == 0 {
		near.Apex = near.Diameter
	}
	f := finder{image: newImage(v), want: near}
	if err := f.roughly(); err != nil {
		return FoundImplant{}, err
	}
	return f.fit(v)
}

func spacingOf(v *volume.Volume) []float64 { s := v.Spacing(); return s[:] }

// finder is an implant on its way to being found.
type finder struct {
	image         *image
	want          Implant
	tissue, metal float64 // grey value about the body, and within it as the scan shows it
	middle        r3.Vec  // of the bright body, mm
	axis          r3.Vec
}

// grey returns the grey value at p, NaN outside the field.
func (f *finder) grey(p r3.Vec) float64 {
	g, _, ok := f.image.at(p)
	if !ok {
		return math.NaN()
	}
	return g
}

// roughly finds the bright body by its greys: its middle and its longest extent.
func (f *finder) roughly() error {
	const step = 0.3 // mm
	spots, greys := f.around(step)
	if len(greys) < 1000 {
		return fmt.Errorf("%w: the place (%.1f, %.1f, %.1f) mm lies outside the field", ErrNoImplant, f.want.Platform.X, f.want.Platform.Y, f.want.Platform.Z)
	}
	sorted := slices.Clone(greys)
	slices.Sort(sorted)
	r := (f.want.Diameter + f.want.Apex) / 4
	want := math.Pi * r * r * f.want.Length                                  // mm³
	half := int(want / (step * step * step) / 2)                             // of the spots that it would take
	tissue, metal := sorted[len(sorted)/2], sorted[max(0, len(sorted)-half)] // the brightest, but for the upper half
	if metal-tissue < metalLeast {
		return fmt.Errorf("%w: nothing within %.0f mm of the planned place is brighter than its surroundings by more than %.0f", ErrNoImplant, searchAround, metal-tissue)
	}
	f.tissue, f.metal = tissue, metal
	var bright []r3.Vec
	for i, g := range greys {
		if g > (tissue+2*metal)/3 {
			bright = append(bright, spots[i])
		}
	}
	bright = connected(bright, f.want.at(f.want.Length/2), step)
	size := float64(len(bright)) * step * step * step
	if size < 0.4*want || size > 4*want {
		return fmt.Errorf("%w: the bright body near its planned place has %.0f mm³, one of %.1f × %.1f mm has %.0f", ErrNoImplant, size, f.want.Diameter, f.want.Length, want)
	}
	f.middle, f.axis = principal(bright)
	if r3.Dot(f.axis, f.want.Axis) < 0 {
		f.axis = r3.Scale(-1, f.axis)
	}
	if angle := math.Acos(min(1, r3.Dot(f.axis, f.want.Axis))) * 180 / math.Pi; angle > 35 {
		return fmt.Errorf("%w: the bright body near its planned place lies %.0f° across the planned axis", ErrNoImplant, angle)
	}
	return nil
}

// around lists points about the planned body, step mm apart, with their greys.
func (f *finder) around(step float64) (spots []r3.Vec, greys []float64) {
	u, w := frameOf(f.want.Axis)
	reach := f.want.Diameter/2 + searchAround
	for z := -searchAround; z <= f.want.Length+searchAround; z += step {
		for x := -reach; x <= reach; x += step {
			for y := -reach; y <= reach; y += step {
				if x*x+y*y > reach*reach {
					continue
				}
				p := r3.Add(f.want.at(z), r3.Add(r3.Scale(x, u), r3.Scale(y, w)))
				if g := f.grey(p); g == g {
					spots, greys = append(spots, p), append(greys, g)
				}
			}
		}
	}
	return spots, greys
}

// connected returns the points that hang together, step apart on their lattice, with the one nearest to p.
func connected(points []r3.Vec, p r3.Vec, step float64) []r3.Vec {
	if len(points) == 0 {
		return nil
	}
	cell := func(q r3.Vec) [3]int {
		return [3]int{int(math.Floor(q.X / step)), int(math.Floor(q.Y / step)), int(math.Floor(q.Z / step))}
	}
	at := map[[3]int][]int{}
	first := 0
	for i, q := range points {
		at[cell(q)] = append(at[cell(q)], i)
		if r3.Norm(r3.Sub(q, p)) < r3.Norm(r3.Sub(points[first], p)) {
			first = i
		}
	}
	taken := make([]bool, len(points))
	taken[first] = true
	list := []int{first}
	for n := 0; n < len(list); n++ {
		c := cell(points[list[n]])
		for d := range 27 {
			for _, i := range at[[3]int{c[0] + d%3 - 1, c[1] + d/3%3 - 1, c[2] + d/9 - 1}] {
				if !taken[i] {
					taken[i] = true
					list = append(list, i)
				}
			}
		}
	}
	out := make([]r3.Vec, len(list))
	for i, n := range list {
		out[i] = points[n]
	}
	return out
}

// principal returns the mean of points, mm, and their longest principal direction, a unit vector.
func principal(points []r3.Vec) (mean, axis r3.Vec) {
	for _, p := range points {
		mean = r3.Add(mean, r3.Scale(1/float64(len(points)), p))
	}
	m := mat.NewDense(len(points), 3, nil)
	for i, p := range points {
		d := r3.Sub(p, mean)
		m.SetRow(i, []float64{d.X, d.Y, d.Z})
	}
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDThin) {
		return mean, r3.Vec{Z: 1}
	}
	var v mat.Dense
	svd.VTo(&v)
	return mean, r3.Vec{X: v.At(0, 0), Y: v.At(1, 0), Z: v.At(2, 0)}
}
