package measure_test

import (
	"fmt"
	"gonum.org/v1/gonum/spatial/r3"
	"math"
	"ridgerule/dicomio/volume"
	"strings"
	"testing"
)

func ghosted(v *volume.Volume, d r3.Vec, share float64) *volume.Volume {
	if share == 0 {
		return v
	}
	in := *v
	in.Stored = append([]int16{}, v.Stored...)
	row, layer := v.Size[0], v.Size[0]*v.Size[1]
	for n := range in.Stored {
		x := v.Patient(volume.Index{I: float64(n % row), J: float64(n % layer / row), K: float64(n / layer)})
		g := v.At(r3.Add(x, d))
		if g != g {
			continue
		}
		r := v.RescaleOf(n / layer)
		in.Stored[n] = int16((1-share)*float64(v.Stored[n]) + share*(g-r.Intercept)/r.Slope)
	}
	return &in
}
func TestZZ(t *testing.T) {
	for _, n := range []int{2404, 2406, 2410, 2405} {
		j := jawOf(n, false)
		for _, g := range []struct {
			d r3.Vec
			s float64
		}{{r3.Vec{}, 0}, {r3.Vec{X: .9}, .4}, {r3.Vec{Y: .9}, .4}, {r3.Vec{Z: .9}, .4}, {r3.Vec{X: .64, Y: .64}, .4}} {
			jj := *j
			jj.v = ghosted(j.v, g.d, g.s)
			d := newDraft(&jj)
			for _, tooth := range j.open {
				if s, ok := jj.siteAt(tooth, j.at(tooth), 1); ok {
					d.sites = append(d.sites, s)
				}
			}
			r, err := d.measure()
			if err != nil {
				fmt.Println(err)
				continue
			}
			var worst, errs, us []float64
			said, none := 0, 0
			for _, s := range r.Sites {
				row, ok := s.Lookup("ridge_width", 3)
				if strings.Contains(s.Note, "drawn apart") || strings.Contains(s.Note, "disturb") {
					said++
				}
				if !ok || row.Value == nil {
					none++
					continue
				}
				_, tr, _ := j.ridgeAt(j.at(atoi(s.Tooth)))
				for _, w := range tr.Widths {
					if w.At == 3 {
						errs = append(errs, *row.Value-w.Width)
						us = append(us, row.Budget.U())
						worst = append(worst, math.Abs(*row.Value-w.Width)/row.Budget.U())
					}
				}
			}
			fmt.Printf("%s ghost %v: sites %d none %d said %d; err %.2f U %.2f  cautions %v\n", j.name, g.d, len(r.Sites), none, said, errs, us, codes(r))
		}
	}
}
func atoi(s string) (n int) { fmt.Sscan(s, &n); return }
