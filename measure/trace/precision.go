package trace

import "math"

const lag = 4 // pixels; noise and marrow texture are no longer alike a millimetre apart

// precision sets the sd of each fit's centre and radius. Neighbouring pixels share noise (they
// are finer than the voxels) and texture, so the sd comes from the sandwich
//
//	H⁻¹ · (s² Σij wi·wj·Ji·Jjᵀ·ρ(i−j)) · H⁻¹
//
// with ρ the correlation of the differences between picture and model, pooled over all sections.
//
// A section counts by its confidence: half of it doubles the sd.
//
// Source: White H. Econometrica 1980;48:817–838. doi:10.2307/1912934 (from memory); pooling is ours.
func (c *centred) precision() {
	rho := c.correlation()
	c.sd, c.sdR = make([]float64, len(c.fits)), make([]float64, len(c.fits))
	for i := range c.fits {
		c.sd[i], c.sdR[i] = math.Inf(1), math.Inf(1)
		if f := c.fits[i]; f.ok {
			xx, yy, rr := c.sections[i].sandwich(f, rho)
			trust := max(c.confidence[i], faint)
			c.sd[i], c.sdR[i] = math.Sqrt((xx+yy)/2)/trust, math.Sqrt(rr)/trust
		}
	}
}

type correlogram [2*lag + 1][2*lag + 1]float64

// grid lays values of a section's pixels on a square.
type grid [2*pixels + 1 + 2*lag][2*pixels + 1 + 2*lag]float64

func (c *section) grid(f func(i int) float64) *grid {
	var g grid
	for i, p := range c.px {
		g[p.j+pixels+lag][p.i+pixels+lag] = f(i)
	}
	return &g
}

// correlation returns the correlation of differences at each lag, over all sections.
func (c *centred) correlation() correlogram {
	var num, den correlogram
	for i := range c.fits {
		f := c.fits[i]
		if !f.ok {
			continue
		}
		q := c.sections[i]
		e := q.grid(func(k int) float64 { return f.weight[k] * f.resid[k] / f.noise })
		w := q.grid(func(k int) float64 { return f.weight[k] })
		for _, p := range q.px {
			y, x := p.j+pixels+lag, p.i+pixels+lag
			if w[y][x] == 0 {
				continue
			}
			for dy := -lag; dy <= lag; dy++ {
				for dx := -lag; dx <= lag; dx++ {
					num[dy+lag][dx+lag] += e[y][x] * e[y+dy][x+dx]
					den[dy+lag][dx+lag] += w[y][x] * w[y+dy][x+dx]
				}
			}
		}
	}
	zero := num[lag][lag] / den[lag][lag]
	for dy := range num {
		for dx := range num[dy] {
			num[dy][dx] /= den[dy][dx] * zero
			taper := 1 - math.Hypot(float64(dy-lag), float64(dx-lag))/(lag+1)
			num[dy][dx] = max(num[dy][dx], 0) * max(taper, 0)
		}
	}
	return num
}

// sandwich returns the variances of x, y and r of a fit, mm².
func (c *section) sandwich(f *discFit, rho correlogram) (xx, yy, rr float64) {
	scale := 1 / (f.noise * f.noise * oversampling)
	influence := func(row int) *grid { // of each pixel's difference on parameter row
		return c.grid(func(k int) float64 {
			sum := 0.0
			for b := range params {
				sum += f.inverse.At(row, b) * f.jacobi[k][b]
			}
			return sum * f.weight[k] * scale
		})
	}
	variance := func(row int) float64 {
		g := influence(row)
		sum := 0.0
		for _, p := range c.px {
			y, x := p.j+pixels+lag, p.i+pixels+lag
			if g[y][x] == 0 {
				continue
			}
			for dy := -lag; dy <= lag; dy++ {
				for dx := -lag; dx <= lag; dx++ {
					sum += g[y][x] * g[y+dy][x+dx] * rho[dy+lag][dx+lag]
				}
			}
		}
		return max(sum*f.noise*f.noise, 1e-6)
	}
	return variance(mx), variance(my), variance(mr)
}
