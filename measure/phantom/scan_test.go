package phantom

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

func must[T any](t testing.TB) func(v T, err error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func scanOf(t testing.TB, o Options) (*Jaw, *volume.Volume) {
	t.Helper()
	j := must[*Jaw](t)(New(o))
	return j, must[*volume.Volume](t)(j.Volume(context.Background(), nil))
}

func small(t testing.TB, o Options, tooth int, edge float64) Options {
	t.Helper()
	return must[Options](t)(o.Small(tooth, edge))
}

// bruteForce convolves the sharp shape with the Gaussian by summing over a lattice of pitch
// sigma/5, its corner at random, to 4.4 sigma; mean of the two grey values' own rounding aside,
// its error on a step is below pitch·0.03.
func bruteForce(j *Jaw, p r3.Vec, s float64, r *rand.Rand) float64 {
	pitch := s / 5
	n := int(4.4 * s / pitch)
	off := r3.Vec{X: pitch * r.Float64(), Y: pitch * r.Float64(), Z: pitch * r.Float64()}
	sum, weight := 0.0, 0.0
	for a := -n; a <= n; a++ {
		for b := -n; b <= n; b++ {
			for c := -n; c <= n; c++ {
				d := r3.Add(off, r3.Scale(pitch, r3.Vec{X: float64(a), Y: float64(b), Z: float64(c)}))
				q := r3.Norm2(d)
				if q > 4.4*4.4*s*s {
					continue
				}
				w := math.Exp(-q / (2 * s * s))
				weight += w
				sum += w * j.Grey(r3.Add(p, d))
			}
		}
	}
	return sum / weight
}

// inFillet reports whether p lies where palate and ridge are blended, see join.
func inFillet(j *Jaw, p r3.Vec) bool {
	var pl place
	q := j.toJaw(p)
	j.shape.put(q, &pl)
	d, _ := pl.distance((*station).outer)
	return math.Abs(d-j.shape.palate(&pl, q)) < 3.5
}

// Voxels picked where the grey value changes most agree with a brute-force convolution of the
// sharp shape: crest, walls, plates, canal, sinus floor, mucosa, all together.
func TestVoxelsAgreeWithBruteForce(t *testing.T) {
	for _, c := range []struct {
		k     Kind
		tooth int
		turn  r3.Vec
	}{{Mandible, 36, r3.Vec{}}, {Maxilla, 16, r3.Vec{X: 15, Z: 30}}} {
		o := Demo(c.k)
		o.Grey.Texture, o.Scan.Noise, o.Scan.Turn = 0, 0, c.turn
		o.Scan.Voxel, o.Scan.Blur = [3]float64{0.4, 0.4, 0.4}, 0.35
		o = small(t, o, c.tooth, 24)
		j, v := scanOf(t, o)
		r := rand.New(rand.NewPCG(1, uint64(c.k)))
		worst := 0.0
		for found := 0; found < 4; {
			i, jj, k := 1+r.IntN(v.Size[0]-2), 1+r.IntN(v.Size[1]-2), 1+r.IntN(v.Size[2]-2)
			change := math.Abs(v.Grey(i+1, jj, k)-v.Grey(i-1, jj, k)) + math.Abs(v.Grey(i, jj, k+1)-v.Grey(i, jj, k-1))
			if change < 500 {
				continue
			}
			p := v.Patient(volume.Index{I: float64(i), J: float64(jj), K: float64(k)})
			if c.k == Maxilla && inFillet(j, p) {
				continue
			}
			found++
			want := bruteForce(j, p, o.Scan.Blur, r)
			worst = max(worst, math.Abs(v.Grey(i, jj, k)-want))
		}
		// an edge of 1100 grey values has a slope of 1100/(0.35·√2π) = 1250 a mm: 0.005 mm is 6
		if worst > 6 {
			t.Errorf("%v: off by %.1f grey values", c.k, worst)
		}
		t.Logf("%v: worst %.2f grey values", c.k, worst)
	}
}

// The tiles that are filled at once are as a point-by-point evaluation has them, to the 0.001
// mm of an edge that is left where palate and ridge are blended.
func TestTilesAreWhatTheirPointsAre(t *testing.T) {
	for seed := range uint64(6) {
		k := Kind(seed % 2)
		o := Random(seed, k)
		o.Scan.Voxel, o.Scan.Blur = [3]float64{0.4, 0.4, 0.4}, 0.4
		j := must[*Jaw](t)(New(o))
		ln := newKernel(j.grid, 0.4, false)
		size := [3]int{190, 120, 1}
		b := newTiler(j, ln, size)
		value := make([]float32, b.columns*b.rows)
		for _, kk := range []float64{45, 90} {
			b.origin = j.toJaw(j.grid.Patient(volume.Index{K: kk}))
			for top := 0; top < b.rows; top += tile {
				b.strip(top, []r3.Vec{b.origin}, 1, [][]float32{value[top*b.columns:]})
			}
			var l layers
			var w place
			for y := range b.rows {
				for x := range b.columns {
					p := b.at(float64(x), float64(y))
					if math.Abs(j.shape.arch.length(j.shape.arch.foot(p.X, p.Y).x)) > 57 {
						continue // rami and tuberosities, see near
					}
					j.shape.fill(p, 1<<lCount-1, &l, &w, math.Inf(1))
					want := j.shape.paint(&l, &j.opt.Grey, ln.p, nil, p)
					if got := float64(value[y*b.columns+x]); math.Abs(got-want) > 1.5 {
						t.Fatalf("seed %d: tile has %.1f, point %.1f at %v", seed, got, want, p)
					}
				}
			}
		}
	}
}

// The same options give the same voxels on one processor and on several.
func TestVoxelsDoNotDependOnTheProcessors(t *testing.T) {
	o := Demo(Maxilla)
	o.Scan.Voxel, o.Scan.Blur, o.Scan.Correlation = [3]float64{0.5, 0.5, 0.5}, 0.5, 0.8
	o = small(t, o, 14, 12)
	_, a := scanOf(t, o)
	old := runtime.GOMAXPROCS(1)
	_, b := scanOf(t, o)
	runtime.GOMAXPROCS(old)
	if !slices.Equal(a.Stored, b.Stored) {
		t.Error("the voxels differ")
	}
	o.Seed++
	if _, c := scanOf(t, o); slices.Equal(a.Stored, c.Stored) {
		t.Error("another seed gave the same voxels")
	}
}

// A cancelled context ends the work with its error.
func TestVolumeStopsWhenCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	j := must[*Jaw](t)(New(Demo(Mandible)))
	if _, err := j.Volume(ctx, nil); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v, want %v", err, context.Canceled)
	}
}

// stats returns mean, SD and the correlation of neighbours in a row.
func stats(f func(x, y, k int) float64, n int) (mean, sd, corr float64) {
	var s, s2, c float64
	for k := range n {
		for y := range n {
			for x := range n {
				v := f(x, y, k)
				s, s2, c = s+v, s2+v*v, c+v*f(x+1, y, k)
			}
		}
	}
	m := float64(n * n * n)
	mean = s / m
	sd = math.Sqrt(s2/m - mean*mean)
	return mean, sd, c / m / (sd * sd)
}

// White noise has mean 0, SD 1 and no correlation; correlated noise has the correlation of two
// Gaussians of sigma c one voxel apart, exp(−1/(4c²)), and SD 1.
func TestNoiseIsWhatItSays(t *testing.T) {
	f := &acquisition{seed: 3, table: quantile()}
	m, s, c := stats(f.noise, 48) // 110592 samples: SD of the mean 0.003, of the SD 0.002
	if math.Abs(m) > 0.015 || math.Abs(s-1) > 0.012 || math.Abs(c) > 0.015 {
		t.Errorf("white: mean %.4f, SD %.4f, correlation %.4f", m, s, c)
	}
	f.scan.Correlation = 1
	m, s, c = stats(f.noise, 32)
	if math.Abs(m) > 0.05 || math.Abs(s-1) > 0.04 || math.Abs(c-math.Exp(-0.25)) > 0.03 {
		t.Errorf("correlated: mean %.4f, SD %.4f, correlation %.4f, want %.4f", m, s, c, math.Exp(-0.25))
	}
}
