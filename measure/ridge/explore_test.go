package ridge

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"

	"ridgerule/measure/reformat"
)

func TestExplore(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, c := range []struct{ vox, sigma, noise, R, tau, gum float64 }{
		{0.2, 0.2, 50, 4, 2, 9}, {0.2, 0.2, 50, 2.5, 1.5, 9}, {0.2, 0.2, 50, 2.5, 0.8, 9}, {0.2, 0.2, 50, 4, 0.5, 9}, {0.2, 0.2, 0, 2.5, 1.5, 9},
		{0.2, 0.2, 50, 4, 1.5, 0.6}, {0.2, 0.2, 50, 4, 1.5, 1.2}, {0.4, 0.3, 100, 4, 2, 9}, {0.4, 0.3, 100, 4, 1, 9}, {0.4, 0.3, 100, 4, 1, 1.5}, {0.1, 0.15, 100, 4, 1, 1.5},
	} {
		outer, inner, gum := blurredDisc(c.R, c.sigma), blurredDisc(c.R-c.tau, c.sigma), blurredDisc(c.R+c.gum, c.sigma)
		var errs, sds, ths, blur []float64
		lost := 0
		for trial := range 12 {
			s := scene{voxel: [3]float64{c.vox, c.vox, c.vox}, half: 7.5, noise: c.noise, seed: uint64(trial),
				offset: r3.Vec{X: r.Float64(), Y: r.Float64(), Z: r.Float64()}}
			rot := r3.NewRotation(r.Float64()*6, r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()})
			s.turn = &rot
			f := s.field(t, func(p reformat.UV) float64 {
				x := math.Hypot(p.U, p.V)
				return air + (soft-air)*gum(x) + (cortex-soft)*outer(x) + (marrow-cortex)*inner(x)
			})
			for range 10 {
				a := r.Float64() * 2 * math.Pi
				in := reformat.UV{U: -math.Cos(a), V: -math.Sin(a)}
				at := scale(-(c.R + 0.3*r.NormFloat64()), in)
				b := a + 0.2*r.NormFloat64()
				w, err := FitWall(f, at, reformat.UV{U: -math.Cos(b), V: -math.Sin(b)}, Tissue{})
				if err != nil {
					lost++
					t.Log(err)
					continue
				}
				x, ok := w.outer(reformat.UV{}, scale(-1, in))
				if !ok {
					lost++
					continue
				}
				errs = append(errs, norm(x.at)-c.R)
				sds = append(sds, x.sd)
				blur = append(blur, w.Blur())
				if w.plate {
					ths = append(ths, w.p[pTau]-c.tau)
				}
			}
		}
		m, sd := stat.MeanStdDev(errs, nil)
		mt, st := stat.MeanStdDev(ths, nil)
		t.Logf("%+v: outer bias %+.4f SD %.4f said %.4f; blur %.3f; plate n %d bias %+.4f SD %.4f; lost %d", c, m, sd, stat.Mean(sds, nil), stat.Mean(blur, nil), len(ths), mt, st, lost)
	}
}

func BenchmarkFitWall(b *testing.B) {
	outer, inner := blurredDisc(4, 0.2), blurredDisc(2.5, 0.2)
	f := scene{voxel: [3]float64{0.2, 0.2, 0.2}, half: 7, noise: 50}.field(b, func(p reformat.UV) float64 {
		x := math.Hypot(p.U, p.V)
		return soft + (cortex-soft)*outer(x) + (marrow-cortex)*inner(x)
	})
	for b.Loop() {
		FitWall(f, reformat.UV{U: 4}, reformat.UV{U: -1}, Tissue{})
	}
}
