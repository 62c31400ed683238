package trace

import (
	"context"
	"fmt"
	"math"

	"golang.org/x/sync/errgroup"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// sampler reads grey values between voxels, linearly in each grid direction.
type sampler struct {
	v      *volume.Volume
	rows   [3]r3.Vec // index = rows·(P − origin), voxels per mm
	pitch  float64   // cube root of a voxel's volume, mm
	stride [3]int
}

func newSampler(v *volume.Volume) (*sampler, error) {
	if v == nil {
		return nil, fmt.Errorf("%w: no volume", volume.ErrGrid)
	}
	if err := v.Check(); err != nil {
		return nil, err
	}
	n := v.Size
	if len(v.Stored) != n[0]*n[1]*n[2] || (len(v.Rescale) != 1 && len(v.Rescale) != n[2]) {
		return nil, fmt.Errorf("%w: %d values and %d rescales for %v voxels", volume.ErrGrid, len(v.Stored), len(v.Rescale), n)
	}
	bc, ca, ab := r3.Cross(v.Step[1], v.Step[2]), r3.Cross(v.Step[2], v.Step[0]), r3.Cross(v.Step[0], v.Step[1])
	det := r3.Dot(v.Step[0], bc)
	return &sampler{
		v:      v,
		rows:   [3]r3.Vec{r3.Scale(1/det, bc), r3.Scale(1/det, ca), r3.Scale(1/det, ab)},
		pitch:  math.Cbrt(math.Abs(det)),
		stride: [3]int{1, n[0], n[0] * n[1]},
	}, nil
}

// at returns the grey value at patient point p (LPS, mm), or NaN outside the field and beside
// a blank voxel. Grey values have no unit.
func (s *sampler) at(p r3.Vec) float64 {
	d := r3.Sub(p, s.v.Origin)
	i, fi, ok1 := cell(r3.Dot(s.rows[0], d), s.v.Size[0])
	j, fj, ok2 := cell(r3.Dot(s.rows[1], d), s.v.Size[1])
	k, fk, ok3 := cell(r3.Dot(s.rows[2], d), s.v.Size[2])
	if !ok1 || !ok2 || !ok3 {
		return math.NaN()
	}
	at := i + j*s.stride[1] + k*s.stride[2]
	lower := s.slice(at, fi, fj, k)
	if fk == 0 {
		return lower
	}
	return lower + fk*(s.slice(at+s.stride[2], fi, fj, k+1)-lower)
}

// slice returns the grey value inside one slice, at is the lower corner of the cell.
func (s *sampler) slice(at int, fi, fj float64, k int) float64 {
	row := func(at int) float64 {
		a := s.stored(at)
		if fi == 0 {
			return a
		}
		return a + fi*(s.stored(at+1)-a)
	}
	g := row(at)
	if fj != 0 {
		g += fj * (row(at+s.stride[1]) - g)
	}
	r := s.v.RescaleOf(k)
	return r.Slope*g + r.Intercept
}

func (s *sampler) stored(at int) float64 {
	x := s.v.Stored[at]
	if s.v.Blank != nil && x == *s.v.Blank {
		return math.NaN()
	}
	return float64(x)
}

// cell splits index x into the lower voxel and the fraction beyond it. The fraction is 0 on
// the last voxel, so that no neighbour is needed there.
func cell(x float64, n int) (int, float64, bool) {
	if !(x >= 0 && x <= float64(n-1)) {
		return 0, 0, false
	}
	i := int(x)
	return i, x - float64(i), true
}

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
	boxStep  = 0.3     // mm; half the finest tube scale, see scales
	maxNodes = 8 << 20 // bounds memory: about 20 bytes a node
	minReach = 10.0    // mm; the mandibular canal bows up to about a quarter of its length
)

func newBox(ctx context.Context, s *sampler, a, b r3.Vec, reach float64) (*box, error) {
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
	if err := x.sample(ctx, s); err != nil {
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
func (x *box) sample(ctx context.Context, s *sampler) error {
	sub := min(3, max(1, int(math.Round(x.step/s.pitch))))
	g, ctx := errgroup.WithContext(ctx)
	g.SetLimit(2)
	for c := range x.n[2] {
		g.Go(func() error {
			for b := range x.n[1] {
				for a := range x.n[0] {
					x.sampleNode(s, a, b, c, sub)
				}
			}
			return ctx.Err()
		})
	}
	return g.Wait()
}

func (x *box) sampleNode(s *sampler, a, b, c, sub int) {
	off := func(i int) float64 { return (float64(i)+0.5)/float64(sub) - 0.5 }
	sum := 0.0
	for k := range sub {
		for j := range sub {
			for i := range sub {
				sum += s.at(x.patient([3]float64{float64(a) + off(i), float64(b) + off(j), float64(c) + off(k)}))
			}
		}
	}
	at := x.at(a, b, c)
	if !math.IsNaN(sum) {
		x.grey[at], x.open[at] = float32(sum/float64(sub*sub*sub)), true
	}
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
