package trace

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// scales are the blurs at which tubes are looked for, sigma in mm. A dark tube of radius r
// stands out most at about r/√2 beyond its wall: 1 to 2 mm is the canal's radius.
var scales = [4]float64{0.45, 0.7, 1.0, 1.5}

const (
	slowest  = 0.02 // speed where nothing looks like a tube, of the speed in a perfect one
	snapping = 1.5  // mm; how far a mark may move onto the canal it means
)

// tube tells how much a node of a box looks like the inside of a dark tube.
type tube struct {
	*box
	blurred [len(scales)][]float32
	c       float64              // Frangi's c: half the strength of the second derivatives at the weaker mark
	weight  [len(scales)]float64 // of each scale, 0 to 1: how well it sees the canal at both marks
	dark    float64              // grey value of the lumen at the marks, finest scale
	bright  float64              // grey values above it at which a node is hardly a lumen: a quarter of the way to the surroundings
	memo    []float32            // speed + 1; 0: not yet asked for
}

func newTube(x *box) *tube {
	t := &tube{box: x, memo: make([]float32, len(x.grey))}
	from, had := x.grey, 0.0
	for i, sigma := range scales { // each blur goes on from the one before: sigmas add in squares
		more := math.Sqrt(max(sigma*sigma-had*had, 0)) / x.step
		t.blurred[i] = blur(from, x.n, more)
		from, had = t.blurred[i], sigma
	}
	return t
}

// speed returns the speed of the front at a node: 1 inside a perfect tube, slowest away from
// any, 0 where there is no grey value. Without unit.
func (t *tube) speed(node int) float64 {
	if !t.open[node] {
		return 0
	}
	if t.memo[node] == 0 {
		t.memo[node] = float32(1 + slowest + (1-slowest)*t.measure(node))
	}
	return float64(t.memo[node]) - 1
}

// measure returns how much a node looks like this canal, 0 to 1: the largest of the scales'
// Frangi measures, each weighted by how well that scale sees the canal at the marks (the marrow
// between two plates is a wider tube than the canal), squared so that half a tube is no match for a whole one, times how dark it
// is against the lumen at the marks (marrow is not as dark).
func (t *tube) measure(node int) float64 {
	best := 0.0
	for i := range scales {
		if h, ok := t.hessian(node, i); ok && h.xx+h.yy+h.zz > 0 {
			best = max(best, t.weight[i]*frangi(h.eigenvalues(), t.c))
		}
	}
	z := max(0, float64(t.blurred[0][node])-t.dark) / t.bright
	return best * best * math.Exp(-z*z)
}

// hessian returns the second derivatives of grey value at a node and scale, times sigma²
// (scale-normalised): central differences of the blurred picture. It is false on the box's faces.
func (t *tube) hessian(node, scale int) (symmetric, bool) {
	g, n := t.blurred[scale], t.n
	a, b, c := node%n[0], node/n[0]%n[1], node/(n[0]*n[1])
	if a < 1 || b < 1 || c < 1 || a > n[0]-2 || b > n[1]-2 || c > n[2]-2 {
		return symmetric{}, false
	}
	x, y, z := 1, n[0], n[0]*n[1]
	k := scales[scale] * scales[scale] / (t.step * t.step)
	straight := func(d int) float64 { return k * float64(g[node-d]-2*g[node]+g[node+d]) }
	mixed := func(d, e int) float64 {
		return k * float64(g[node+d+e]-g[node+d-e]-g[node-d+e]+g[node-d-e]) / 4
	}
	return symmetric{straight(x), straight(y), straight(z), mixed(x, y), mixed(x, z), mixed(y, z)}, true
}

// snap returns the point near mark m that most looks like the middle of a tube, moved only
// across that tube: where along the canal the user marked is the user's word.
func (t *tube) snap(m r3.Vec) r3.Vec {
	best, at := 0.0, m
	q := t.node(m)
	f := front{n: t.n, stride: [3]int{1, t.n[0], t.n[0] * t.n[1]}, step: t.step}
	f.around(q, snapping/t.step, func(node int, mm float64) {
		for i := range scales {
			h, ok := t.hessian(node, i)
			if !ok || !t.open[node] {
				continue
			}
			l := h.eigenvalues()
			if l[1] <= 0 || l[2] <= 0 {
				continue
			}
			if score := l[1] * math.Exp(-mm*mm/(2*snapping*snapping/4)); score > best {
				best, at = score, t.onto(m, node, h.eigenvector(l[0]))
			}
		}
	})
	return at
}

// onto returns node's position, moved along d to the plane through m across d.
func (t *tube) onto(m r3.Vec, node int, d r3.Vec) r3.Vec {
	f := front{n: t.n, stride: [3]int{1, t.n[0], t.n[0] * t.n[1]}}
	q := f.coords(node)
	p := t.patient([3]float64{float64(q[0]), float64(q[1]), float64(q[2])})
	axis := r3.Add(r3.Add(r3.Scale(d.X, t.axis[0]), r3.Scale(d.Y, t.axis[1])), r3.Scale(d.Z, t.axis[2]))
	return r3.Sub(p, r3.Scale(r3.Dot(r3.Sub(p, m), axis), axis))
}

// calibrate sets the strength and the grey value a canal has in this picture from the marks,
// which lie in it. The weaker mark decides: the other may lie at the opening of a foramen, where
// bone meets air and every second derivative is large.
func (t *tube) calibrate(marks ...r3.Vec) {
	f := front{n: t.n, stride: [3]int{1, t.n[0], t.n[0] * t.n[1]}, step: t.step}
	t.c = math.Inf(1)
	t.weight = [len(scales)]float64{1, 1, 1, 1}
	for _, m := range marks {
		strength, sign := t.signature(f.nearest(t.node(m)))
		t.c = min(t.c, max(strength/2, 1e-9))
		for i := range scales {
			t.weight[i] = min(t.weight[i], sign[i])
		}
	}
	top := slices.Max(t.weight[:])
	for i := range scales {
		if top > 0 {
			t.weight[i] /= top
		} else {
			t.weight[i] = 1
		}
	}
	t.dark = math.Inf(-1)
	for _, m := range marks {
		if g := float64(t.blurred[0][f.nearest(t.node(m))]); g > t.dark {
			t.dark = g
			t.bright = max(t.around(f, m)-g, 2*t.c) / 4
		}
	}
}

// signature returns the largest strength of second derivatives at a node over all scales, and
// how tube-like each scale sees it (λ2), of the most tube-like scale.
func (t *tube) signature(node int) (strength float64, sign [len(scales)]float64) {
	for i := range scales {
		h, _ := t.hessian(node, i)
		l := h.eigenvalues()
		strength = max(strength, math.Sqrt(l[0]*l[0]+l[1]*l[1]+l[2]*l[2]))
		if l[2] > 0 {
			sign[i] = max(l[1], 0)
		}
	}
	if top := slices.Max(sign[:]); top > 0 {
		for i := range sign {
			sign[i] /= top
		}
	}
	return strength, sign
}

// around returns the mean grey value around a mark, beyond a usual canal's wall; without unit.
func (t *tube) around(f front, m r3.Vec) float64 {
	const inner, outer = 2.0, 3.5 // mm
	var sum, n float64
	f.around(t.node(m), outer/t.step, func(node int, mm float64) {
		if mm > inner && t.open[node] {
			sum, n = sum+float64(t.grey[node]), n+1
		}
	})
	return sum / max(n, 1)
}
