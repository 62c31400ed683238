package phantom

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// withDefaults fills what is zero.
func (o Options) withDefaults() Options {
	if o.Case == "" {
		o.Case = "synthetic"
	}
	if o.Jaw != Mandible && o.Jaw != Maxilla {
		return o // check refuses it
	}
	o.Shape = shapeDefaults(o.Shape, o.Jaw)
	if bare := (Levels{Texture: o.Grey.Texture}); o.Grey == bare {
		o.Grey = Levels{Air: -1000, Fat: -100, Soft: 50, Marrow: 400, Cortex: 1600,
			Dentine: 2000, Enamel: 2700, Metal: 4500, Texture: o.Grey.Texture}
	}
	o.Scan = o.Scan.withDefaults()
	if o.Scan.Centre == nil {
		c := o.middle()
		o.Scan.Centre = &c
	}
	if o.Sites == nil {
		o.Sites = [2][]int{{46, 45, 44, 42, 32, 34, 35, 36}, {16, 15, 14, 12, 22, 24, 25, 26}}[o.Jaw]
	}
	if o.Teeth == nil {
		for _, fdi := range [2][]int{{43, 33}, {13, 23}}[o.Jaw] {
			if !slices.Contains(o.Sites, fdi) && !slices.Contains(o.Sockets, fdi) {
				o.Teeth = append(o.Teeth, fdi)
			}
		}
	}
	return o
}

func (s Scan) withDefaults() Scan {
	before := 0.2
	for i, v := range s.Voxel {
		if v == 0 {
			s.Voxel[i] = before
		}
		before = s.Voxel[i]
	}
	if s.Blur == 0 {
		s.Blur = 0.2
	}
	for i, mm := range [3]float64{80, 80, 60} {
		if s.Size[i] == 0 && s.Voxel[i] > 0 {
			s.Size[i] = int(math.Ceil(mm / s.Voxel[i]))
		}
	}
	return s
}

// middle is where a scan of the whole jaw is centred, patient, mm.
func (o Options) middle() r3.Vec {
	if o.Jaw == Maxilla {
		return r3.Vec{Y: -5, Z: 12}
	}
	return r3.Vec{Y: -5, Z: -10}
}

// check refuses what cannot be made.
func (o Options) check() error {
	type limit struct {
		name        string
		value       float64
		least, most float64
	}
	s := o.Shape
	for _, l := range []limit{
		{"Jaw", float64(o.Jaw), 0, 1},
		{"Shape.Arch", s.Arch, 0.85, 1.15},
		{"Shape.Width", s.Width, 2, 16}, {"Shape.Convexity", s.Convexity, -2, 8},
		{"Shape.Height", s.Height, 12, 45}, {"Shape.CrestCap", s.CrestCap, 0.5, 12},
		{"Shape.Tilt", s.Tilt, -35, 35}, {"Shape.Undercut", s.Undercut, 0, 4},
		{"Shape.Level", s.Level, 3, 30}, {"Shape.Crest", s.Crest, 0.1, 5},
		{"Shape.Buccal", s.Buccal, 0.1, 5}, {"Shape.Lingual", s.Lingual, 0.1, 5},
		{"Shape.Border", s.Border, 0.1, 5}, {"Shape.Variation", s.Variation, 0, 1},
		{"Shape.RidgeMucosa", s.RidgeMucosa, 0.2, 5}, {"Shape.CanalRadius", s.CanalRadius, 0.5, 3},
		{"Shape.CanalWall", s.CanalWall, 0, s.CanalRadius - 0.1}, {"Shape.CanalDepth", s.CanalDepth, 4, 30},
		{"Shape.SinusDepth", s.SinusDepth, 2, 20}, {"Shape.SinusFloor", s.SinusFloor, 0.2, 2},
		{"Shape.SinusMucosa", s.SinusMucosa, 0, 8}, {"Shape.NasalDepth", s.NasalDepth, 12, 28},
		{"Shape.Loop", s.Loop, 0, 8}, {"Shape.RootLean", s.RootLean, -40, 40}, {"Healing", o.Healing, 0, 1},
		{"Shape.Septum", s.Septum, 0, 15}, {"Shape.SeptumThick", s.SeptumThick, 0.3, 4},
		{"Shape.SeptumShift", s.SeptumShift, -20, 20},
		{"Scan.Voxel[0]", o.Scan.Voxel[0], 0.05, 5}, {"Scan.Voxel[1]", o.Scan.Voxel[1], 0.05, 5},
		{"Scan.Voxel[2]", o.Scan.Voxel[2], 0.05, 5},
		{"Scan.Size[0]", float64(o.Scan.Size[0]), 1, 2048}, {"Scan.Size[1]", float64(o.Scan.Size[1]), 1, 2048},
		{"Scan.Size[2]", float64(o.Scan.Size[2]), 1, 2048},
		{"Scan.Gantry", o.Scan.Gantry, -40, 40}, {"Scan.Blur", o.Scan.Blur, 0.05, 2},
		{"Scan.Noise", o.Scan.Noise, 0, 2000}, {"Scan.Correlation", o.Scan.Correlation, 0, 4},
		{"Artefacts.Bloom", o.Artefacts.Bloom, 0, 2}, {"Artefacts.Field", o.Artefacts.Field, 0, 1e4}, {"Grey.Texture", o.Grey.Texture, 0, 1000},
		{"Artefacts.Motion", r3.Norm(o.Artefacts.Motion), 0, 5}, {"Hand", o.Hand, 0, 2},
	} {
		if !(l.value >= l.least && l.value <= l.most) {
			return fmt.Errorf("%w: %s is %g, must lie in %g … %g", ErrOptions, l.name, l.value, l.least, l.most)
		}
	}
	for _, p := range o.Implants {
		if !(p.Diameter > 0.5 && p.Diameter < 10 && p.Length > 2 && p.Length < 30 && p.Apex >= 0 && p.Apex < 10 && math.Abs(r3.Norm(p.Axis)-1) < 1e-6) {
			return fmt.Errorf("%w: implant %d has diameter %g, apex %g, length %g mm, axis of length %g", ErrOptions, p.Tooth, p.Diameter, p.Apex, p.Length, r3.Norm(p.Axis))
		}
	}
	return o.checkTeeth()
}

func (o Options) checkTeeth() error {
	if tooth := o.Shape.SeptumTooth; o.Jaw == Maxilla && !belongs(Maxilla, tooth) {
		return fmt.Errorf("%w: Shape.SeptumTooth %d is not a permanent tooth of the %v", ErrOptions, tooth, o.Jaw)
	}
	listed := slices.Concat(o.Sites, o.Teeth, o.Sockets)
	for _, c := range o.Changes {
		listed = append(listed, c.Tooth)
	}
	for _, fdi := range listed {
		if !belongs(o.Jaw, fdi) {
			return fmt.Errorf("%w: tooth %d is not a permanent tooth of the %v", ErrOptions, fdi, o.Jaw)
		}
	}
	for _, fdi := range o.Teeth {
		if slices.Contains(o.Sites, fdi) {
			return fmt.Errorf("%w: tooth %d stands where a site is to be measured", ErrOptions, fdi)
		}
		if slices.Contains(o.Sockets, fdi) {
			return fmt.Errorf("%w: tooth %d stands where its socket is to be drawn", ErrOptions, fdi)
		}
	}
	return nil
}
