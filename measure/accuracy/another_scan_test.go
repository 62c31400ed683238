package accuracy_test

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
	"ridgerule/measure/accuracy"
)

// What the field shows at least. Our choice: a small field of a clinic's scanner.
const (
	leastField = 22.0 // mm each way
	pastFloor  = 7.0  // mm of a maxilla above the lowest point of its sinus
)

// scan renders the jaw on an oblique grid that holds it, from cells of at most fine mm, with white noise,
// and rounds as a scanner does.
func (j *jaw) scan(rng *rand.Rand, cell accuracy.Cell, fine float64) (*volume.Volume, error) {
	v, err := volume.New(j.grid(rng, cell.Voxel))
	if err != nil {
		return nil, err
	}
	var size [3]float64
	var dir [3]r3.Vec
	for a := range size {
		size[a], dir[a] = float64(v.Size[a])*cell.Voxel, r3.Unit(v.Step[a])
	}
	im := image{size: v.Size, voxel: cell.Voxel, blur: cell.Blur, sub: int(math.Ceil(cell.Voxel/fine - 1e-9))}
	section, grain := j.ideal(im.fine()), newTexture(rng, size, j.grain)
	grey := im.render(func(x, y, z float64) float64 {
		q := r3.Add(r3.Add(v.Origin, r3.Scale(x, dir[0])), r3.Add(r3.Scale(y, dir[1]), r3.Scale(z, dir[2])))
		p, s := j.inSection(q)
		return section(p, s, func() float64 { return grain.at(x, y, z) })
	})
	for i, x := range grey {
		v.Stored[i] = int16(math.Round(x + cell.Noise*rng.NormFloat64()))
	}
	return v, nil
}

// ideal returns the grey value of a cell of side h mm at a section point, s mm along the arch, grain
// being the texture there: air, soft tissue, cortex, marrow and the canal, each with the share of the cell
// it fills.
func (j *jaw) ideal(h float64) func(p r2.Vec, s float64, grain func() float64) float64 {
	bone, marrow := j.bone.raster().without(j.cavity.raster()), j.marrow.raster().without(j.shell.raster())
	air := j.air.raster()
	for i := range air {
		air[i] = min(air[i], float32(j.mucosa.above(rasterPoint(i))))
	}
	return func(p r2.Vec, s float64, grain func() float64) float64 {
		q := j.change.back(p, s)
		a, b, c := cover(air.at(q)/h), cover(bone.at(q)/h), cover(marrow.at(q)/h)
		out := j.softGrey*(1-a-b) + j.airGrey*a + j.cortexGrey*(b-c)
		if c == 0 {
			return out
		}
		in := j.marrowGrey + j.texture*grain()
		if j.canal != nil {
			d := r2.Norm(r2.Sub(p, j.canalAt(s))) - j.canal.radius
			outer, inner := cover(d/h), cover((d+j.rim)/h)
			in = in*(1-outer) + j.rimGrey*(outer-inner) + j.lumenGrey*inner
		}
		return out + c*in
	}
}

// grid draws an oblique grid around the jaw.
func (j *jaw) grid(rng *rand.Rand, voxel float64) (g volume.Grid) {
	axis := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	rot := r3.NewRotation(between(rng, 0, 15)*math.Pi/180, axis)
	g.Origin = j.centre
	for a, d := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		d = rot.Rotate(d)
		lo, hi := j.extent(d)
		grow := math.Max(0, leastField-(hi-lo)) / 2
		lo, hi = lo-grow, hi+grow
		g.Size[a], g.Step[a] = int(math.Ceil((hi-lo)/voxel)), r3.Scale(voxel, d)
		g.Origin = r3.Add(g.Origin, r3.Scale(lo+voxel*rng.Float64(), d))
	}
	return g
}

// extent returns from where to where the jaw reaches along d from its centre, mm: the site's section with
// 2.5 mm to spare, those 7 mm beside it with 1 mm, and the mucosa.
func (j *jaw) extent(d r3.Vec) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	add := func(p r2.Vec, s, spare float64) {
		x := r3.Dot(r3.Sub(j.patient(p, s), j.centre), d)
		lo, hi = min(lo, x-spare), max(hi, x+spare)
	}
	for i := 0; i < len(j.bone); i += 20 {
		p := j.bone[i]
		if j.maxilla && p.Y <= j.bone[0].Y-j.floor-pastFloor {
			continue
		}
		add(p, 0, 2.5)
		add(j.change.forth(p, 7), 7, 1)
		add(j.change.forth(p, -7), -7, 1)
	}
	add(r2.Vec{X: j.mucosa.u0, Y: j.mucosa.top}, 0, 1.2)
	return lo, hi
}

// A raster holds the signed distances to a loop, mm, negative inside, so that a fine cell need not ask
// each of its points; u fastest, then v.
type raster []float32

const (
	rasterStep       = 0.05     // mm
	rasterReach      = 0.5      // mm within which distances are true; beyond they stand still
	rasterU, rasterV = 800, 880 // points
)

// rasterCorner is the first point: lingual of any jaw, and past where any field ends.
var rasterCorner = r2.Vec{X: -20, Y: -34}

// rasterPoint returns where point i of a raster lies in the section.
func rasterPoint(i int) r2.Vec {
	return r2.Add(rasterCorner, r2.Scale(rasterStep, r2.Vec{X: float64(i % rasterU), Y: float64(i / rasterU)}))
}

// without takes what is inside o out of r.
func (r raster) without(o raster) raster {
	for i := range r {
		r[i] = max(r[i], -o[i])
	}
	return r
}

// raster measures distances along the normal of the loop's nearest point. From the band around the loop
// the sign is carried on along u. Without a loop all is outside.
func (l loop) raster() raster {
	out, least := make(raster, rasterU*rasterV), make(raster, rasterU*rasterV)
	for i := range out {
		out[i], least[i] = rasterReach, rasterReach
	}
	for i := range l {
		out.stamp(least, l, i)
	}
	for i := 1; i < len(out); i++ {
		if least[i] == rasterReach {
			out[i] = float32(math.Copysign(rasterReach, float64(out[i-1])))
		}
	}
	return out
}

// stamp takes in the distances along the normal at point i, where no other point was nearer.
func (r raster) stamp(least raster, l loop, i int) {
	n, _ := l.normal(i)
	const reach = int(rasterReach / rasterStep)
	p := r2.Scale(1/rasterStep, r2.Sub(l[i], rasterCorner))
	for y := max(0, int(p.Y)-reach); y <= min(rasterV-1, int(p.Y)+reach+1); y++ {
		for x := max(0, int(p.X)-reach); x <= min(rasterU-1, int(p.X)+reach+1); x++ {
			d := r2.Scale(rasterStep, r2.Sub(r2.Vec{X: float64(x), Y: float64(y)}, p))
			if k, far := y*rasterU+x, float32(math.Sqrt(r2.Norm2(d))); far < least[k] {
				least[k], r[k] = far, float32(r2.Dot(d, n))
			}
		}
	}
}

// at returns the distance at p, bilinear, mm.
func (r raster) at(p r2.Vec) float64 {
	x := math.Max(0, math.Min((p.X-rasterCorner.X)/rasterStep, rasterU-1.001))
	y := math.Max(0, math.Min((p.Y-rasterCorner.Y)/rasterStep, rasterV-1.001))
	i := int(y)*rasterU + int(x)
	fx, fy := float32(x-math.Floor(x)), float32(y-math.Floor(y))
	lo, hi := r[i]+fx*(r[i+1]-r[i]), r[i+rasterU]+fx*(r[i+rasterU+1]-r[i+rasterU])
	return float64(lo + fy*(hi-lo))
}
