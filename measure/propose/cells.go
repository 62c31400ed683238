package propose

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// The scan reduced to cells of 1 mm or so, along the patient's own axes, with three grey levels that come
// from its own histogram: grey values of a cone beam are no fixed scale.

// cells is the reduced scan. Cell (i, j, k) is centred on origin + step·(i, j, k): + left, + back, + up.
type cells struct {
	origin r3.Vec
	step   float64 // mm
	n      [3]int
	grey   []float32 // n[0]·n[1]·n[2], left fastest; NaN outside the field
	bone   []float32 // share of bone, holes filled, mean over slab in height; NaN outside the field
	air    float64   // grey value below which is air; −Inf: the field shows none
	level  float64   // grey value above which is bone
	dense  float64   // grey value above which is compact bone, or denser
}

const (
	mostCells = 6e6  // of the reduced scan: larger fields get larger cells
	cellStep  = 1.0  // mm
	slab      = 2.0  // mm above and below over which bone is averaged
	mostBone  = 0.35 // share of a field that bone may take, air left out. Our choice.
)

// reduce returns v in cells. Its error is ctx's or a [*Refusal] where the field shows no bone.
func reduce(ctx context.Context, v *volume.Volume) (*cells, error) {
	b := v.Bounds()
	size := r3.Sub(b.Max, b.Min)
	c := &cells{step: math.Max(cellStep, math.Cbrt(size.X*size.Y*size.Z/mostCells))}
	for i, s := range [3]float64{size.X, size.Y, size.Z} {
		c.n[i] = int(s/c.step) + 1
	}
	c.origin = b.Min
	c.grey = make([]float32, c.n[0]*c.n[1]*c.n[2])
	var fine []float32
	for k := range c.n[2] {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		fine = c.layer(v, k, fine)
	}
	if err := c.levels(); err != nil {
		return nil, err
	}
	c.mark()
	return c, nil
}

// layer fills layer k with the mean of eight samples a cell; fine is scratch.
func (c *cells) layer(v *volume.Volume, k int, fine []float32) []float32 {
	w, h := c.n[0], c.n[1]
	out := c.grey[k*w*h : (k+1)*w*h]
	for _, dz := range [2]float64{-0.25, 0.25} {
		at := r3.Add(c.origin, r3.Scale(c.step, r3.Vec{X: -0.25, Y: -0.25, Z: float64(k) + dz}))
		fine = v.Sample(fine, volume.Plane{Origin: at, StepX: r3.Vec{X: c.step / 2}, StepY: r3.Vec{Y: c.step / 2}, Width: 2 * w, Height: 2 * h})
		for y := range 2 * h {
			for x := range 2 * w {
				out[y/2*w+x/2] += fine[y*2*w+x] / 8
			}
		}
	}
	return fine
}

// levels finds the three grey levels.
func (c *cells) levels() error {
	var known []float32
	for _, g := range c.grey {
		if !math.IsNaN(float64(g)) {
			known = append(known, g)
		}
	}
	if len(known) < 8000 {
		return &Refusal{ErrArch, "the field is smaller than 8 cm³", "take a larger field"}
	}
	slices.Sort(known)
	low, high := float64(known[len(known)/1000]), float64(known[len(known)*997/1000])
	if high-low < 1 {
		return &Refusal{ErrArch, "the field shows one grey value", "look at the series"}
	}
	t1, t2, soft := threeClasses(known, low, high)
	over := func(t float64) float64 {
		i, _ := slices.BinarySearch(known, float32(t))
		return float64(len(known)-i) / float64(len(known))
	}
	c.air, c.level = t1, t2
	if over(t1) <= mostBone && c.thick(t1) <= mostThick { // no air in the field: the lower class is soft tissue
		c.air, c.level = math.Inf(-1), t1
		i, _ := slices.BinarySearch(known, float32(t1))
		soft = float64(known[i/2])
	}
	if over(c.level) > mostBone {
		return &Refusal{ErrArch, fmt.Sprintf("%.0f %% of the field is as dense as bone", 100*over(c.level)), "mark the arch by hand"}
	}
	c.dense = soft + denseStep*(c.level-soft)
	return nil
}

// How thick bone is nowhere, or nearly so: a body is. Our choice.
const (
	thickness = 8.0 // mm to all six sides
	mostThick = 0.2 // share of what is brighter than a level
)

// thick returns the share of the cells brighter than t that have such cells at thickness on all six sides.
func (c *cells) thick(t float64) float64 {
	r := max(1, int(thickness/c.step))
	over := func(i, j, k int) bool { return float64(c.grey[(k*c.n[1]+j)*c.n[0]+i]) > t }
	all, deep := 0.0, 0.0
	for k := r; k < c.n[2]-r; k += 2 {
		for j := r; j < c.n[1]-r; j += 2 {
			for i := r; i < c.n[0]-r; i += 2 {
				if !over(i, j, k) {
					continue
				}
				all++
				if over(i-r, j, k) && over(i+r, j, k) && over(i, j-r, k) && over(i, j+r, k) && over(i, j, k-r) && over(i, j, k+r) {
					deep++
				}
			}
		}
	}
	return deep / math.Max(1, all)
}

// denseStep is where compact bone begins, in steps from soft tissue to the level of bone, which is half-way
// to it or less.
const denseStep = 1.5

// threeClasses returns the two thresholds that part grey values into three classes with the least spread
// within them, and the mean of the middle class.
//
// Source: Otsu N. IEEE Trans Syst Man Cybern 1979;9:62–66. doi:10.1109/TSMC.1979.4310076
func threeClasses(known []float32, low, high float64) (t1, t2, middle float64) {
	const bins = 256
	var weight, sum [bins + 1]float64 // up to a bin
	var count [bins]float64
	for _, g := range known {
		b := int((float64(g) - low) / (high - low) * bins)
		count[max(0, min(bins-1, b))]++
	}
	for i, n := range count {
		weight[i+1], sum[i+1] = weight[i]+n, sum[i]+n*(float64(i)+0.5)
	}
	between := func(a, b int) float64 {
		w, s := weight[b]-weight[a], sum[b]-sum[a]
		if w == 0 {
			return 0
		}
		return s * s / w
	}
	best, x, y := -1.0, 0, 0
	for i := 1; i < bins-1; i++ {
		for j := i + 1; j < bins; j++ {
			if b := between(0, i) + between(i, j) + between(j, bins); b > best {
				best, x, y = b, i, j
			}
		}
	}
	grey := func(bin float64) float64 { return low + bin/bins*(high-low) }
	middle = grey((sum[y] - sum[x]) / math.Max(1, weight[y]-weight[x]))
	return grey(float64(x)), grey(float64(y)), middle
}

// mark fills bone: over the level, or enclosed by such in its layer without being air, averaged in height.
func (c *cells) mark() {
	w, h := c.n[0], c.n[1]
	flat := make([]float32, len(c.grey))
	for k := range c.n[2] {
		c.fill(c.grey[k*w*h:(k+1)*w*h], flat[k*w*h:(k+1)*w*h])
	}
	c.bone = make([]float32, len(c.grey))
	r := int(math.Round(slab / c.step))
	for k := range c.n[2] {
		for q := range w * h {
			sum, n := float32(0), float32(0)
			for d := max(0, k-r); d <= min(c.n[2]-1, k+r); d++ {
				if m := flat[d*w*h+q]; m == m {
					sum, n = sum+m, n+1
				}
			}
			c.bone[k*w*h+q] = sum / n
		}
	}
}

// widestHole is the mean width, twice the area over the rim, up to which a space in a layer is marrow and is
// filled, mm: wider than any jaw's marrow, and far narrower than what an arch encloses. Our choice.
const widestHole = 12.0

// fill marks the bone of one layer: 1, 0, or NaN outside the field.
func (c *cells) fill(grey, bone []float32) {
	for i, g := range grey {
		switch {
		case g != g:
			bone[i] = float32(math.NaN())
		case float64(g) > c.level:
			bone[i] = 1
		}
	}
	seen := make([]bool, len(grey))
	var hole []int
	for i := range grey {
		if bone[i] != 0 || seen[i] {
			continue
		}
		var marrow bool
		if hole, marrow = c.hole(i, grey, bone, seen, hole[:0]); !marrow {
			continue
		}
		for _, at := range hole {
			bone[at] = 1
		}
	}
}

// hole returns the space in a layer that holds cell i, and whether it is marrow: enclosed by bone, without air, narrow.
func (c *cells) hole(i int, grey, bone []float32, seen []bool, space []int) (all []int, marrow bool) {
	w := c.n[0]
	space = append(space, i)
	seen[i] = true
	marrow = true
	rim := 0
	for n := 0; n < len(space); n++ {
		at := space[n]
		x, y := at%w, at/w
		if float64(grey[at]) <= c.air || c.onRim(x, y) {
			marrow = false
		}
		for _, next := range [4]int{at - 1, at + 1, at - w, at + w} {
			if next < 0 || next >= len(grey) || next/w != y && next%w != x {
				continue
			}
			switch b := bone[next]; {
			case b != b:
				marrow = false
			case b == 1:
				rim++
			case !seen[next]:
				seen[next] = true
				space = append(space, next)
			}
		}
	}
	return space, marrow && 2*float64(len(space))*c.step <= widestHole*float64(rim)
}

// onRim reports whether a cell of a layer lies at the field's end.
func (c *cells) onRim(x, y int) bool { return x == 0 || x == c.n[0]-1 || y == 0 || y == c.n[1]-1 }

// index returns the number of the cell that holds p; false outside.
func (c *cells) index(p r3.Vec) (int, bool) {
	i := int(math.Round((p.X - c.origin.X) / c.step))
	j := int(math.Round((p.Y - c.origin.Y) / c.step))
	k := int(math.Round((p.Z - c.origin.Z) / c.step))
	if i < 0 || j < 0 || k < 0 || i >= c.n[0] || j >= c.n[1] || k >= c.n[2] {
		return 0, false
	}
	return (k*c.n[1]+j)*c.n[0] + i, true
}

// boneAt returns the share of bone at p, 0 to 1; NaN outside the field.
func (c *cells) boneAt(p r3.Vec) float64 {
	if i, ok := c.index(p); ok {
		return float64(c.bone[i])
	}
	return math.NaN()
}

// greyAt returns the grey value at p, without unit; NaN outside the field.
func (c *cells) greyAt(p r3.Vec) float64 {
	if i, ok := c.index(p); ok {
		return float64(c.grey[i])
	}
	return math.NaN()
}

// extent returns the corners of the field, mm.
func (c *cells) extent() (low, high r3.Vec) {
	return c.origin, r3.Add(c.origin, r3.Scale(c.step, r3.Vec{X: float64(c.n[0] - 1), Y: float64(c.n[1] - 1), Z: float64(c.n[2] - 1)}))
}
