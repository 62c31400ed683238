package phantom

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"
)

// Demo returns a lifelike jaw for demonstrations: tilt, undercut, variation, canal or sinus,
// texture and some noise, on a 0.2 mm grid of 400×400×300 voxels.
func Demo(k Kind) Options {
	o := Options{Case: "demo-" + k.String(), Jaw: k, Seed: 7}
	o.Shape = Shape{Tilt: 8, Undercut: 1.8, Variation: 0.6, Convexity: 2.5}
	o.Scan.Noise = 50
	o.Grey.Texture = 60
	if k == Maxilla {
		o.Shape.Tilt, o.Shape.Undercut, o.Shape.Convexity, o.Shape.SinusMucosa = -12, 0.9, 1.5, 1.2
	}
	return o
}

// Random returns a random jaw and scan over the ranges of the calibration: voxels
// 0.1–0.4 mm, isotropic and not, blur 0.1–0.35 mm, noise 0–150, tilt, undercut, oblique
// grids, arch points scattered by 0.3 mm. The same seed gives the same jaw. The whole jaw at 0.1 mm
// is some 400 million voxels: cut it down with [Options.Small].
func Random(seed uint64, k Kind) Options {
	r := rand.New(rand.NewPCG(seed, 0x1234567))
	in := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	maybe := func(p, v float64) float64 {
		if r.Float64() < p {
			return v
		}
		return 0
	}
	o := Options{Case: fmt.Sprintf("random-%v-%d", k, seed), Jaw: k, Seed: seed}
	s := &o.Shape
	s.Arch, s.Width, s.Convexity = in(0.9, 1.1), in(5, 10), in(0, 4)
	s.CrestCap = s.Width / 2 * in(0.8, 1.5)
	s.Tilt = in(-15, 15)
	s.Undercut, s.Level = maybe(0.5, in(0.5, 2.5)), in(8, 12)
	s.Crest, s.Buccal, s.Lingual, s.Border = in(0.8, 2), in(0.8, 2.2), in(1, 2.5), in(2, 3.5)
	s.Variation, s.RidgeMucosa = in(0, 0.8), in(1, 3)
	s.CanalRadius, s.CanalDepth = in(1, 1.7), in(11, 16)
	s.SinusDepth, s.SinusFloor, s.SinusMucosa = in(5, 12), in(0.5, 1), maybe(0.7, in(0.5, 5))
	s.NasalDepth = in(15, 20)
	if k == Mandible {
		s.Height = in(24, 32)
	}
	v := in(0.1, 0.4)
	o.Scan.Voxel = [3]float64{v, v, v}
	if r.Float64() < 0.4 {
		o.Scan.Voxel[2] = in(0.1, 0.4)
	}
	o.Scan.Blur, o.Scan.Noise = in(0.1, 0.35), in(0, 150)
	if r.Float64() < 0.5 {
		axis := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}
		o.Scan.Turn = r3.Scale(in(0, 60)/r3.Norm(axis), axis)
	}
	o.Scan.Gantry = maybe(0.15, in(-15, 15))
	o.Hand = maybe(0.7, 0.3)
	return o
}

// Small returns o with the scan cut down to a cube of the given edge (mm) about the ridge at
// a tooth, and that tooth its only site: cheap enough to make thousands. It returns an error
// wrapping [ErrOptions] where the jaw has no such tooth.
func (o Options) Small(tooth int, edge float64) (Options, error) {
	if !belongs(o.Jaw, tooth) {
		return o, fmt.Errorf("%w: tooth %d is not a permanent tooth of the %v", ErrOptions, tooth, o.Jaw)
	}
	scale := o.Shape.Arch
	if scale == 0 {
		scale = 1
	}
	o.Sites = []int{tooth}
	o.Scan = o.Scan.withDefaults()
	for i, v := range o.Scan.Voxel {
		o.Scan.Size[i] = max(2, int(math.Ceil(edge/v))+1)
	}
	c := newArch(scale)
	p := c.point(c.at(arcOf(o.Jaw, tooth, scale)), 0, archDepth-edge/2+2)
	p = (&Jaw{opt: o}).toJaw(p)
	o.Scan.Centre = &p
	return o, nil
}
