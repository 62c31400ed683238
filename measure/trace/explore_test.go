package trace

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"ridgerule/dicomio/volume"
)

func shift(l []r3.Vec, d r3.Vec) []r3.Vec {
	o := make([]r3.Vec, len(l))
	for i := range l {
		o[i] = r3.Add(l[i], d)
	}
	return o
}

func foramen(length float64) []r3.Vec {
	return sweep(-length/2, length/2, func(x float64) r3.Vec {
		u := x/length + .5
		k := max(0, u-0.8) / 0.2
		return r3.Vec{X: x, Y: 1.5*math.Sin(6*u) - 6.6*k*k, Z: -3 + 3*math.Cos(5*u) + 2*k*k}
	})
}

func TestExplore(t *testing.T) {
	type cs struct {
		name  string
		s     scene
		g     volume.Grid
		marks []r3.Vec
	}
	var cases []cs
	add := func(name string, s scene, mod func(s *scene, c *cs)) {
		c := cs{name: name, s: s}
		c.g = s.straightGrid(0.3)
		c.marks = s.ends()
		if mod != nil {
			mod(&c.s, &c)
		}
		cases = append(cases, c)
	}
	b := func() scene { return bar(sbend(40)) }
	add("plain40", b(), nil)
	add("plain70", bar(sbend(70)), func(s *scene, c *cs) {})
	add("off1mm", b(), func(s *scene, c *cs) {
		c.marks = []r3.Vec{r3.Add(c.marks[0], r3.Vec{Y: .7, Z: .7}), r3.Add(c.marks[1], r3.Vec{Y: 1})}
	})
	add("streaks5", b(), func(s *scene, c *cs) {
		s.streaks = [][]r3.Vec{shift(s.canal, r3.Vec{Z: 5}), shift(s.canal, r3.Vec{Z: -5})}
		s.streak = 120
	})
	add("streaks3.5", b(), func(s *scene, c *cs) {
		s.streaks = [][]r3.Vec{shift(s.canal, r3.Vec{Z: 3.5}), shift(s.canal, r3.Vec{Z: -3.5, Y: 1})}
		s.streak = 80
	})
	add("straight streak shortcut", b(), func(s *scene, c *cs) {
		s.streaks = [][]r3.Vec{sweep(-20, 20, func(x float64) r3.Vec { return r3.Vec{X: x, Z: 1.2} })}
		s.streak = 80
	})
	for seed := range uint64(4) {
		add(fmt.Sprintf("random streaks %d", seed), bar(sbend(60)), func(s *scene, c *cs) {
			r := rand.New(rand.NewPCG(seed, 3))
			for range 14 {
				y, z, x, l, a, w := 4*(2*r.Float64()-1), 8*(2*r.Float64()-1), 60*(r.Float64()-.5), 8+20*r.Float64(), .6*(2*r.Float64()-1), r.Float64()
				s.streaks = append(s.streaks, sweep(-l/2, l/2, func(q float64) r3.Vec { return r3.Vec{X: x + q, Y: y + 1.5*math.Sin(w*q/2), Z: z + a*q} }))
			}
			s.streak = 100
			s.texture = 100
			s.marrow = [2]float64{250, 450}
		})
	}
	add("texture150", b(), func(s *scene, c *cs) { s.texture = 150; s.marrow = [2]float64{250, 400} })
	add("texture150 wall 0", b(), func(s *scene, c *cs) { s.texture = 150; s.marrow = [2]float64{250, 400}; s.wall = 0 })
	add("wall0 marrow", b(), func(s *scene, c *cs) { s.wall = 0 })
	add("wall0 marrow250 t80", b(), func(s *scene, c *cs) { s.wall = 0; s.marrow = [2]float64{250, 250} })
	add("gap5", b(), func(s *scene, c *cs) { s.gap = [2]float64{18, 23}; s.texture = 120; s.marrow = [2]float64{250, 300} })
	add("gap10+streaks", b(), func(s *scene, c *cs) {
		s.gap = [2]float64{15, 25}
		s.texture = 120
		s.marrow = [2]float64{250, 300}
		s.streaks = [][]r3.Vec{shift(s.canal, r3.Vec{Z: 4})}
		s.streak = 100
	})
	add("lingual", b(), func(s *scene, c *cs) { s.middle[0] = 3.5; s.half[0] = 7 })
	add("foramen", bar(foramen(40)), nil)
	add("foramen marks out 1", bar(foramen(40)), func(s *scene, c *cs) {
		c.marks[1] = r3.Add(c.marks[1], r3.Vec{Y: -.8})
	})
	for _, r := range []float64{0.7, 1, 1.6, 2, 2.4} {
		add(fmt.Sprintf("radius %.1f", r), b(), func(s *scene, c *cs) { s.radius = r })
	}
	add("3marks", b(), func(s *scene, c *cs) {
		m := s.canal[len(s.canal)/2]
		c.marks = []r3.Vec{c.marks[0], r3.Add(m, r3.Vec{Y: 1}), c.marks[1]}
	})
	add("noise150", b(), func(s *scene, c *cs) { s.noise = 150 })
	add("voxel.4", b(), func(s *scene, c *cs) { c.g = s.straightGrid(.4) })
	add("voxel.15", b(), func(s *scene, c *cs) { c.g = s.straightGrid(.15) })
	add("aniso.2.2.5", b(), func(s *scene, c *cs) { c.g = cover(s.canal, [3]r3.Vec{{X: .2}, {Y: .2}, {Z: .5}}, 9) })
	add("shear", b(), func(s *scene, c *cs) {
		c.g = cover(s.canal, [3]r3.Vec{{X: .3}, {Y: .3}, {Z: .3, Y: .1, X: .05}}, 9)
	})
	add("oblique", b(), func(s *scene, c *cs) {
		q := r3.NewRotation(0.6, r3.Vec{X: 1, Y: 2, Z: 3})
		c.g = cover(s.canal, [3]r3.Vec{q.Rotate(r3.Vec{X: .3}), q.Rotate(r3.Vec{Y: .3}), q.Rotate(r3.Vec{Z: .3})}, 9)
	})
	add("blur.35", b(), func(s *scene, c *cs) { s.sigma = .35 })
	add("wall.8", b(), func(s *scene, c *cs) { s.wall = .8 })
	filter := os.Getenv("CASE")
	for _, c := range cases {
		if filter != "" && c.name != filter {
			continue
		}
		s := c.s
		v := s.paint(t, c.g)
		t0 := time.Now()
		r, err := rough(context.Background(), v, c.marks, Options{}.withDefaults())
		if err != nil {
			fmt.Println(c.name, err)
			continue
		}
		d0 := time.Since(t0)
		er := s.errors(r)
		p, err := Follow(context.Background(), v, c.marks, Options{})
		if err != nil {
			fmt.Println(c.name, err)
			continue
		}
		e := s.errors(p.Points)
		var z, zr, rb, ob float64
		minc := 1.0
		for i := range p.Points {
			d, _ := nearestOn(s.canal, p.Points[i])
			z += d * d / (2 * p.SD[i] * p.SD[i])
			q := p.Lumen[i] - s.radius
			ob += p.Radii[i] - s.radius - s.wall
			zr += q * q / (p.RadiusSD[i] * p.RadiusSD[i])
			rb += q
			minc = min(minc, p.Confidence[i])
		}
		n := float64(len(p.Points))
		fmt.Printf("%-26s rough %.2f/%.2f/%.2f final mean %.3f p95 %.3f max %.3f z %.2f | r bias %+.3f outer %+.3f z %.2f | conf mean %.2f min %.2f low %d | %v %v\n", c.name, mean(er), quantile(er, .95), er[len(er)-1],
			mean(e), quantile(e, .95), e[len(e)-1], math.Sqrt(z/n), rb/n, ob/n, math.Sqrt(zr/n), mean(p.Confidence), minc, len(p.Low), d0.Round(time.Millisecond), (time.Since(t0) - d0).Round(time.Millisecond))
		if filter != "" {
			for i := range p.Points {
				d, _ := nearestOn(s.canal, p.Points[i])
				fmt.Printf("%d %.1f err %.3f sd %.3f r %.3f rsd %.3f c %.2f\n", i, p.Points[i], d, p.SD[i], p.Radii[i], p.RadiusSD[i], p.Confidence[i])
			}
		}
	}
}
