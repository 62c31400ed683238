package trace

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// box is an isotropic lattice around two marks. Its first axis runs from one mark to the other
// and its middle is half-way between them, so that exchanging the marks turns the box by half
// a turn and changes nothing else; and no grid direction of the volume enters, so that the same
// picture on another grid gives the same lattice.
type box struct {
	origin r3.Vec    // patient position of node (0, 0, 0), mm
	axis   [3]r3.Vec // unit vectors
	step   float64   // mm
	n      [3]int    // nodes
	grey   []float32 // n[0]·n[1]·n[2] grey values, first axis fastest; outside the field: filled, see open
	open   []bool    // nodes that have a grey value
}

const (
	boxStep  = 0.3     // mm; below the finest tube scale, see scales
	maxNodes = 8 << 20 // bounds memory: about 50 bytes a node, so 400 MB
	minReach = 10.0    // mm; the mandibular canal bows up to about a quarter of its length
)

func newBox(ctx context.Context, v *volume.Volume, a, b r3.Vec, reach float64) (*box, error) {
	d := r3.Sub(b, a)
	length := r3.Norm(d)
	if reach == 0 {
		reach = max(minReach, length/4)
	}
	x := &box{step: boxStep}
	x.axis[0] = r3.Scale(1/length, d)
	x.axis[1], x.axis[2] = across(x.axis[0])
	size := func() int { return x.n[0] * x.n[1] * x.n[2] }
	for x.resize(length, reach); size() > maxNodes; x.resize(length, reach) {
		x.step *= 1.1
	}
	mid := r3.Scale(0.5, r3.Add(a, b))
	x.origin = mid
	for i, n := range x.n {
		x.origin = r3.Sub(x.origin, r3.Scale(x.step*float64(n-1)/2, x.axis[i]))
	}
	x.grey, x.open = make([]float32, size()), make([]bool, size())
	if err := x.sample(ctx, v); err != nil {
		return nil, err
	}
	x.fill()
	return x, nil
}

func (x *box) resize(length, reach float64) {
	x.n[0] = int(math.Ceil((length+2*min(reach, minReach))/x.step)) + 1
	x.n[1] = int(math.Ceil(2*reach/x.step)) + 1
	x.n[2] = x.n[1]
}

// across returns two unit vectors perpendicular to unit vector t and to each other.
func across(t r3.Vec) (r3.Vec, r3.Vec) {
	e := r3.Vec{Z: 1}
	if math.Abs(t.Z) > 0.9 {
		e = r3.Vec{X: 1}
	}
	u := r3.Unit(r3.Cross(e, t))
	return u, r3.Cross(t, u)
}

func (x *box) at(a, b, c int) int { return (c*x.n[1]+b)*x.n[0] + a }

// patient returns the patient position of a continuous node position, mm.
func (x *box) patient(node [3]float64) r3.Vec {
	p := x.origin
	for i, q := range node {
		p = r3.Add(p, r3.Scale(x.step*q, x.axis[i]))
	}
	return p
}

// node returns the continuous node position of patient point p.
func (x *box) node(p r3.Vec) [3]float64 {
	d := r3.Sub(p, x.origin)
	var q [3]float64
	for i := range q {
		q[i] = r3.Dot(d, x.axis[i]) / x.step
	}
	return q
}

// sample fills the lattice with the mean grey value of each node's own cube, so that fine
// voxels lend all their photons.
func (x *box) sample(ctx context.Context, v *volume.Volume) error {
	sub := min(3, max(1, int(math.Round(x.step/pitch(v.Grid)))))
	var fine []float32
	layer := make([]float32, x.n[0]*x.n[1])
	for c := range x.n[2] {
		if err := ctx.Err(); err != nil {
			return err
		}
		clear(layer)
		for k := range sub {
			fine = v.Sample(fine, x.plane(float64(c)+offset(k, sub), sub))
			x.gather(layer, fine, sub)
		}
		x.settle(c, layer, float32(sub*sub*sub))
	}
	return nil
}

// offset returns where the i-th of n parts of a unit cell lies from its middle; without unit.
func offset(i, n int) float64 { return (float64(i)+0.5)/float64(n) - 0.5 }

// plane is the raster, sub times finer than the lattice, of lattice layer c.
func (x *box) plane(c float64, sub int) volume.Plane {
	o := offset(0, sub)
	return volume.Plane{
		Origin: x.patient([3]float64{o, o, c}),
		StepX:  r3.Scale(x.step/float64(sub), x.axis[0]),
		StepY:  r3.Scale(x.step/float64(sub), x.axis[1]),
		Width:  x.n[0] * sub, Height: x.n[1] * sub,
	}
}

// gather adds a fine raster's pixels to the nodes they belong to.
func (x *box) gather(layer, fine []float32, sub int) {
	width := x.n[0] * sub
	for row := range x.n[1] * sub {
		to := layer[row/sub*x.n[0]:]
		from := fine[row*width : (row+1)*width]
		for a := range x.n[0] {
			for _, g := range from[a*sub : (a+1)*sub] {
				to[a] += g
			}
		}
	}
}

// settle writes layer c from sums over count points; a sum that is NaN closes its node.
func (x *box) settle(c int, layer []float32, count float32) {
	start := x.at(0, 0, c)
	for i, sum := range layer {
		if sum == sum {
			x.grey[start+i], x.open[start+i] = sum/count, true
		}
	}
}

// pitch returns the edge of a cube as large as a voxel, mm.
func pitch(g volume.Grid) float64 {
	return math.Cbrt(math.Abs(r3.Dot(g.Step[0], r3.Cross(g.Step[1], g.Step[2]))))
}

// fill gives closed nodes the value of the nearest open node in their row, else their column,
// else their stack. Only the smoothing of open nodes near the edge reads them: the front never
// enters a closed node.
func (x *box) fill() {
	known := append([]bool(nil), x.open...)
	stride := [3]int{1, x.n[0], x.n[0] * x.n[1]}
	for axis := range 3 {
		lines(x.n, axis, func(start int) { fillLine(x.grey, known, start, stride[axis], x.n[axis]) })
	}
}

func fillLine(grey []float32, known []bool, start, stride, n int) {
	spread := func(from, to, step int) {
		for i := from; i != to; i += step {
			at, before := start+i*stride, start+(i-step)*stride
			if !known[at] && known[before] {
				grey[at], known[at] = grey[before], true
			}
		}
	}
	spread(1, n, 1)
	spread(n-2, -1, -1)
}

// lines calls f with the first node of every lattice line along axis.
func lines(n [3]int, axis int, f func(start int)) {
	stride := [3]int{1, n[0], n[0] * n[1]}
	u, w := (axis+1)%3, (axis+2)%3
	for i := range n[u] {
		for j := range n[w] {
			f(i*stride[u] + j*stride[w])
		}
	}
}
