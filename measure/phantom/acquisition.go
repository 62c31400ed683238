package phantom

import (
	"math"
	"math/rand/v2"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

// acquisition turns exact grey values into stored ones: artefacts, noise, rounding.
type acquisition struct {
	grid    volume.Grid
	effects Artefacts
	scan    Scan
	seed    uint64
	middle  volume.Index // of the grid: the axis of the rings and the cupping, voxels
	fans    []fan        // one for each piece of metal
	blank   *int16
	table   *[65536]float64 // normal quantiles
}

// ray is one frequency of the pattern of streaks round the metal.
type ray struct{ n, phase, size float64 }

// fan is the pattern of streaks round one piece of metal.
type fan struct {
	metal r3.Vec // its middle, patient, mm
	rays  []ray
}

// outside is the stored value of a voxel outside the field.
const outside = -3000

func newAcquisition(j *Jaw) *acquisition {
	f := &acquisition{grid: j.grid, effects: j.opt.Artefacts, scan: j.opt.Scan, seed: j.opt.Seed, table: quantile()}
	for i, n := range j.grid.Size {
		*[3]*float64{&f.middle.I, &f.middle.J, &f.middle.K}[i] = float64(n-1) / 2
	}
	if f.effects.Field > 0 {
		v := int16(outside)
		f.blank = &v
	}
	if f.scan.Seed != 0 {
		f.seed = f.scan.Seed
	}
	f.drawFans(j)
	return f
}

// drawFans draws the streaks: of a metal crown, or of each implant.
func (f *acquisition) drawFans(j *Jaw) {
	var middles []r3.Vec
	if len(j.shape.metals) > 0 {
		middles = append(middles, j.shape.metals[0].path[1])
	}
	for _, b := range j.shape.bodies {
		middles = append(middles, r3.Add(b.top, r3.Scale(b.long/2, b.axis)))
	}
	r := rand.New(rand.NewPCG(f.seed, 77))
	for _, m := range middles {
		one := fan{metal: j.toPatient(m)}
		for n := 1; n < 24; n++ {
			one.rays = append(one.rays, ray{float64(n), 2 * math.Pi * r.Float64(), 0.6 * r.NormFloat64() / math.Sqrt(8)})
		}
		f.fans = append(f.fans, one)
	}
}

// slice stores slice k.
func (f *acquisition) slice(k int, grey []float32, stored []int16) {
	n := f.grid.Size[0]
	plain := f.effects.Field == 0 && f.effects.Cupping == 0 && f.effects.Rings == 0 && f.effects.Streaks == 0 && f.effects.Top == 0
	white := f.newWhite(k)
	for y := range f.grid.Size[1] {
		row, out := grey[y*n:(y+1)*n], stored[y*n:(y+1)*n]
		switch {
		case !plain || f.scan.Noise > 0 && f.scan.Correlation > 0:
			f.row(y, k, row, out)
		case f.scan.Noise > 0:
			for x, v := range row {
				out[x] = store(float64(v) + f.scan.Noise*white.at(x, y))
			}
		default:
			for x, v := range row {
				out[x] = store(float64(v))
			}
		}
	}
}

// row stores row y of slice k with everything that may be requested for.
func (f *acquisition) row(y, k int, grey []float32, stored []int16) {
	sp := f.grid.Spacing()
	radius := f.effects.Field / 2
	for x := range grey {
		dx, dy := (float64(x)-f.middle.I)*sp[0], (float64(y)-f.middle.J)*sp[1]
		if radius > 0 && dx*dx+dy*dy > radius*radius {
			stored[x] = outside
			continue
		}
		v := float64(grey[x]) + f.artefactsAt(dx, dy, x, y, k)
		if f.scan.Noise > 0 {
			v += f.scan.Noise * f.noise(x, y, k)
		}
		if f.effects.Top != 0 {
			v = min(v, f.effects.Top)
		}
		stored[x] = store(v)
	}
}

// store rounds a grey value to the nearest whole number, halves away from zero, within ±32000. The
// whole part and what is left of it are exact, and so is twice the rest.
func store(v float64) int16 {
	v = max(-32000, min(32000, v))
	whole := int32(v)
	return int16(whole + int32(2*(v-float64(whole))))
}

// artefactsAt is what cupping, rings and streaks add at a voxel, (dx, dy) mm from the axis.
func (f *acquisition) artefactsAt(dx, dy float64, x, y, k int) float64 {
	v := 0.0
	if f.effects.Cupping != 0 {
		sp := f.grid.Spacing()
		rim := math.Hypot(f.middle.I*sp[0], f.middle.J*sp[1]) / math.Sqrt2
		v -= f.effects.Cupping * max(0, 1-(dx*dx+dy*dy)/(rim*rim))
	}
	if f.effects.Rings != 0 {
		r := math.Hypot(dx, dy)
		cell := math.Floor(r / 0.4) // a ring is as wide as a bad detector element's shadow
		h := mix(f.seed ^ 0xabcd ^ uint64(cell)*0x9e3779b97f4a7c15)
		v += f.effects.Rings * (2*float64(h>>11)/(1<<53) - 1)
	}
	if f.effects.Streaks != 0 {
		p := f.grid.Patient(volume.Index{I: float64(x), J: float64(y), K: float64(k)})
		for i := range f.fans {
			v += f.effects.Streaks * f.streak(&f.fans[i], p)
		}
	}
	return v
}

// streak is the fan of bands in the slice round the metal: as the beam goes, along lines
// through it, fading with the distance and above and below the metal.
func (f *acquisition) streak(of *fan, p r3.Vec) float64 {
	d := r3.Sub(p, of.metal)
	n := normal(f.grid)
	up := r3.Dot(d, n)
	flat := r3.Sub(d, r3.Scale(up, n))
	r := r3.Norm(flat)
	ex := r3.Unit(f.grid.Step[0])
	angle := math.Atan2(r3.Dot(flat, r3.Cross(n, ex)), r3.Dot(flat, ex))
	sum := 0.0
	for _, c := range of.rays {
		sum += c.size * math.Cos(2*c.n*angle+c.phase) // a line has two ends: even frequencies
	}
	return sum * r / (2 + r) * math.Exp(-r/30) * math.Exp(-up*up/(2*6*6))
}

// noise is a standard normal deviate of voxel (x, y, k): white, or correlated in the slice.
func (f *acquisition) noise(x, y, k int) float64 {
	white := f.newWhite(k)
	if f.scan.Correlation <= 0 {
		return white.at(x, y)
	}
	s := f.scan.Correlation
	r := int(math.Ceil(2.5 * s))
	sum, power := 0.0, 0.0
	for dy := -r; dy <= r; dy++ {
		for dx := -r; dx <= r; dx++ {
			w := math.Exp(-float64(dx*dx+dy*dy) / (2 * s * s))
			sum += w * white.at(x+dx, y+dy)
			power += w * w
		}
	}
	return sum / math.Sqrt(power)
}

// white returns the deviates of the voxels of a slice, white noise of SD 1: each belongs to its voxel by
// the voxel's number alone (a hash of seed and place), so that it does not matter who computes it when.
type white struct {
	table      *[65536]float64
	seed, high uint64
}

func (f *acquisition) newWhite(k int) white {
	return white{f.table, mix(f.seed + 0x632be59bd9b4e019), uint64(k) << 42}
}

func (w *white) at(x, y int) float64 {
	h := mix(w.seed ^ mix(uint64(uint32(x)&0x3fffff)|uint64(uint32(y)&0xfffff)<<22|w.high))
	// two of 65536 quantiles each: tails past 5 SD, moments right to 1e-4
	return (w.table[h>>48] + w.table[h>>16&0xffff]) / math.Sqrt2
}

// mix is a bijection of 64 bits with full avalanche (the finaliser of SplitMix64).
//
// Source: Steele GL, Lea D, Flood CH. OOPSLA 2014:453–472. doi:10.1145/2660193.2660195
func mix(z uint64) uint64 {
	z += 0x9e3779b97f4a7c15
	z = (z ^ z>>30) * 0xbf58476d1ce4e5b9
	z = (z ^ z>>27) * 0x94d049bb133111eb
	return z ^ z>>31
}

// quantile holds the standard normal's quantiles at (i + ½)/65536.
var quantile = sync.OnceValue(func() *[65536]float64 {
	var q [65536]float64
	for i := range q {
		q[i] = math.Sqrt2 * math.Erfinv(2*(float64(i)+0.5)/65536-1)
	}
	return &q
})
