package trace

import (
	"math"
	"math/rand/v2"
	"sort"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// scene is a piece of jaw whose canal is known in closed form: a bar of bone along x, soft
// tissue around it, cortex, marrow with texture, a canal with a thin wall. Every border is a
// step blurred by a Gaussian (the distribution function Φ of the distance over sigma).
// Grey values and sizes are those of the task's figures; nothing is taken from package trace.
type scene struct {
	canal   []r3.Vec   // centre-line, about 0.1 mm apart
	radius  float64    // of the lumen, mm
	wall    float64    // mm
	gap     [2]float64 // stretch of the canal without wall, mm of arc length
	streaks [][]r3.Vec // dark marrow without wall, radius 1.2 mm
	streak  float64    // grey value of a streak
	texture float64    // standard deviation of marrow, grey values
	noise   float64    // standard deviation of a voxel, grey values
	sigma   float64    // blur, mm
	half    [2]float64 // half-widths of the bar in y and z, mm
	middle  [2]float64 // centre of the bar in y and z, mm
	cortex  float64    // mm
	marrow  [2]float64 // grey value at the low-x and the high-x end
	seed    uint64
}

const (
	softGrey, cortexGrey, wallGrey = 50, 1400, 1200
)

func bar(canal []r3.Vec) scene {
	return scene{canal: canal, radius: 1.3, wall: 0.4, texture: 80, noise: 50, sigma: 0.2, streak: 180,
		half: [2]float64{6.5, 13}, cortex: 2, marrow: [2]float64{300, 550}, seed: 1}
}

// sweep samples a curve given by x in [from, to] about every 0.1 mm.
func sweep(from, to float64, f func(x float64) r3.Vec) []r3.Vec {
	var c []r3.Vec
	n := int((to-from)/0.05) + 1
	last := r3.Vec{X: math.Inf(1)}
	for i := range n {
		p := f(from + (to-from)*float64(i)/float64(n-1))
		if r3.Norm(r3.Sub(p, last)) > 0.09 || i == 0 || i == n-1 {
			c = append(c, p)
			last = p
		}
	}
	return c
}

// sbend is a canal of the usual course: down, along and up again, and bowed sideways.
func sbend(length float64) []r3.Vec {
	return sweep(-length/2, length/2, func(x float64) r3.Vec {
		u := x / length
		return r3.Vec{X: x, Y: 2.2 * math.Sin(2*math.Pi*u), Z: -3 + 14*u*u + 2*math.Sin(4*math.Pi*u)}
	})
}

// nearest returns the distance from p to the polyline and the arc length of the foot, mm.
func nearestOn(line []r3.Vec, p r3.Vec) (float64, float64) {
	best, at, s := math.Inf(1), 0.0, 0.0
	for i := 1; i < len(line); i++ {
		d := r3.Sub(line[i], line[i-1])
		n := r3.Norm(d)
		t := min(1, max(0, r3.Dot(r3.Sub(p, line[i-1]), d)/(n*n)))
		if q := r3.Norm(r3.Sub(p, r3.Add(line[i-1], r3.Scale(t, d)))); q < best {
			best, at = q, s+t*n
		}
		s += n
	}
	return best, at
}

// disc is the value at distance d from the axis of a cylinder of radius r, 1 inside and 0
// outside, blurred: a curved edge moves inward by sigma²/2r. Against the integral it errs by
// less than 0.002 mm at sigma/r ≤ 0.3 (reference values: r 1.0, sigma 0.3 → 0.953150; r 1.5 → 1.469480).
func (s scene) disc(d, r float64) float64 {
	return phi((r - s.sigma*s.sigma/(2*r) - d) / s.sigma)
}

func phi(x float64) float64 { return 0.5 * math.Erfc(-x/math.Sqrt2) }

// field is the distance of each voxel to a line and the place of the foot, +Inf far away.
type field struct{ dist, arc []float32 }

func near(g volume.Grid, line []r3.Vec, reach float64) field {
	n := g.Size[0] * g.Size[1] * g.Size[2]
	f := field{make([]float32, n), make([]float32, n)}
	for i := range f.dist {
		f.dist[i] = float32(math.Inf(1))
	}
	sp := g.Spacing()
	s := 0.0
	for q, p := range line {
		if q > 0 {
			s += r3.Norm(r3.Sub(p, line[q-1]))
		}
		ix := g.Index(p)
		c := [3]float64{ix.I, ix.J, ix.K}
		var lo, hi [3]int
		for a := range 3 { // sheared grids: a little farther
			lo[a] = max(0, int(c[a]-1.3*reach/sp[a]))
			hi[a] = min(g.Size[a]-1, int(c[a]+1.3*reach/sp[a])+1)
		}
		for k := lo[2]; k <= hi[2]; k++ {
			for j := lo[1]; j <= hi[1]; j++ {
				base := r3.Sub(g.Patient(volume.Index{I: float64(lo[0]), J: float64(j), K: float64(k)}), p)
				at := (k*g.Size[1]+j)*g.Size[0] + lo[0]
				for i := lo[0]; i <= hi[0]; i++ {
					if d := float32(r3.Norm2(base)); d < f.dist[at] {
						f.dist[at], f.arc[at] = d, float32(s)
					}
					base = r3.Add(base, g.Step[0])
					at++
				}
			}
		}
	}
	for i, d := range f.dist {
		f.dist[i] = float32(math.Sqrt(float64(d)))
	}
	return f
}

// lattice is smooth noise of zero mean and unit standard deviation, periodic.
type lattice struct{ v [32 * 32 * 32]float32 }

func newLattice(r *rand.Rand) *lattice {
	var l lattice
	for i := range l.v {
		l.v[i] = float32(r.NormFloat64())
	}
	return &l
}

func (l *lattice) at(x, y, z float64) float64 {
	var lo [3]int
	var w [3][2]float64
	var norm float64 = 1
	for a, q := range [3]float64{x, y, z} {
		f := math.Floor(q)
		lo[a] = int(f)
		w[a] = [2]float64{1 - (q - f), q - f}
		norm *= w[a][0]*w[a][0] + w[a][1]*w[a][1]
	}
	sum := 0.0
	for c := range 8 {
		i, j, k := c&1, c>>1&1, c>>2
		at := ((lo[2]+k)&31*32+(lo[1]+j)&31)*32 + (lo[0]+i)&31
		sum += w[0][i] * w[1][j] * w[2][k] * float64(l.v[at])
	}
	return sum / math.Sqrt(norm)
}

// paint fills a volume on grid g.
func (s scene) paint(t testing.TB, g volume.Grid) *volume.Volume {
	v, err := volume.New(g)
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(s.seed, 7))
	fine, coarse := newLattice(r), newLattice(r)
	canal := near(g, s.canal, s.radius+s.wall+1)
	var streaks []field
	for _, l := range s.streaks {
		streaks = append(streaks, near(g, l, 2.4))
	}
	total := 0.0
	for i := 1; i < len(s.canal); i++ {
		total += r3.Norm(r3.Sub(s.canal[i], s.canal[i-1]))
	}
	at := 0
	for k := range g.Size[2] {
		for j := range g.Size[1] {
			p := g.Patient(volume.Index{J: float64(j), K: float64(k)})
			for range g.Size[0] {
				y, z := math.Abs(p.Y-s.middle[0]), math.Abs(p.Z-s.middle[1])
				deep := min(s.half[0]-y, s.half[1]-z)
				bone, inner := phi(deep/s.sigma), phi((deep-s.cortex)/s.sigma)
				grey := softGrey + (cortexGrey-softGrey)*bone
				if inner > 0 {
					u := min(1, max(0, p.X/40+0.5))
					m := s.marrow[0] + u*(s.marrow[1]-s.marrow[0])
					m += s.texture * (0.8*fine.at(p.X/0.7, p.Y/0.7, p.Z/0.7) + 0.6*coarse.at(p.X/1.9, p.Y/1.9, p.Z/1.9))
					for _, f := range streaks {
						m += (s.streak - m) * phi((1.2-float64(f.dist[at]))/s.sigma)
					}
					grey += (m - grey) * inner
				}
				if d := float64(canal.dist[at]); d < s.radius+s.wall+1 {
					lumen, tube := s.disc(d, s.radius), s.disc(d, s.radius+s.wall)
					if arc := float64(canal.arc[at]); arc > s.gap[0] && arc < s.gap[1] {
						tube = lumen
					}
					lining := softGrey + (wallGrey-softGrey)*bone // the wall ends where the bone ends
					grey += (tube-lumen)*(lining-grey) + lumen*(softGrey-grey)
				}
				v.Stored[at] = int16(math.Round(grey + s.noise*r.NormFloat64()))
				at++
				p = r3.Add(p, g.Step[0])
			}
		}
	}
	return v
}

// straightGrid covers the bar around the canal with voxels of the given size.
func (s scene) straightGrid(voxel float64) volume.Grid {
	return cover(s.canal, [3]r3.Vec{{X: voxel}, {Y: voxel}, {Z: voxel}}, 9)
}

// cover returns the grid with the given steps that reaches margin mm beyond the line.
func cover(line []r3.Vec, step [3]r3.Vec, margin float64) volume.Grid {
	g := volume.Grid{Size: [3]int{2, 2, 2}, Step: step}
	lo, hi := [3]float64{1e9, 1e9, 1e9}, [3]float64{-1e9, -1e9, -1e9}
	for _, p := range line {
		ix := g.Index(p)
		for a, q := range [3]float64{ix.I, ix.J, ix.K} {
			lo[a], hi[a] = min(lo[a], q), max(hi[a], q)
		}
	}
	sp := g.Spacing()
	var from [3]float64
	for a := range 3 {
		from[a] = math.Floor(lo[a] - margin/sp[a])
		g.Size[a] = int(hi[a]+margin/sp[a]-from[a]) + 1
	}
	g.Origin = g.Patient(volume.Index{I: from[0], J: from[1], K: from[2]})
	return g
}

// errors returns the distances of the path's points from the true centre-line, sorted.
func (s scene) errors(p []r3.Vec) []float64 {
	e := make([]float64, len(p))
	for i, q := range p {
		e[i], _ = nearestOn(s.canal, q)
	}
	sort.Float64s(e)
	return e
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, q := range x {
		sum += q
	}
	return sum / float64(len(x))
}

func quantile(sorted []float64, q float64) float64 {
	return sorted[min(len(sorted)-1, int(q*float64(len(sorted))))]
}

func (s scene) ends() []r3.Vec { return []r3.Vec{s.canal[0], s.canal[len(s.canal)-1]} }

// shift returns the line moved by d.
func shift(l []r3.Vec, d r3.Vec) []r3.Vec {
	o := make([]r3.Vec, len(l))
	for i := range l {
		o[i] = r3.Add(l[i], d)
	}
	return o
}

// foramen is a canal that turns to the side and leaves the bone through its surface.
func foramen(length float64) []r3.Vec {
	return sweep(-length/2, length/2, func(x float64) r3.Vec {
		u := x/length + .5
		k := max(0, u-0.8) / 0.2
		return r3.Vec{X: x, Y: 1.5*math.Sin(6*u) - 6.6*k*k, Z: -3 + 3*math.Cos(5*u) + 2*k*k}
	})
}
