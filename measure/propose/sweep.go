package propose

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// A sweep lays lines across the arch: a fan from a place inside it, or parallels across a piece of it. On
// each line a ridge is a bar of bone with none on either side; the trail is the chain of bars that changes
// least from line to line.

// plane is a plane of the patient with its directions, unit vectors.
type plane struct {
	at, left, front, up r3.Vec
}

// tilted returns the plane through at whose front rises by pitch and whose left side rises by roll, degrees.
func tilted(at r3.Vec, pitch, roll float64) plane {
	sp, cp := math.Sincos(pitch * math.Pi / 180)
	sr, cr := math.Sincos(roll * math.Pi / 180)
	p := plane{at: at, left: r3.Vec{X: cr, Z: sr}, front: r3.Vec{Y: -cp, Z: sp}}
	p.up = r3.Unit(r3.Cross(p.front, p.left)) // front −y, left +x: their product is +z
	p.front = r3.Unit(r3.Cross(p.left, p.up))
	return p
}

// place returns the patient point a mm to the left, b to the front and h over the plane.
func (p plane) place(a, b, h float64) r3.Vec {
	return r3.Add(p.at, r3.Add(r3.Scale(a, p.left), r3.Add(r3.Scale(b, p.front), r3.Scale(h, p.up))))
}

// ray is one line of a sweep.
type ray struct {
	from, dir r3.Vec
	angle     float64 // of a fan: from the front, + to the left, degrees
}

// sweep is a row of lines.
type sweep struct {
	plane
	fan    bool
	rays   []ray
	length int     // of the rays, mm
	reach  int     // by how much the place on the next ray may differ, mm
	stiff  float64 // what a difference of 1 mm costs, of a bar's score
}

// Shape of a bar, mm: its middle, and where none is wanted on both sides; the least score that is a ridge.
const (
	barHalf   = 2
	clearFrom = 6
	clearTo   = 10
	isRidge   = 0.3
)

const (
	fanHalf  = 132.0 // degrees to both sides of the front
	fanFrom  = 14.0  // mm from its middle: nearer than any jaw's front to the middle of its arch
	fanReach = 44    // mm
)

// fan returns a fan about the plane's place, its rays step degrees apart.
func fan(p plane, step float64) sweep {
	s := sweep{plane: p, fan: true, length: fanReach, reach: int(math.Ceil(step * 1.1)), stiff: 0.16 / (step * step)}
	for a := -math.Floor(fanHalf/step) * step; a <= fanHalf; a += step {
		sin, cos := math.Sincos(a * math.Pi / 180)
		d := r3.Add(r3.Scale(sin, p.left), r3.Scale(cos, p.front))
		s.rays = append(s.rays, ray{r3.Add(p.at, r3.Scale(fanFrom, d)), d, a})
	}
	return s
}

// parallels returns lines 2 mm apart across the direction that lies turn degrees from left toward front, as
// far as half mm to all sides.
func parallels(p plane, turn, half float64) sweep {
	const step = 2.0
	s := sweep{plane: p, length: int(2 * half), reach: 3, stiff: 0.04}
	sin, cos := math.Sincos(turn * math.Pi / 180)
	along := r3.Add(r3.Scale(cos, p.left), r3.Scale(sin, p.front))
	across := r3.Sub(r3.Scale(cos, p.front), r3.Scale(sin, p.left))
	for x := -half; x <= half; x += step {
		from := r3.Add(p.at, r3.Sub(r3.Scale(x, along), r3.Scale(half, across)))
		s.rays = append(s.rays, ray{from: from, dir: across})
	}
	return s
}

// trail is a chain of bars, one place a ray.
type trail struct {
	sweep
	at    []float64 // along each ray, mm
	score []float64 // of the bar there, −1 to 1; NaN outside the field
	mean  float64   // over all rays that a good trail meets; what is not met counts 0
}

// point returns the place of bar i in the patient, mm.
func (t *trail) point(i int) r3.Vec {
	return r3.Add(t.rays[i].from, r3.Scale(t.at[i], t.rays[i].dir))
}

// met reports whether ray i meets a ridge.
func (t *trail) met(i int) bool { return t.score[i] > isRidge }

// follow finds the trail of a sweep.
func (c *cells) follow(s sweep) trail {
	n, m := len(s.rays), s.length+1
	score := make([]float64, n*m)
	best := make([]float64, n*m)
	back := make([]int16, n*m)
	for i, r := range s.rays {
		c.bars(r, score[i*m:(i+1)*m])
		for x := range m {
			gain := score[i*m+x]
			if gain != gain {
				gain = 0
			}
			if i == 0 {
				best[x] = gain
				continue
			}
			top, from := math.Inf(-1), 0
			for y := max(0, x-s.reach); y <= min(m-1, x+s.reach); y++ {
				d := float64(x - y)
				if v := best[(i-1)*m+y] - s.stiff*d*d; v > top {
					top, from = v, y
				}
			}
			best[i*m+x], back[i*m+x] = top+gain, int16(from)
		}
	}
	t := trail{sweep: s, at: make([]float64, n), score: make([]float64, n)}
	x := 0
	for y := range m {
		if best[(n-1)*m+y] > best[(n-1)*m+x] {
			x = y
		}
	}
	for i := n - 1; i >= 0; i-- {
		t.at[i], t.score[i] = float64(x), score[i*m+x]
		x = int(back[i*m+x])
	}
	t.weigh()
	return t
}

// counted are the rays of a fan that the score is taken over, degrees from the front.
const counted = 100.0

func (t *trail) weigh() {
	n := 0.0
	for i, s := range t.score {
		if t.fan && math.Abs(t.rays[i].angle) > counted {
			continue
		}
		n++
		if s > 0 {
			t.mean += s
		}
	}
	t.mean /= n
}

// bars scores each place of a ray: bone at the place, none beside it. NaN outside the field.
func (c *cells) bars(r ray, score []float64) {
	n := len(score) + 2*clearTo
	sum := make([]float64, n+1)
	out := make([]bool, n)
	for i := range n {
		b := c.boneAt(r3.Add(r.from, r3.Scale(float64(i-clearTo), r.dir)))
		if math.IsNaN(b) {
			out[i], b = true, 0
		}
		sum[i+1] = sum[i] + b
	}
	mean := func(a, b int) float64 { return (sum[b+1] - sum[a]) / float64(b-a+1) }
	for x := range score {
		i := x + clearTo
		score[x] = mean(i-barHalf, i+barHalf) - (mean(i-clearTo, i-clearFrom)+mean(i+clearFrom, i+clearTo))/2
		if out[i] {
			score[x] = math.NaN()
		}
	}
}

// leastPiece is how long a piece of an arch must be to be proposed, mm: four points of it make a curve.
const leastPiece = 20.0

// longest returns the length of the longest stretch of neighbouring rays that meet a ridge, mm.
func (t *trail) longest() float64 {
	from, to := t.stretch()
	sum := 0.0
	for i := from + 1; i < to; i++ {
		sum += r3.Norm(r3.Sub(t.point(i), t.point(i-1)))
	}
	return sum
}

// mostGap is how many neighbouring rays may miss the ridge within a stretch.
const mostGap = 3

// stretch returns the rays [from, to) of the longest stretch that meets a ridge, small gaps allowed.
func (t *trail) stretch() (from, to int) {
	start, last, n, most := -1, -1, 0, 0
	for i := range t.rays {
		if !t.met(i) {
			continue
		}
		if start < 0 || i-last > mostGap+1 {
			start, n = i, 0
		}
		n++
		if last = i; n > most {
			most, from, to = n, start, i+1
		}
	}
	return from, to
}
